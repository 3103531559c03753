//! The shapes that many answers share.

use std::fmt::Write;

use actix_web::{
    HttpRequest, HttpResponse, Responder,
    body::BoxBody,
    http::{StatusCode, header},
};
use base64::{Engine, engine::general_purpose::URL_SAFE_NO_PAD};
use serde::{Serialize, de::DeserializeOwned};
use utoipa::{
    ToSchema,
    openapi::{KnownFormat, ObjectBuilder, RefOr, Schema, SchemaFormat, schema::Type},
};

use crate::Problem;

/// Part of a list.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct Page<T> {
    /// The items.
    pub items: Vec<T>,
    /// Send it as `cursor` to read on; null at the end.
    #[schema(required)]
    pub next: Option<String>,
}

impl<T> Page<T> {
    /// A list that is short enough to come whole.
    pub fn whole(items: Vec<T>) -> Self {
        Self { items, next: None }
    }

    /// Cuts a list that was read one longer than `limit`, and says where to read on.
    pub fn cut<C: Serialize>(mut items: Vec<T>, limit: u32, position: impl Fn(&T) -> C) -> Self {
        let limit = usize::try_from(limit).unwrap_or(usize::MAX);
        let more = items.len() > limit;
        items.truncate(limit);
        let next = items.last().filter(|_| more).map(|last| cursor(&position(last)));
        Self { items, next }
    }

    /// The same page of something else.
    pub fn map<U>(self, shape: impl FnMut(T) -> U) -> Page<U> {
        Page { items: self.items.into_iter().map(shape).collect(), next: self.next }
    }
}

/// What was done with the items of a batch.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct Bulk<T> {
    /// One outcome per item, in the order in which they were sent.
    pub items: Vec<T>,
}

impl<T: Serialize> Responder for Bulk<T> {
    type Body = BoxBody;

    fn respond_to(self, _: &HttpRequest) -> HttpResponse {
        HttpResponse::build(StatusCode::MULTI_STATUS).json(self)
    }
}

/// A position in a list as text that callers hand back without reading it.
pub fn cursor(position: &impl Serialize) -> String {
    URL_SAFE_NO_PAD.encode(serde_json::to_vec(position).unwrap_or_default())
}

/// The position in a cursor that [`cursor`] made.
pub fn position<T: DeserializeOwned>(cursor: &str) -> Result<T, Problem> {
    let bytes = URL_SAFE_NO_PAD.decode(cursor).ok();
    let position = bytes.and_then(|bytes| serde_json::from_slice(&bytes).ok());
    let detail = "`cursor` must be `next` of an earlier page of the same list";
    position.ok_or_else(|| Problem::bad_request("INVALID_CURSOR", detail))
}

/// `text` as one segment of a path.
pub fn segment(text: &str) -> String {
    let mut segment = String::with_capacity(text.len());
    for byte in text.bytes() {
        if byte.is_ascii_alphanumeric() || b"-._~".contains(&byte) {
            segment.push(char::from(byte));
        } else {
            // Writing into text cannot fail.
            let _ = write!(segment, "%{byte:02X}");
        }
    }
    segment
}

/// Something new, and where it is.
#[derive(Debug)]
pub struct Created<T> {
    location: String,
    body: T,
}

impl<T> Created<T> {
    /// `body` can be read at `location` from now on.
    pub fn at(location: impl Into<String>, body: T) -> Self {
        Self { location: location.into(), body }
    }
}

impl<T: Serialize> Responder for Created<T> {
    type Body = BoxBody;

    fn respond_to(self, _: &HttpRequest) -> HttpResponse {
        HttpResponse::Created().insert_header((header::LOCATION, self.location)).json(self.body)
    }
}

/// Something with a version, which is in the body and in the ETag.
#[derive(Debug, Clone, Serialize)]
pub struct Versioned<T> {
    /// The thing.
    #[serde(flatten)]
    pub item: T,
    /// Counts its changes.
    pub version: i64,
    #[serde(skip)]
    location: Option<String>,
}

