//! A joint that waits for its next layer while a clock runs: the open time of what is on it, or
//! the age of its prepared steel.

use chrono::{DateTime, TimeDelta, Utc};
use serde_json::json;

use super::{Assessment, JointState, RegisterEntry, next_steps::Action, state::LayerRole};
use crate::{
    condition::{Condition, Urgency},
    setup::ProjectSetup,
};

/// The kind of the conditions.
pub const CLOCK_KIND: &str = "next_layer_due";

/// So long before its end a clock is told of, at most half of its time: enough to finish the wrap
/// of a joint (common practice, no source).
const AHEAD: TimeDelta = TimeDelta::minutes(30);

/// What is to be seen of a joint whose next layer is due soon, or was.
pub fn next_layer_due(
    state: &JointState,
    entry: &RegisterEntry,
    assessment: &Assessment,
    setup: &ProjectSetup,
    now: DateTime<Utc>,
) -> Option<Condition> {
    let step = assessment.next_steps.first().filter(|step| step.action == Action::ApplyLayer)?;
    let (due, next) = (step.due_by?, step.layer?.words());
    let (number, on) = (&entry.joint_number, state.coat.layers.last());
    let since =
        on.map(|layer| layer.mark).or_else(|| state.coat.prepared.as_ref().map(|it| it.0))?;
    if now < due - AHEAD.min((due - since.at) / 2) {
        return None;
    }
    let at = due.with_timezone(&setup.time_zone).format("%Y-%m-%d %H:%M %:z");
    let (what, again) = match on {
        Some(layer) if layer.role == LayerRole::Primer => ("its primer", "prime it again"),
        Some(_) => ("the layer under it", "put that on again"),
        None => ("its clean steel", "prepare it again"),
    };
    let past = now > due;
    let (urgency, detail) = if past {
        let detail =
            format!("joint {number} waits for its {next}; {what} was good until {at}: {again}");
        (Urgency::Urgent, detail)
    } else {
        let detail = format!("joint {number} waits for its {next}; {what} is good until {at}");
        (Urgency::Notice, detail)
    };
    Some(Condition {
        kind: CLOCK_KIND,
        subject: number.clone(),
        urgency,
        detail,
        values: json!({"joint": number, "section": entry.section, "since": since.at,
            "due_by": due, "next_layer": step.layer, "past": past}),
    })
}
