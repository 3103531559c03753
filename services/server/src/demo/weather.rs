//! The weather of the demo: what the masts and thermometers told, and what was foretold.

use anyhow::{Context, bail};
use app::{App, ambient};
use domain::{access::Role, ambient::NewOutlook};
use serde_json::Value;

use super::{actors::Actors, files::SentLine};
use crate::explain::explain;

/// Sends one line: readings as an inspector, an outlook as the site coordinator.
pub async fn send(app: &App, actors: &Actors, line: SentLine) -> anyhow::Result<()> {
    let SentLine { to, body, .. } = line;
    if to == "outlooks" {
        let by = actors.with_role(Role::SiteCoordinator)?;
        let outlook: NewOutlook = serde_json::from_value(body).context("no outlook")?;
        let sent = ambient::record_outlook(app, &by.actor, &by.project, outlook).await;
        sent.map_err(explain)?;
        return Ok(());
    }
    let by = actors.with_role(Role::Inspector)?;
    let readings = body.get("readings").and_then(Value::as_array).context("no readings")?;
    let answers = ambient::record_batch(app, &by.actor, &by.project, readings).await;
    for answer in answers.map_err(explain)? {
        if let Err(error) = answer.result {
            let id = answer.id.map_or_else(|| "without an id".to_owned(), |id| id.to_string());
            bail!(explain(error).context(format!("the reading {id} was not taken")));
        }
    }
    Ok(())
}
