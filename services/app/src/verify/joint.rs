//! One joint against its chain. Pure: what is stored comes as arguments.

use domain::{
    ids::ProjectId,
    joints::{
        Fact, JointState,
        chain::{self, Hash, Record},
    },
};
use store::{facts::StoredFact, joints::StoredJoint};

/// A place in the chain, and what is wrong there.
pub(crate) type Found = (Option<i64>, String);

/// Everything that does not match between `joint` and its `facts`, in the order of their chain.
pub(crate) fn faults(project: ProjectId, joint: &StoredJoint, facts: &[StoredFact]) -> Vec<Found> {
    let mut found: Vec<Found> = Vec::new();
    let (mut before, mut expected) = (chain::START, 1);
    let mut history: Vec<Fact> = Vec::with_capacity(facts.len());
    let mut newest = None;
    for stored in facts {
        let mut at = |what: String| found.push((Some(stored.seq), what));
        if stored.seq < expected {
            at(format!("place {expected} was expected: a record is there twice"));
        } else if stored.seq > expected {
            let what = format!("a record is missing: the next one is {}", stored.seq);
            found.push((Some(expected), what));
        }
        expected = stored.seq + 1;
        let mut at = |what: String| found.push((Some(stored.seq), what));
        let hash = chain::hash(&stored.bytes);
        if hash.as_slice() != stored.hash {
            at("the hash of the record is not the hash that was stored".to_owned());
        }
        match stored.record() {
            Ok(record) => {
                if !names(&record, &before) {
                    at("the record does not hold the hash of the record before it".to_owned());
                }
                let late = newest.is_some_and(|newest| record.occurred_at < newest);
                for column in columns_apart(project, joint, stored, (&record, late)) {
                    at(format!("the column {column} is not what the record says"));
                }
                newest = newest.max(Some(record.occurred_at));
                history.push(record.into_fact());
            }
            Err(error) => at(format!("the record cannot be read: {error}")),
        }
        // The next record was linked to the bytes as they were; the stored hash is their witness.
        before = stored.hash.as_slice().try_into().unwrap_or(hash);
    }
    let last = facts.last().map_or(0, |it| it.seq);
    if joint.chain_seq > last {
        let what = format!("a record is missing: the joint remembers {}", joint.chain_seq);
        found.push((Some(last + 1), what));
    } else if joint.chain_seq < last {
        let what = format!("the joint remembers no such record, but {}", joint.chain_seq);
        found.push((Some(joint.chain_seq + 1), what));
    }
    if joint.chain_head != before {
        let what = "the hash of the newest record is not the hash that the joint remembers";
        found.push((Some(last), what.to_owned()));
    }
    let mut of_joint = |what: &str| found.push((None, what.to_owned()));
    if joint.newest_at != newest {
        of_joint("the newest time of all records is not the time that the joint remembers");
    }
    if JointState::fold(&history) != joint.state {
        of_joint("the state of the joint does not follow from its records");
    }
    found
}

/// Whether `record` holds `hash` as the one of the record before it.
fn names(record: &Record, hash: &Hash) -> bool {
    let mut named = [0; 32];
    // The one spelling that is written: anything else would not be the bytes that were hashed.
    hex::decode_to_slice(&record.previous, &mut named).is_ok() && named == *hash
}

/// The columns that say something else than the record beside them.
fn columns_apart(
    project: ProjectId,
    joint: &StoredJoint,
    stored: &StoredFact,
    (record, late): (&Record, bool),
) -> Vec<&'static str> {
    let columns = &stored.columns;
    let compared = [
        ("project_id", record.project == project),
        ("joint_id", record.joint == stored.joint && record.joint == joint.id),
        ("seq", record.seq == stored.seq),
        ("id", record.id == columns.id),
        ("kind", record.event.kind() == columns.kind),
        ("occurred_at", record.occurred_at == columns.occurred_at),
        ("recorded_at", record.recorded_at == columns.recorded_at),
        ("recorded_by", record.recorded_by == columns.recorded_by),
        ("supersedes", record.supersedes == columns.supersedes),
        ("late", late == stored.late),
    ];
    compared.into_iter().filter(|(_, same)| !same).map(|(column, _)| column).collect()
}

