//! A table in the body of a request.

use actix_web::{
    FromRequest, HttpMessage, HttpRequest, dev::Payload, http::StatusCode, web::BytesMut,
};
use futures_util::future::LocalBoxFuture;

use super::{json::next_chunk, permit::once_admitted};
use crate::Problem;

/// Most bytes of a table.
pub const MOST_BYTES: usize = 2 * 1024 * 1024;

/// The bytes of a CSV file, not looked at yet.
#[derive(Debug)]
pub struct Table(pub BytesMut);

impl FromRequest for Table {
    type Error = Problem;
    type Future = LocalBoxFuture<'static, Result<Self, Problem>>;

    fn from_request(request: &HttpRequest, payload: &mut Payload) -> Self::Future {
        let (asked, payload) = (request.clone(), payload.take());
        once_admitted(request, async move { read(&asked, payload).await.map(Self) })
    }
}

async fn read(request: &HttpRequest, mut payload: Payload) -> Result<BytesMut, Problem> {
    if !request.content_type().eq_ignore_ascii_case("text/csv") {
        let detail = "send a table with `Content-Type: text/csv`";
        let status = StatusCode::UNSUPPORTED_MEDIA_TYPE;
        return Err(Problem::new(status, "UNSUPPORTED_MEDIA_TYPE", detail));
    }
    let mut table = BytesMut::new();
    while let Some(chunk) = next_chunk(&mut payload).await? {
        if table.len() + chunk.len() > MOST_BYTES {
            let detail = format!("at most {MOST_BYTES} bytes are read here");
            return Err(Problem::new(StatusCode::PAYLOAD_TOO_LARGE, "TOO_LARGE", detail));
        }
        table.extend_from_slice(&chunk);
    }
    Ok(table)
}
