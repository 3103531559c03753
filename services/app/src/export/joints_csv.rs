//! The joints as a table for people and spreadsheets.

use domain::{ids::JointId, joints::chain::Hash};
use store::copies::CopiedJoint;

/// The columns.
pub(super) const HEADER: [&str; 12] = [
    "joint_id",
    "joint_number",
    "kp_m",
    "section",
    "spread",
    "kind",
    "stage",
    "flags",
    "required_voltage_kv",
    "chain_seq",
    "chain_head",
    "register",
];

/// One line. Text that a spreadsheet would take for a formula gets an apostrophe before it.
pub(super) fn line(joint: &CopiedJoint) -> [String; 12] {
    [
        joint.id.to_string(),
        harmless(&joint.joint_number),
        joint.kp_m.clone(),
        harmless(&joint.section),
        harmless(joint.spread.as_deref().unwrap_or_default()),
        joint.kind.clone(),
        joint.stage.clone(),
        joint.flags.join(" "),
        joint.required_voltage_kv.clone().unwrap_or_default(),
        joint.chain_seq.to_string(),
        hex::encode(&joint.chain_head),
        harmless(&joint.register),
    ]
}

/// `text` as no spreadsheet takes it for a formula.
fn harmless(text: &str) -> String {
    if text.starts_with(['=', '+', '-', '@', '\t', '\r']) {
        format!("'{text}")
    } else {
        text.to_owned()
    }
}

/// What a check needs of a line.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Line {
    pub joint: JointId,
    pub number: String,
    pub chain_seq: i64,
    pub chain_head: Hash,
}

/// Reads a line back; none where it is none.
pub(super) fn read(line: &csv::StringRecord) -> Option<Line> {
    let mut chain_head = [0; 32];
    hex::decode_to_slice(line.get(10)?, &mut chain_head).ok()?;
    let number = line.get(1)?;
    Some(Line {
        joint: line.get(0)?.parse().ok()?,
        number: number.strip_prefix('\'').unwrap_or(number).to_owned(),
        chain_seq: line.get(9)?.parse().ok()?,
        chain_head,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn no_text_begins_a_formula() {
        for text in ["=1+1", "+1", "-1", "@SUM(A1)", "\t=1", "\r=1"] {
            assert_eq!(harmless(text), format!("'{text}"));
        }
        for text in ["J-1", "", "'x", "1-2"] {
            assert_eq!(harmless(text), text);
        }
    }
}
