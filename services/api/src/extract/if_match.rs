//! Which version of a thing the caller has seen.

use actix_web::{
    FromRequest, HttpRequest,
    dev::Payload,
    http::{StatusCode, header},
};
use app::AppError;
use futures_util::future::LocalBoxFuture;

use super::permit::once_admitted;
use crate::{Problem, reply::version_in};

/// `If-Match: "v17"`; none if the header is absent.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct IfMatch(pub Option<i64>);

impl IfMatch {
    /// The version; without one the answer is 428.
    pub fn required(self) -> Result<i64, Problem> {
        self.0.ok_or_else(Self::missing)
    }

    /// What `error` means to a caller who put something: that it exists already is no conflict,
    /// they have only to say which version they have seen.
    pub fn explain(self, error: AppError) -> Problem {
        match error {
            AppError::Conflict { code: "ITEM_EXISTS" | "MEMBER_EXISTS", .. }
                if self.0.is_none() =>
            {
                Self::missing()
            }
            other => other.into(),
        }
    }

    /// 428: this exists already, and the caller does not say which version they replace.
    pub fn missing() -> Problem {
        let detail = "this exists; send `If-Match` with the ETag of the version you have seen";
        Problem::new(StatusCode::PRECONDITION_REQUIRED, "IF_MATCH_REQUIRED", detail)
    }
}

impl FromRequest for IfMatch {
    type Error = Problem;
    type Future = LocalBoxFuture<'static, Result<Self, Problem>>;

    fn from_request(request: &HttpRequest, _: &mut Payload) -> Self::Future {
        once_admitted(request, std::future::ready(read(request)))
    }
}

fn read(request: &HttpRequest) -> Result<IfMatch, Problem> {
    let Some(sent) = request.headers().get(header::IF_MATCH) else {
        return Ok(IfMatch(None));
    };
    let version = sent.to_str().ok().and_then(version_in);
    let detail = "`If-Match` must be an ETag as it was sent, such as `\"v17\"`";
    let malformed = || Problem::bad_request("IF_MATCH_MALFORMED", detail);
    version.map(|version| IfMatch(Some(version))).ok_or_else(malformed)
}

#[cfg(test)]
mod tests {
    use actix_web::test::TestRequest;

    use super::*;

    fn check(value: &str) -> Result<IfMatch, u16> {
        let request = TestRequest::default().insert_header(("if-match", value));
        read(&request.to_http_request()).map_err(|problem| problem.status().as_u16())
    }

    #[test]
    fn a_version_is_read() {
        assert_eq!(check("\"v17\""), Ok(IfMatch(Some(17))));
        for malformed in ["v17", "\"17\"", "W/\"v17\"", "*", "\"v-1\"", "\"v1\", \"v2\""] {
            assert_eq!(check(malformed), Err(400), "{malformed}");
        }
    }

    #[test]
    fn what_exists_is_replaced_only_by_who_has_seen_it() {
        let exists = || AppError::Conflict { code: "ITEM_EXISTS", detail: String::new() };
        assert_eq!(IfMatch(None).explain(exists()).status(), 428);
        assert_eq!(IfMatch(Some(1)).explain(exists()).status(), 409);
        let stale = AppError::PreconditionFailed { detail: String::new() };
        assert_eq!(IfMatch(Some(1)).explain(stale).status(), 412);
    }

    #[test]
    fn no_header_is_no_version() {
        let read = read(&TestRequest::default().to_http_request()).unwrap();
        assert_eq!(read, IfMatch(None));
        assert_eq!(read.required().unwrap_err().status(), 428);
    }
}
