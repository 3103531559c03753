//! Warns of releases whose holiday test grows too old while the joint waits for backfill.

use chrono::{DateTime, TimeDelta, Utc};
use domain::{
    ids::{JointId, ProjectId},
    setup::ProjectSetup,
};
use serde_json::{Value, json};
use store::{
    Tx,
    joints::StoredJoint,
    warnings::{Raised, clear_others, raise},
};

use crate::{App, AppError, new_id, setup::snapshot};

/// The kind of the warnings.
const KIND: &str = "release_grows_stale";

/// So long before its end a test is warned of: half a shift, time enough to backfill or retest.
const AHEAD: TimeDelta = TimeDelta::hours(6);

/// Joints read at a time.
const PAGE: i64 = 500;

/// What was found.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Freshness {
    /// Releases looked at.
    pub looked_at: i64,
    /// Releases warned of.
    pub warned: i64,
    /// Warnings that no longer hold.
    pub cleared: i64,
}

/// Brings the warnings of `project` up to date.
pub async fn release_freshness(app: &App, project: ProjectId) -> Result<Freshness, AppError> {
    let now = app.clock.now();
    let mut tx = app.begin_in(project).await?;
    let setup = snapshot(app, &mut tx, project).await?;
    let mut found = Freshness::default();
    let (mut warned, mut after) = (Vec::new(), None);
    loop {
        let joints = next_page(&mut tx, project, after).await?;
        let Some(last) = joints.last() else { break };
        after = Some(last.id);
        for joint in joints {
            found.looked_at += 1;
            let Some(verdict) = verdict(&joint, &setup, now) else { continue };
            let subject = joint.entry.joint_number;
            let warning = Raised {
                id: new_id(now),
                kind: KIND,
                subject: &subject,
                severity: verdict.severity,
                detail: &verdict.detail,
                values: verdict.values,
            };
            raise(&mut tx, project, &warning, now).await?;
            found.warned += 1;
            warned.push(subject);
        }
    }
    let cleared = clear_others(&mut tx, project, KIND, &warned, now).await?;
    found.cleared = i64::try_from(cleared).unwrap_or(i64::MAX);
    app.commit(tx).await?;
    Ok(found)
}

async fn next_page(
    tx: &mut Tx,
    project: ProjectId,
    after: Option<JointId>,
) -> Result<Vec<StoredJoint>, AppError> {
    let waiting = store::releases::waiting_for_backfill(tx, project, after, PAGE).await?;
    let ids: Vec<JointId> = waiting.into_iter().map(|joint| joint.id).collect();
    Ok(store::joints::find_all(tx, project, &ids).await?)
}

/// What is to be said of a release.
struct Verdict {
    severity: &'static str,
    detail: String,
    values: Value,
}

/// None while the test is young enough.
fn verdict(joint: &StoredJoint, setup: &ProjectSetup, now: DateTime<Utc>) -> Option<Verdict> {
    let hours = setup.assignment(&joint.entry)?.plan.test_valid_h;
    let tested_at = joint.state.newest_test()?.mark.at;
    urgency(tested_at, hours, now)
}

fn urgency(tested_at: DateTime<Utc>, valid_h: i64, now: DateTime<Utc>) -> Option<Verdict> {
    let until = tested_at + TimeDelta::hours(valid_h);
    let values = json!({ "tested_at": tested_at, "test_valid_h": valid_h, "good_until": until });
    // Exactly at the limit a test is young enough, here as when the backfill is recorded.
    if now > until {
        let detail = format!(
            "the test of {tested_at} is older than the {valid_h} h of the plan: test again"
        );
        Some(Verdict { severity: "urgent", detail, values })
    } else if now + AHEAD > until {
        let detail = format!("the test is good until {until}: backfill by then or test again");
        Some(Verdict { severity: "notice", detail, values })
    } else {
        None
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_test_is_warned_of_six_hours_ahead() {
        let tested_at = DateTime::UNIX_EPOCH;
        let after = |minutes| {
            let now = tested_at + TimeDelta::minutes(minutes);
            urgency(tested_at, 48, now).map(|it| it.severity)
        };
        assert_eq!(after(42 * 60), None);
        assert_eq!(after(42 * 60 + 1), Some("notice"));
        assert_eq!(after(48 * 60), Some("notice"));
        assert_eq!(after(48 * 60 + 1), Some("urgent"));
    }
}
