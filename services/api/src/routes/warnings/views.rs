//! A warning as it is shown.

use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};
use serde_json::Value;
use store::warnings::ShownWarning;
use utoipa::{IntoParams, ToSchema};
use uuid::Uuid;

/// A warning of a project.
#[derive(Debug, Deserialize, IntoParams)]
#[into_params(parameter_in = Path)]
pub struct WarningPath {
    /// Id or code of the project.
    #[expect(dead_code, reason = "the permit reads it")]
    project: String,
    /// Id of the warning.
    pub warning: Uuid,
}

/// Something that somebody should look at.
#[derive(Debug, Serialize, ToSchema)]
pub struct WarningView {
    /// Id.
    id: Uuid,
    /// Kind.
    #[schema(example = "release_grows_stale")]
    kind: String,
    /// What it is about, such as the number of a joint.
    subject: String,
    /// `notice` or `urgent`.
    #[schema(example = "urgent")]
    severity: String,
    /// What is the matter.
    detail: String,
    /// The numbers behind `detail`; what they are depends on the kind.
    #[schema(value_type = Object)]
    values: Value,
    /// Since when.
    raised_at: DateTime<Utc>,
    /// When it last changed.
    updated_at: DateTime<Utc>,
    /// Who has it in hand; it stays open until what it warns of has ended.
    #[serde(skip_serializing_if = "Option::is_none")]
    acknowledgement: Option<AcknowledgementView>,
    /// When what it warns of ended.
    #[serde(skip_serializing_if = "Option::is_none")]
    cleared_at: Option<DateTime<Utc>>,
}

/// Who has a warning in hand.
#[derive(Debug, Serialize, ToSchema)]
pub struct AcknowledgementView {
    /// Since when.
    at: DateTime<Utc>,
    /// Id of the user.
    by: Uuid,
    /// Their printed name.
    name: String,
    /// What they are doing about it.
    note: String,
}

impl From<ShownWarning> for WarningView {
    fn from(warning: ShownWarning) -> Self {
        let acknowledgement = warning.acknowledged_at.zip(warning.acknowledged_by);
        let acknowledgement = acknowledgement.map(|(at, by)| AcknowledgementView {
            at,
            by,
            name: warning.acknowledged_by_name.unwrap_or_default(),
            note: warning.acknowledgement_note.unwrap_or_default(),
        });
        Self {
            id: warning.id,
            kind: warning.kind,
            subject: warning.subject,
            severity: warning.severity,
            detail: warning.detail,
            values: warning.values,
            raised_at: warning.raised_at,
            updated_at: warning.updated_at,
            acknowledgement,
            cleared_at: warning.cleared_at,
        }
    }
}
