//! Gives backfill releases, or says for each joint every reason against it.

use chrono::{DateTime, Utc};
use domain::{
    ids::ReleaseId,
    joints::release::{BlockingCondition, Decision},
};
use serde::Serialize;
use store::{PgConnection, releases::NewRelease};

use super::{
    certificate::certificate,
    subject::{Judgement, Named, all_found, judgements, names, shown, subject},
};
use crate::{
    Actor, App, AppError,
    accounts::prove,
    new_id,
    projects::ProjectEntry,
    setup,
    signing::{self, Purpose, Signing},
};

/// An ask for release.
#[derive(Debug, Clone)]
pub struct Ask {
    /// Which joints.
    pub named: Named,
    /// The signature.
    pub signing: Signing,
}

/// The answer for one joint.
#[derive(Debug, Clone, Serialize, utoipa::ToSchema)]
pub struct JointAnswer {
    /// Number.
    pub joint: String,
    /// `released`, `already_released`, `releasable` (dry run) or `refused`.
    pub status: &'static str,
    /// The release.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub release: Option<ReleaseId>,
    /// Every reason against it.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub blocking_conditions: Vec<BlockingCondition>,
}

/// Says what would be decided, without a signature and without releasing.
pub async fn dry_run(
    app: &App,
    actor: &Actor,
    project: &ProjectEntry,
    named: &Named,
) -> Result<Vec<JointAnswer>, AppError> {
    let mut tx = app.begin_in(project.id).await?;
    let judged = judge_locked(app, &mut tx, (actor, project), named, app.clock.now()).await?;
    Ok(judged.iter().map(|it| answer(it, "releasable", None)).collect())
}

/// Releases what can be released.
pub async fn give(
    app: &App,
    actor: &Actor,
    project: &ProjectEntry,
    ask: Ask,
) -> Result<Vec<JointAnswer>, AppError> {
    // Before the transaction: hashing takes longer than anybody should hold a lock.
    let Signing { nonce, password, meaning, origin } = ask.signing;
    prove(app, actor, password, &origin).await?;
    let now = app.clock.now();
    let mut tx = app.begin_in(project.id).await?;
    let by = (actor, project);
    let challenge = signing::answered(&mut tx, by, Purpose::BackfillRelease, &nonce, now).await?;
    let judged = judge_locked(app, &mut tx, by, &ask.named, now).await?;
    let seen: Vec<_> = judged.iter().map(shown).collect();
    let subject = subject(project, &seen)?;
    let signed = signing::sign(&mut tx, by, (&challenge, &subject), &meaning, now).await?;
    let mut answers = Vec::with_capacity(judged.len());
    for judgement in &judged {
        let release = match &judgement.decision {
            Decision::Granted { holiday_test } => {
                let id = ReleaseId(new_id(now));
                let release = NewRelease {
                    id,
                    holiday_test: *holiday_test,
                    required_voltage_kv: judgement
                        .judged
                        .assessment
                        .required_voltage_kv
                        .map(store::joints::to_the_volt)
                        .unwrap_or_default(),
                    signature: signed.id,
                    released_at: now,
                    certificate: certificate(project, judgement, &signed),
                };
                store_release(app, &mut tx, project, judgement, &release).await?;
                Some(id)
            }
            _ => None,
        };
        answers.push(answer(judgement, "released", release));
    }
    app.commit(tx).await?;
    Ok(answers)
}

async fn judge_locked(
    app: &App,
    conn: &mut PgConnection,
    (actor, project): (&Actor, &ProjectEntry),
    named: &Named,
    now: DateTime<Utc>,
) -> Result<Vec<Judgement>, AppError> {
    let setup = setup::snapshot(app, conn, project.id).await?;
    let names = names(conn, project, named).await?;
    let joints = store::joints::lock(conn, project.id, &names).await?;
    all_found(&names, &joints)?;
    judgements(conn, (actor, project), joints, &setup, now).await
}

/// The row of the joint is brought up to date on both sides of the release: before it, because the
/// trigger reads the required voltage there, and after it, because the stage has changed.
async fn store_release(
    app: &App,
    conn: &mut PgConnection,
    project: &ProjectEntry,
    judgement: &Judgement,
    release: &NewRelease,
) -> Result<(), AppError> {
    let judged = &judgement.judged;
    let at = release.released_at;
    store::joints::update(conn, project.id, &judged.joint, &judged.assessment, at).await?;
    let inserted = store::releases::insert(conn, project.id, &judged.joint, release).await;
    inserted.map_err(|error| match error.constraint() {
        // The last wall saw what the decision did not: a refusal all the same, and a bug.
        Some(wall) if wall.starts_with("backfill_releases_") && wall.ends_with("_check") => {
            let number = &judged.joint.entry.joint_number;
            tracing::error!(joint = %number, wall, "the database refused what was decided");
            let detail = format!("joint {number}: the database refuses the release ({wall})");
            AppError::Conflict { code: "RELEASE_REFUSED", detail }
        }
        _ => error.into(),
    })?;
    let number = &judged.joint.entry.joint_number;
    store::warnings::clear(conn, project.id, "release_contradicted", number, at).await?;
    let joint = judged.joint.clone();
    let now = app.clock.now();
    let after = crate::joints::judge(conn, project.id, joint, &judged.setup, now).await?;
    store::joints::update(conn, project.id, &after.joint, &after.assessment, now).await?;
    Ok(())
}

fn answer(judgement: &Judgement, granted: &'static str, release: Option<ReleaseId>) -> JointAnswer {
    let (status, release, against) = match &judgement.decision {
        Decision::Granted { .. } => (granted, release, Vec::new()),
        Decision::AlreadySo(in_force) => ("already_released", Some(in_force.id), Vec::new()),
        Decision::Refused(against) => ("refused", None, against.clone()),
    };
    JointAnswer {
        joint: judgement.judged.joint.entry.joint_number.clone(),
        status,
        release,
        blocking_conditions: against,
    }
}
