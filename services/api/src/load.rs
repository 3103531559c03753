//! How much is done at once. Whoever would only wait is told to come back: a queue that grows
//! makes everybody wait, and those who gave up too.

use std::sync::atomic::{AtomicUsize, Ordering};

use actix_web::{
    Error,
    body::{BoxBody, MessageBody},
    dev::{ServiceRequest, ServiceResponse},
    middleware::Next,
    web::Data,
};

use crate::Problem;

/// Far more than the database answers at a time, far fewer than would be waited for in vain.
const MOST_AT_ONCE: usize = 512;

/// The requests under way in this process.
#[derive(Debug)]
pub struct Load {
    under_way: AtomicUsize,
    most: usize,
}

impl Default for Load {
    fn default() -> Self {
        Self::of(MOST_AT_ONCE)
    }
}

impl Load {
    /// At most so many requests at once.
    pub const fn of(most: usize) -> Self {
        Self { under_way: AtomicUsize::new(0), most }
    }

    /// How many there are now.
    pub fn under_way(&self) -> usize {
        self.under_way.load(Ordering::Relaxed)
    }

    fn enter(&self) -> Option<Place<'_>> {
        let place = Place(self);
        (self.under_way.fetch_add(1, Ordering::Relaxed) < self.most).then_some(place)
    }
}

/// A request under way; dropped, also when the caller hangs up, it is over.
struct Place<'a>(&'a Load);

impl Drop for Place<'_> {
    fn drop(&mut self) {
        self.0.under_way.fetch_sub(1, Ordering::Relaxed);
    }
}

/// Answers 503 to whoever comes when there are too many.
pub async fn shed(
    request: ServiceRequest,
    next: Next<impl MessageBody + 'static>,
) -> Result<ServiceResponse<BoxBody>, Error> {
    // Whoever asks whether the process lives must hear so, above all now.
    let Some(load) = request.app_data::<Data<Load>>().cloned().filter(|_| !is_probe(&request))
    else {
        return Ok(next.call(request).await?.map_into_boxed_body());
    };
    let Some(_place) = load.enter() else {
        tracing::warn!("shed a request: {} are under way", load.under_way());
        let path = request.path().to_owned();
        let problem = Problem::unavailable("too many requests at once");
        return Ok(request.into_response(problem.answer(&path, None)));
    };
    Ok(next.call(request).await?.map_into_boxed_body())
}

fn is_probe(request: &ServiceRequest) -> bool {
    matches!(request.path(), "/livez" | "/readyz")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_place_is_free_again_when_its_request_is_over() {
        let load = Load::of(2);
        let (one, two) = (load.enter(), load.enter());
        assert!(one.is_some() && two.is_some() && load.enter().is_none());
        drop(one);
        assert!(load.enter().is_some());
        drop(two);
        assert_eq!(load.under_way(), 0);
    }
}
