//! Sends facts as people in the field would.

use anyhow::bail;
use app::{
    App,
    joints::{BatchItem, record_batch},
};

use super::{actors::Someone, files::FactLine};
use crate::explain::explain;

/// Sends `lines`; all of them must be taken.
pub async fn send(app: &App, by: &Someone, lines: Vec<FactLine>) -> anyhow::Result<()> {
    let items = lines
        .into_iter()
        .map(|line| BatchItem { joint: Some(line.joint), fact: line.fact })
        .collect();
    let answers = record_batch(app, &by.actor, &by.project, items).await.map_err(explain)?;
    for answer in answers {
        if let Err(error) = answer.result {
            let id = answer.id.map_or_else(|| "without an id".to_owned(), |id| id.to_string());
            bail!(explain(error).context(format!("the fact {id} was not taken")));
        }
    }
    Ok(())
}
