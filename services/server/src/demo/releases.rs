//! Signs releases as the QA manager would of an evening.

use anyhow::Context;
use app::{
    App,
    accounts::Origin,
    joints,
    nonconformances::{self, Decision, Disposition},
    releases::{self, Ask, Named, Signing},
};

use super::{
    actors::{Someone, secret},
    files::ReleaseLine,
};
use crate::explain::explain;

/// More than are ever open in the demo.
const MOST_OPEN: i64 = 100;

/// How many were released, and which were refused.
#[derive(Debug, Default)]
pub struct Signed {
    /// Released.
    pub released: u64,
    /// Numbers of those refused.
    pub refused: Vec<String>,
}

/// Signs the release of the joints in `line`.
pub async fn sign(
    app: &App,
    by: &Someone,
    password: &str,
    line: ReleaseLine,
) -> anyhow::Result<Signed> {
    settle(app, by, &line.joints).await?;
    let named = Named::Joints(line.joints);
    let challenge =
        releases::challenge(app, &by.actor, &by.project, &named).await.map_err(explain)?;
    let signing = Signing {
        nonce: challenge.nonce,
        password: secret(password),
        meaning: "I have read the records of these joints and release them for backfill.".into(),
        origin: Origin::default(),
    };
    let ask = Ask { named, signing };
    let answers = releases::give(app, &by.actor, &by.project, ask).await.map_err(explain)?;
    let mut signed = Signed::default();
    for answer in answers {
        match answer.status {
            "refused" => signed.refused.push(answer.joint),
            _ => signed.released += 1,
        }
    }
    Ok(signed)
}

/// Closes what is open on `joints`: whoever releases has judged that the newest test settles it.
async fn settle(app: &App, by: &Someone, joints: &[String]) -> anyhow::Result<()> {
    let open = nonconformances::list(app, &by.project, Some("open"), None, MOST_OPEN).await;
    for found in open.map_err(explain)? {
        let Some(joint) = found.joint.as_ref().filter(|it| joints.contains(it)) else { continue };
        let facts = joints::facts(app, &by.project, joint).await.map_err(explain)?;
        let decision = Decision {
            disposition: Disposition::Repair,
            closing_event: Some(facts.last().context("a nonconformance without a fact")?.id),
            note: "repaired over the full circumference and tested anew".to_owned(),
        };
        let place = (found.id, found.version);
        nonconformances::dispose(app, &by.actor, &by.project, place, &decision)
            .await
            .map_err(explain)
            .with_context(|| format!("could not close nonconformance {}", found.number))?;
    }
    Ok(())
}
