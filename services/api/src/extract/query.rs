//! The parameters after the question mark.

use actix_web::{FromRequest, HttpRequest, dev::Payload};
use domain::schema::FieldError;
use futures_util::future::LocalBoxFuture;
use serde::{Deserialize, de::DeserializeOwned};
use utoipa::IntoParams;

use super::permit::once_admitted;
use crate::{Problem, reply::position};

/// The parameters as a `T`, which denies unknown fields: a typo must not return everything.
#[derive(Debug)]
pub struct Query<T>(pub T);

impl<T: DeserializeOwned + 'static> FromRequest for Query<T> {
    type Error = Problem;
    type Future = LocalBoxFuture<'static, Result<Self, Problem>>;

    fn from_request(request: &HttpRequest, _: &mut Payload) -> Self::Future {
        let read = read(request.query_string()).map(Self);
        once_admitted(request, std::future::ready(read))
    }
}

fn read<T: DeserializeOwned>(text: &str) -> Result<T, Problem> {
    let pairs = serde_urlencoded::Deserializer::new(form_urlencoded::parse(text.as_bytes()));
    serde_path_to_error::deserialize(pairs).map_err(|error| {
        let said = error.inner().to_string().replace("field `", "parameter `");
        // An unknown or missing parameter has no value to point at; its name is in what was said.
        let name = match error.path().to_string() {
            path if path == "." => said.split('`').nth(1).unwrap_or_default().to_owned(),
            path => path,
        };
        let detail = format!("`{name}`: {said}");
        let fault = FieldError {
            pointer: format!("?{name}"),
            code: "INVALID_PARAMETER".to_owned(),
            detail: said,
        };
        Problem::bad_request("INVALID_PARAMETER", detail).with_errors(vec![fault])
    })
}

/// Which part of a list.
#[derive(Debug, Clone, Default, Deserialize, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
pub struct Paging {
    /// Most items in the answer; 50 if absent. Less than 1 counts as 1, more than 500 as 500.
    pub limit: Option<u32>,
    /// `next` of the page before.
    pub cursor: Option<String>,
}

impl Paging {
    /// The limit within its bounds.
    pub fn limit(&self) -> u32 {
        clamp(self.limit)
    }

    /// Where the page begins; at the beginning if there is no cursor.
    pub fn position<T: DeserializeOwned>(&self) -> Result<Option<T>, Problem> {
        self.cursor.as_deref().map(position).transpose()
    }
}

/// A limit within its bounds, for queries with more parameters than [`Paging`].
pub fn clamp(limit: Option<u32>) -> u32 {
    limit.unwrap_or(50).clamp(1, 500)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn fault(text: &str) -> String {
        read::<Paging>(text).unwrap_err().detail().to_owned()
    }

    #[test]
    fn parameters_are_read() {
        let read = read::<Paging>("limit=20&cursor=abc%20d").unwrap();
        assert_eq!((read.limit(), read.cursor.as_deref()), (20, Some("abc d")));
        assert_eq!(Paging::default().limit(), 50);
        assert_eq!(clamp(Some(100_000)), 500);
    }

    #[test]
    fn a_fault_names_its_parameter() {
        assert!(fault("limit=many").starts_with("`limit`: "), "{}", fault("limit=many"));
        assert!(fault("limt=5").starts_with("`limt`: unknown parameter"), "{}", fault("limt=5"));
    }
}
