//! The rate at which anybody may ask.

use std::{
    future::{Ready, ready},
    time::Instant,
};

use actix_web::{
    FromRequest, HttpRequest,
    dev::Payload,
    http::{
        StatusCode,
        header::{self, HeaderValue},
    },
    web::Data,
};

use crate::{Problem, limiter::Limiter};

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
        ready(match limiter.take(address, Instant::now()) {
            Ok(()) => Ok(Self),
            Err(wait) => {
                // Rounded up: whoever comes back on the second is not too early.
                let seconds = wait.as_secs() + u64::from(wait.subsec_nanos() > 0);
                let detail = format!("too many requests from your address: wait {seconds} s");
                let status = StatusCode::TOO_MANY_REQUESTS;
                Err(Problem::new(status, "TOO_MANY_REQUESTS", detail)
                    .with_header(header::RETRY_AFTER, HeaderValue::from(seconds)))
            }
        })
    }
}
