//! The rate at which anybody may ask.

use std::{
    future::{Ready, ready},
    time::Instant,
};

use actix_web::{FromRequest, HttpRequest, dev::Payload, web::Data};

use crate::{Problem, limiter::Limiter, rate};

/// Proof that whoever asks has not asked too often; stands first in a signature, so that nothing
/// is read of a request that is refused.
#[derive(Debug)]
pub struct Metered;

impl FromRequest for Metered {
    type Error = Problem;
    type Future = Ready<Result<Self, Problem>>;

    fn from_request(request: &HttpRequest, _: &mut Payload) -> Self::Future {
        let Some(limiter) = request.app_data::<Data<Limiter>>() else {
            return ready(Err(Problem::internal("the limiter is not in the app data")));
        };
        let address = super::client::address(request);
        ready(rate::note(request, limiter.take(address, Instant::now())).map(|()| Self))
    }
}