#[cfg(test)]
mod tests {
    use chrono::{DateTime, TimeDelta};
    use domain::{
        ids::{EventId, JointId, UserId},
        joints::fact,
    };
    use serde_json::json;
    use store::facts::Columns;
    use uuid::Uuid;

    use super::*;

    const PROJECT: ProjectId = ProjectId(Uuid::nil());

    /// A joint that was welded and tested, as the server stores it.
    fn stored() -> (StoredJoint, Vec<StoredFact>) {
        let entry = serde_json::from_value(json!({
            "joint_number": "J-1", "kp_m": 12.0, "section": "S1", "kind": "mainline",
        }))
        .unwrap();
        let mut joint = StoredJoint {
            id: JointId(Uuid::from_u128(7)),
            entry,
            state: JointState::default(),
            chain_seq: 0,
            chain_head: chain::START,
            newest_at: None,
        };
        let (mut facts, mut history) = (Vec::new(), Vec::new());
        for (id, event) in [
            (1, json!({"kind": "welded", "welder": "W-1"})),
            (2, json!({"kind": "weld_accepted", "report": "R-1"})),
        ] {
            let mut event = event;
            let at = DateTime::UNIX_EPOCH + TimeDelta::hours(id);
            let id = EventId(Uuid::from_u128(id.unsigned_abs().into()));
            event["id"] = json!(id);
            event["occurred_at"] = json!(at);
            let new = fact::parse(&event).unwrap();
            let by = (at, UserId(Uuid::from_u128(9)));
            joint.chain_seq += 1;
            let key = (PROJECT, joint.id);
            let record = Record::new(key, &new, by, joint.chain_seq, &joint.chain_head);
            let bytes = record.to_bytes();
            joint.chain_head = chain::hash(&bytes);
            joint.newest_at = Some(at);
            history.push(record.to_fact());
            facts.push(StoredFact {
                joint: joint.id,
                seq: record.seq,
                bytes,
                hash: joint.chain_head.to_vec(),
                late: false,
                columns: Columns {
                    id,
                    kind: record.event.kind().to_owned(),
                    occurred_at: at,
                    recorded_at: at,
                    recorded_by: record.recorded_by,
                    supersedes: None,
                },
            });
        }
        joint.state = JointState::fold(&history);
        (joint, facts)
    }

    fn whats(joint: &StoredJoint, facts: &[StoredFact]) -> Vec<Found> {
        faults(PROJECT, joint, facts)
    }

    #[test]
    fn what_the_server_stores_matches() {
        let (joint, facts) = stored();
        assert_eq!(whats(&joint, &facts), []);
    }

    #[test]
    fn a_changed_record_is_found_at_its_place() {
        let (joint, mut facts) = stored();
        let text = String::from_utf8(facts[0].bytes.clone()).unwrap();
        facts[0].bytes = text.replace("W-1", "W-2").into_bytes();
        let found = whats(&joint, &facts);
        assert!(found.iter().any(|(seq, what)| *seq == Some(1) && what.contains("hash")));
    }

    #[test]
    fn a_change_with_a_new_hash_breaks_the_next_link() {
        let (joint, mut facts) = stored();
        let text = String::from_utf8(facts[0].bytes.clone()).unwrap();
        facts[0].bytes = text.replace("W-1", "W-2").into_bytes();
        facts[0].hash = chain::hash(&facts[0].bytes).to_vec();
        let found = whats(&joint, &facts);
        assert!(found.iter().any(|(seq, what)| *seq == Some(2) && what.contains("before it")));
    }

    #[test]
    fn a_record_cut_off_at_either_end_is_missed() {
        let (joint, facts) = stored();
        assert!(!whats(&joint, &facts[..1]).is_empty());
        assert!(!whats(&joint, &facts[1..]).is_empty());
        assert!(!whats(&joint, &[]).is_empty());
    }

    #[test]
    fn every_column_and_the_state_are_compared() {
        let (mut joint, mut facts) = stored();
        facts[1].columns.kind = "welded".to_owned();
        facts[1].columns.recorded_by = UserId(Uuid::nil());
        joint.state = JointState::default();
        let found = whats(&joint, &facts);
        for part in ["column kind", "column recorded_by", "does not follow"] {
            assert!(found.iter().any(|(_, what)| what.contains(part)), "{part}: {found:?}");
        }
    }
}
