//! Everything the release certificate prints, fixed at the moment of signing.

use serde_json::{Value, json};
use store::{ambient::around::ReadingRow, signing::NewSignature};

use super::subject::Judgement;
use crate::projects::ProjectEntry;

pub(super) fn certificate(
    project: &ProjectEntry,
    judgement: &Judgement,
    signature: &NewSignature<'_>,
) -> Value {
    let judged = &judgement.judged;
    let (entry, state) = (&judged.joint.entry, &judged.joint.state);
    let assigned = judged.setup.assignment(entry);
    let person = |code: &Option<String>| {
        let found = code.as_ref().and_then(|code| judged.setup.people.get(code));
        json!({ "code": code, "name": found.map(|it| &it.name) })
    };
    let works: Vec<Value> = state
        .coat
        .works
        .iter()
        .map(|work| {
            json!({
                "event": work.mark.event,
                "at": work.mark.at,
                "what": work.what,
                "layer": work.layer,
                "applicator": person(&work.applicator),
                "crew": work.crew,
                "lots": work.lots,
                "ambient": work.ambient,
            })
        })
        .collect();
    let test = state.newest_test().map(|test| {
        json!({
            "event": test.mark.event,
            "at": test.mark.at,
            "voltage_kv": test.voltage_kv,
            "required_voltage_kv": judged.assessment.required_voltage_kv,
            "voltage_rule": assigned.map(|it| &it.plan.voltage_rule),
            "detector": test.detector,
            "travel_speed_mm_s": test.travel_speed_mm_s,
            "holidays_found": test.holidays_found,
            "inspector": person(&test.inspector),
        })
    });
    json!({
        "project": { "code": project.code, "name": project.name, "time_zone": project.time_zone.name() },
        "joint": entry,
        "coating_system": assigned.map(|it| it.system),
        "inspection_plan": assigned.map(|it| &it.plan.code),
        "weld": state.weld,
        "surface": state.coat.prepared,
        "works": works,
        "readings": judged.readings.iter().map(ReadingRow::from).collect::<Vec<_>>(),
        "holiday_test": test,
        "gates": judged.assessment.gates,
        "chain": { "seq": judged.joint.chain_seq, "head": hex::encode(judged.joint.chain_head) },
        "signature": {
            "printed_name": signature.printed_name,
            "signed_at": signature.signed_at,
            "meaning": signature.meaning,
            "subject_hash": hex::encode(signature.subject_hash),
        },
    })
}
