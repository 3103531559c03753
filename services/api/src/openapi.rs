//! The published description of the API, made from the handlers themselves.

use std::sync::OnceLock;

use actix_web::{App, web::Bytes};
use utoipa::{
    Modify, OpenApi,
    openapi::{
        Components, ContentBuilder, OpenApi as Document, Ref, RefOr, ResponseBuilder, Schema,
        path::{Operation, PathItem},
        schema::ArrayItems,
        security::{HttpAuthScheme, HttpBuilder, SecurityScheme},
    },
};
use utoipa_actix_web::AppExt;

use crate::{
    deprecation, openapi_facts, openapi_rules,
    problem::{MEDIA_TYPE, Problem},
    routes,
};

/// What stands above the operations.
#[derive(OpenApi)]
#[openapi(
    info(
        title = "Jointward",
        version = "1",
        description = "Coating, testing and burying the field joints of a pipeline.\n\n\
            Units are in the names, times are RFC 3339, errors are `application/problem+json`. \
            What is read as JSON carries an `ETag`; sent back in `If-None-Match`, it is answered \
            304 without a body as long as nothing has changed.",
        license(name = "MIT OR Apache-2.0", identifier = "MIT OR Apache-2.0"),
    ),
    components(schemas(Problem)),
    modifiers(&Bearer),
)]
pub struct Frame;

/// The description of every operation.
pub fn openapi() -> Document {
    let app = App::new().into_utoipa_app().openapi(Frame::openapi());
    let (_, mut document) = app.configure(routes::configure).split_for_parts();
    for operation in document.paths.paths.values_mut().flat_map(operations) {
        let problem = ContentBuilder::new().schema(Some(Ref::from_schema_name("Problem"))).build();
        let answer =
            ResponseBuilder::new().description("A problem.").content(MEDIA_TYPE, problem).build();
        operation.responses.responses.insert("default".to_owned(), RefOr::T(answer));
    }
    if let Some(components) = &mut document.components {
        name_items(components);
    }
    document
}

/// Lists describe their items by name: a description that repeats them gives generated clients
/// a nameless type per list.
fn name_items(components: &mut Components) {
    let known: Vec<String> = components.schemas.keys().cloned().collect();
    for (list, schema) in &mut components.schemas {
        let Some((_, item)) = list.split_once('_') else { continue };
        let RefOr::T(Schema::Object(object)) = schema else { continue };
        let Some(RefOr::T(Schema::Array(items))) = object.properties.get_mut("items") else {
            continue;
        };
        if known.iter().any(|name| name == item) {
            items.items = ArrayItems::RefOrSchema(Box::new(Ref::from_schema_name(item).into()));
        }
    }
}

/// The same as text, as it is committed.
pub fn openapi_json() -> String {
    serde_json::to_string_pretty(&published()).unwrap_or_default() + "\n"
}

fn published() -> serde_json::Value {
    let mut document = serde_json::to_value(openapi()).unwrap_or_default();
    openapi_facts::describe(&mut document);
    openapi_rules::describe(&mut document);
    deprecation::describe(deprecation::DEPRECATED, &mut document);
    document
}

/// The same as it is served.
pub fn served() -> Bytes {
    static SERVED: OnceLock<Bytes> = OnceLock::new();
    SERVED.get_or_init(|| Bytes::from(published().to_string())).clone()
}

fn operations(path: &mut PathItem) -> impl Iterator<Item = &mut Operation> {
    [&mut path.get, &mut path.post, &mut path.put, &mut path.patch, &mut path.delete]
        .into_iter()
        .filter_map(Option::as_mut)
}

struct Bearer;

impl Modify for Bearer {
    fn modify(&self, document: &mut Document) {
        let scheme = HttpBuilder::new()
            .scheme(HttpAuthScheme::Bearer)
            .description(Some("The access token of a session."))
            .build();
        let components = document.components.get_or_insert_with(Default::default);
        components.add_security_scheme("bearer", SecurityScheme::Http(scheme));
    }
}

#[cfg(test)]
mod tests {
    use utoipa::openapi::path::ParameterIn;

    use super::*;

    #[test]
    fn every_operation_has_an_id_and_describes_its_problems() {
        let mut document = openapi();
        let mut ids = Vec::new();
        for (path, item) in &mut document.paths.paths {
            for operation in operations(item) {
                let id = operation.operation_id.clone().unwrap_or_default();
                assert!(!id.is_empty(), "{path}");
                assert!(operation.responses.responses.contains_key("default"), "{id}");
                assert!(operation.summary.is_some(), "{id} has no summary");
                let parameters = operation.parameters.iter().flatten();
                let described = parameters.filter(
                    |it| matches!(it, RefOr::T(it) if it.parameter_in == ParameterIn::Path),
                );
                assert_eq!(described.count(), path.matches('{').count(), "path of {id}");
                ids.push(id);
            }
        }
        let all = ids.len();
        ids.sort_unstable();
        ids.dedup();
        assert_eq!(all, ids.len(), "two operations share an id");
    }

    /// A description that fits nothing would leave generated clients with nothing to send.
    #[test]
    fn a_fact_as_it_is_sent_fits_its_description() {
        let mut schema = published();
        schema["$ref"] = "#/components/schemas/NewFact".into();
        let validator = jsonschema::validator_for(&schema).unwrap();
        let fact = serde_json::json!({
            "id": "01930000-0000-7000-8000-000000000001", "kind": "holiday_tested",
            "occurred_at": "2026-06-10T09:30:00+02:00", "result": "pass", "voltage_kv": 12.5,
            "detector": "HD-1",
        });
        assert!(domain::joints::fact::parse(&fact).is_ok());
        assert!(validator.is_valid(&fact));
        for (field, value) in [("joint", "J-1".into()), ("supersedes", fact["id"].clone())] {
            let mut wrong = fact.clone();
            wrong[field] = value;
            assert!(!validator.is_valid(&wrong), "{field}");
        }
    }

    #[test]
    fn every_reference_leads_somewhere() {
        let text = openapi_json();
        let document: serde_json::Value = serde_json::from_str(&text).unwrap();
        for named in text.split("\"#/components/schemas/").skip(1) {
            let name = named.split('"').next().unwrap();
            assert!(!document["components"]["schemas"][name].is_null(), "{name} is missing");
        }
    }
}
