//! Signs releases as the QA manager would of an evening.

use app::{
    App,
    releases::{self, Ask, Named, Signing},
};

use super::{
    actors::{Someone, secret},
    files::ReleaseLine,
};
use crate::explain::explain;

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
    let named = Named::Joints(line.joints);
    let challenge =
        releases::challenge(app, &by.actor, &by.project, &named).await.map_err(explain)?;
    let signing = Signing {
        nonce: challenge.nonce,
        password: secret(password),
        meaning: "I have read the records of these joints and release them for backfill.".into(),
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
