//! Signing challenges and backfill releases.

use app::{accounts::Origin, releases::Named, signing::Signing};
use domain::schema::FieldError;
use serde::Deserialize;
use units::Kp;
use utoipa::ToSchema;
use utoipa_actix_web::service_config::ServiceConfig;

mod create_backfill_release;
mod create_signing_challenge;
mod get_backfill_release;

pub(super) fn configure(config: &mut ServiceConfig) {
    config
        .service(create_signing_challenge::create_signing_challenge)
        .service(create_backfill_release::create_backfill_release)
        .service(get_backfill_release::get_backfill_release);
}

/// A signature: who signs is who is signed in, proven afresh.
#[derive(Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct SignatureRequest {
    /// From the challenge.
    #[schema(max_length = 200)]
    pub nonce: String,
    /// The signer's password.
    #[schema(max_length = 1024, format = Password)]
    pub password: String,
    /// With what meaning, such as `released for backfill`.
    #[schema(min_length = 3, max_length = 500)]
    pub meaning: String,
}

impl SignatureRequest {
    /// The signature as the use cases take it.
    pub(in crate::routes) fn signing(self, origin: Origin) -> Signing {
        let Self { nonce, password, meaning } = self;
        Signing { nonce, password: password.into(), meaning, origin }
    }
}

/// Which joints: by name, or those of a stretch.
#[derive(Debug, Clone, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Subject {
    /// Numbers or ids.
    #[serde(default)]
    #[schema(min_items = 1, max_items = 2000)]
    joints: Option<Vec<String>>,
    /// From this kilometre point: kilometres as a number, or `12+345`.
    #[serde(default)]
    #[schema(value_type = Option<KpField>)]
    kp_from: Option<serde_json::Value>,
    /// Up to this kilometre point.
    #[serde(default)]
    #[schema(value_type = Option<KpField>)]
    kp_to: Option<serde_json::Value>,
    /// Only those of this section.
    #[serde(default)]
    section: Option<String>,
}

/// A kilometre point: kilometres as a number, or `12+345`.
#[derive(ToSchema, Deserialize)]
#[serde(untagged)]
#[expect(dead_code, reason = "only its schema is used")]
pub enum KpField {
    /// Kilometres.
    Number(f64),
    /// As people write it.
    Text(String),
}

impl Subject {
    /// What is meant, or every fault.
    fn named(&self) -> Result<Named, Vec<FieldError>> {
        if let (Some(joints), None, None) = (&self.joints, &self.kp_from, &self.kp_to) {
            return Ok(Named::Joints(joints.clone()));
        }
        if self.joints.is_some() || (self.kp_from.is_none() && self.kp_to.is_none()) {
            let detail = "give either `joints`, or `kp_from` and `kp_to` (and `section`)";
            return Err(vec![FieldError::new("/joints", "ONE_OF", detail)]);
        }
        match (kp("/kp_from", self.kp_from.as_ref()), kp("/kp_to", self.kp_to.as_ref())) {
            (Ok(from), Ok(to)) => Ok(Named::Stretch { from, to, section: self.section.clone() }),
            (from, to) => Err([from.err(), to.err()].into_iter().flatten().collect()),
        }
    }
}

fn kp(pointer: &str, value: Option<&serde_json::Value>) -> Result<Kp, FieldError> {
    let text = match value {
        Some(serde_json::Value::Number(number)) => number.to_string(),
        Some(serde_json::Value::String(text)) => text.clone(),
        _ => return Err(FieldError::new(pointer, "REQUIRED", "a stretch needs both ends")),
    };
    Kp::parse(&text).map_err(|error| FieldError::new(pointer, "WRONG_FORMAT", error.to_string()))
}
