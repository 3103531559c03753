//! Lots: where they went, and what is done when one turns out to be bad.

use harness::{
    Line,
    fact::{backfilled, coating, everything, lowered},
};
use serde_json::Value;

mod consumption;
mod quarantine;
mod shelf_life;
mod trace;

/// Joints of every kind that a recall meets: `J-1` is buried, `J-2` released, `J-3` wrapped, `J-4`
/// has no coating yet.
async fn line_in_all_stages() -> Line {
    let line = Line::with_joints(4).await;
    for joint in ["J-1", "J-2"] {
        line.records(joint, &everything()).await;
        line.qa.releases(joint).await.expect(201);
    }
    line.crew.records_all("J-1", &[lowered(601), backfilled(602)]).await;
    line.records("J-3", &coating()).await;
    line
}

async fn traced(line: &Line, lot: &str) -> Value {
    line.client.gets(&format!("/stock/lots/{lot}/trace")).await.expect(200)
}

/// Joints, removed, buried, released, not released.
fn places(summary: &Value) -> [i64; 5] {
    ["joints", "removed", "buried", "released", "not_released"]
        .map(|field| summary[field].as_i64().unwrap())
}

fn numbers(trace: &Value) -> Vec<String> {
    harness::app::texts(&trace["items"], "joint_number")
}