impl<T> Versioned<T> {
    /// `item` as it stands at `version`.
    pub fn new(item: T, version: i64) -> Self {
        Self { item, version, location: None }
    }

    /// The same as something new that can be read at `location`.
    #[must_use]
    pub fn created_at(self, location: impl Into<String>) -> Self {
        Self { location: Some(location.into()), ..self }
    }
}

impl<T: Serialize> Responder for Versioned<T> {
    type Body = BoxBody;

    fn respond_to(self, _: &HttpRequest) -> HttpResponse {
        let tag = etag(self.version);
        let mut answer = match &self.location {
            None => HttpResponse::Ok(),
            Some(location) => {
                let mut created = HttpResponse::Created();
                created.insert_header((header::LOCATION, location.as_str()));
                created
            }
        };
        answer.insert_header((header::ETAG, tag)).json(self)
    }
}

/// The fields of `T` and `version`; `T` may be closed, so it cannot be described by `allOf`.
impl<T: ToSchema> utoipa::__dev::ComposeSchema for Versioned<T> {
    fn compose(_: Vec<RefOr<Schema>>) -> RefOr<Schema> {
        let mut schema = T::schema();
        if let RefOr::T(Schema::Object(object)) = &mut schema {
            let version = ObjectBuilder::new()
                .schema_type(Type::Integer)
                .format(Some(SchemaFormat::KnownFormat(KnownFormat::Int64)))
                .description(Some("Counts its changes; the same number is in the ETag."));
            object.additional_properties = None;
            object.properties.insert("version".to_owned(), version.into());
            object.required.push("version".to_owned());
        }
        schema
    }
}

impl<T: ToSchema> ToSchema for Versioned<T> {
    fn schemas(schemas: &mut Vec<(String, RefOr<Schema>)>) {
        T::schemas(schemas);
    }
}

/// The ETag of a version.
pub fn etag(version: i64) -> String {
    format!("\"v{version}\"")
}

/// The version in an ETag that [`etag`] made.
pub fn version_in(tag: &str) -> Option<i64> {
    let digits = tag.strip_prefix("\"v")?.strip_suffix('"')?;
    digits.bytes().all(|byte| byte.is_ascii_digit()).then(|| digits.parse().ok()).flatten()
}

#[cfg(test)]
mod tests {
    use utoipa::PartialSchema;

    use super::*;

    #[test]
    fn a_cursor_comes_back_as_it_went() {
        let sent = cursor(&(12.5, "J-1"));
        assert_eq!(position::<(f64, String)>(&sent).unwrap(), (12.5, "J-1".to_owned()));
        assert_eq!(position::<(f64, String)>("nonsense!").unwrap_err().status(), 400);
    }

    #[test]
    fn a_page_says_where_to_read_on() {
        let page = Page::cut(vec![1, 2, 3], 2, |last| *last);
        assert_eq!((page.items, page.next), (vec![1, 2], Some(cursor(&2))));
        assert_eq!(Page::cut(vec![1, 2], 2, |last| *last).next, None);
    }

    #[test]
    fn a_code_fits_into_a_path() {
        assert_eq!(segment("DN500-9.5"), "DN500-9.5");
        assert_eq!(segment("a/b ü"), "a%2Fb%20%C3%BC");
    }

    #[test]
    fn the_version_is_a_field_beside_the_others() {
        let crew = domain::setup::Spread { code: "A".into(), name: "Spread A".into() };
        let json = serde_json::to_value(Versioned::new(crew, 3)).unwrap();
        assert_eq!(json, serde_json::json!({"code": "A", "name": "Spread A", "version": 3}));
        let schema = Versioned::<domain::setup::Spread>::schema();
        let schema = serde_json::to_value(schema).unwrap();
        assert_eq!(schema["required"], serde_json::json!(["code", "name", "version"]));
    }
}
