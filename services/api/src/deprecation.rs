//! Operations that will go one day: told in their answers (RFC 9745, RFC 8594), in the published
//! description and in the counts, from one list.

use actix_web::http::{
    Method,
    header::{HeaderMap, HeaderName, HeaderValue, LINK},
};
use chrono::{DateTime, Utc};
use serde_json::{Value, json};

/// An operation that will go.
#[derive(Debug, Clone, Copy)]
pub struct Deprecated {
    /// Its method.
    pub method: &'static str,
    /// Its path as the description has it.
    pub path: &'static str,
    /// Since when it should not be used, Unix time.
    pub since: i64,
    /// From when on it may be gone, Unix time; a year later at the earliest.
    pub sunset: i64,
    /// The path that takes its place.
    pub successor: Option<&'static str>,
}

/// All of them.
pub const DEPRECATED: &[Deprecated] = &[];

const DEPRECATION: HeaderName = HeaderName::from_static("deprecation");
const SUNSET: HeaderName = HeaderName::from_static("sunset");

/// Tells in the answer of an operation that it will go, and counts it.
pub fn tell(list: &[Deprecated], method: &Method, path: Option<&str>, headers: &mut HeaderMap) {
    let Some(found) = list.iter().find(|it| it.method == method.as_str() && Some(it.path) == path)
    else {
        return;
    };
    metrics::counter!(
        "jointward_deprecated_requests_total", "method" => found.method, "route" => found.path
    )
    .increment(1);
    let sunset = DateTime::<Utc>::from_timestamp(found.sunset, 0).unwrap_or_default();
    let sunset = sunset.format("%a, %d %b %Y %H:%M:%S GMT");
    for (name, value) in [(DEPRECATION, format!("@{}", found.since)), (SUNSET, sunset.to_string())]
    {
        if let Ok(value) = HeaderValue::try_from(value) {
            headers.insert(name, value);
        }
    }
    let successor = found.successor.map(|it| format!("<{it}>; rel=\"successor-version\""));
    let links = [Some("</openapi.json>; rel=\"deprecation\"".to_owned()), successor];
    for value in links.into_iter().flatten().filter_map(|it| HeaderValue::try_from(it).ok()) {
        headers.append(LINK, value);
    }
}

/// Marks them in the description.
pub fn describe(list: &[Deprecated], document: &mut Value) {
    for Deprecated { method, path, .. } in list {
        let method = method.to_lowercase();
        if let Some(operation) = document["paths"][*path][&method].as_object_mut() {
            operation.insert("deprecated".to_owned(), json!(true));
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const OLD: &[Deprecated] = &[Deprecated {
        method: "GET",
        path: "/v1/me",
        // The example of RFC 9745, section 2.1: Friday, June 30, 2023 at 23:59:59 UTC.
        since: 1_688_169_599,
        sunset: 1_719_791_999,
        successor: Some("/v2/me"),
    }];

    fn told(method: &Method, path: Option<&str>) -> HeaderMap {
        let mut headers = HeaderMap::new();
        tell(OLD, method, path, &mut headers);
        headers
    }

    #[test]
    fn an_operation_that_will_go_says_so() {
        let headers = told(&Method::GET, Some("/v1/me"));
        assert_eq!(headers.get("deprecation").unwrap(), "@1688169599");
        assert_eq!(headers.get("sunset").unwrap(), "Sun, 30 Jun 2024 23:59:59 GMT");
        let links: Vec<_> = headers.get_all("link").collect();
        assert_eq!(
            links,
            ["</openapi.json>; rel=\"deprecation\"", "</v2/me>; rel=\"successor-version\""]
        );
    }

    #[test]
    fn others_say_nothing() {
        for (method, path) in
            [(Method::PUT, Some("/v1/me")), (Method::GET, Some("/v1/users")), (Method::GET, None)]
        {
            assert!(told(&method, path).is_empty());
        }
    }

    #[test]
    fn it_is_marked_in_the_description_and_what_is_listed_is_there() {
        let mut document = serde_json::to_value(crate::openapi()).unwrap();
        describe(OLD, &mut document);
        assert_eq!(document["paths"]["/v1/me"]["get"]["deprecated"], true);
        assert!(document["paths"]["/v1/users"]["get"]["deprecated"].is_null());
        for it in DEPRECATED {
            let operation = &document["paths"][it.path][it.method.to_lowercase()];
            assert!(operation.is_object(), "{it:?} is in the list and not served");
            assert!(it.sunset - it.since >= 365 * 24 * 3600, "{it:?}");
        }
    }
}
