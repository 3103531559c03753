//! Takes changes up from the feed and sends them.

use std::time::{Duration, Instant};

use chrono::{DateTime, TimeDelta, Utc};
use domain::ids::ProjectId;
use serde_json::{Value, json};
use store::{
    feed::Entry,
    webhooks::{Due, Receiver},
};
use uuid::Uuid;
use webhooks::{Message, Secret, Target, sign, wait_after};

use crate::{
    App, AppError,
    error::chain,
    feed::number,
    jobs::{DeliverWebhook, not_enqueued},
    new_id,
};

/// A job that has not let go of its webhook by then is lost.
const IN_HAND: TimeDelta = TimeDelta::minutes(5);

/// A delivery whose sender has not come back by then is sent again.
const ON_ITS_WAY: TimeDelta = TimeDelta::minutes(1);

/// Changes taken up in one transaction.
const PAGE: i64 = 200;

/// So long one job sends; what is left is for the next one.
const TURN: Duration = Duration::from_secs(90);

/// Largest message (Standard Webhooks 1.0.0, "Payload size": below 20 kB).
const LARGEST: usize = 20_000;

/// Whoever answers so wants to hear nothing more (Standard Webhooks 1.0.0).
const GONE: u16 = 410;

/// What a job did.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Delivered {
    /// Changes taken up.
    pub taken_up: i64,
    /// Messages that were taken.
    pub delivered: i64,
    /// Attempts that failed.
    pub failed: i64,
}

/// Asks for a job for every webhook, in all projects, that has something to send and none yet;
/// returns how many were asked for.
pub async fn ask_due(app: &App) -> Result<usize, AppError> {
    store::feed::number_all(&mut *app.connection().await?).await?;
    let now = app.clock.now();
    let mut tx = app.begin().await?;
    let due = store::webhooks::ask(&mut tx, now, now + IN_HAND).await?;
    for (project, webhook) in &due {
        let job = DeliverWebhook { project: *project, webhook: *webhook };
        ::jobs::enqueue(&mut tx, &job).await.map_err(not_enqueued)?;
    }
    app.commit(tx).await?;
    Ok(due.len())
}

/// Sends what there is for one webhook, oldest first, until one attempt fails: whoever does not
/// answer is asked again later and holds up nobody but themselves.
pub async fn deliver(app: &App, project: ProjectId, webhook: Uuid) -> Result<Delivered, AppError> {
    let mut done = Delivered::default();
    let worked = work(app, (project, webhook), &mut done).await;
    let mut tx = app.begin_in(project).await?;
    store::webhooks::let_go(&mut tx, project, webhook).await?;
    app.commit(tx).await?;
    worked.map(|()| done)
}

async fn work(
    app: &App,
    (project, webhook): (ProjectId, Uuid),
    done: &mut Delivered,
) -> Result<(), AppError> {
    let started = Instant::now();
    loop {
        let Some((receiver, taken_up)) = take_up(app, project, webhook).await? else {
            return Ok(());
        };
        done.taken_up += taken_up;
        loop {
            if started.elapsed() > TURN {
                return Ok(());
            }
            let now = app.clock.now();
            let mut tx = app.begin_in(project).await?;
            let due =
                store::webhooks::claim(&mut tx, project, webhook, now, now + ON_ITS_WAY).await?;
            app.commit(tx).await?;
            let Some(due) = due else { break };
            if !attempt(app, (project, webhook), &receiver, &due).await? {
                done.failed += 1;
                return Ok(());
            }
            done.delivered += 1;
        }
        if taken_up == 0 {
            return Ok(());
        }
    }
}

/// Makes deliveries of the next changes; none where the webhook is switched off or gone.
async fn take_up(
    app: &App,
    project: ProjectId,
    webhook: Uuid,
) -> Result<Option<(Receiver, i64)>, AppError> {
    number(app, project).await?;
    let now = app.clock.now();
    let mut tx = app.begin_in(project).await?;
    let Some(receiver) = store::webhooks::lock_receiver(&mut tx, project, webhook).await? else {
        return Ok(None);
    };
    let entries = store::feed::after(&mut tx, project, receiver.position, PAGE).await?;
    let Some(last) = entries.last() else { return Ok(Some((receiver, 0))) };
    if entries.first().is_some_and(|first| first.seq != receiver.position + 1) {
        tracing::warn!(project.id = %project, webhook.id = %webhook, "changes were forgotten unsent");
    }
    let wanted: Vec<_> = entries
        .iter()
        .filter(|it| receiver.topics.is_empty() || receiver.topics.contains(&it.topic))
        .map(|entry| (new_id(now), entry, payload(project, entry)))
        .collect();
    store::webhooks::fetch(&mut tx, project, webhook, &wanted, now).await?;
    store::webhooks::move_on(&mut tx, project, webhook, last.seq).await?;
    let taken_up = i64::try_from(entries.len()).unwrap_or(i64::MAX);
    app.commit(tx).await?;
    Ok(Some((receiver, taken_up)))
}

fn payload(project: ProjectId, entry: &Entry) -> String {
    let text = |body: &Value| {
        json!({
            "type": entry.topic,
            "timestamp": entry.at,
            "data": {
                "project": project, "seq": entry.seq, "subject": entry.subject, "body": body,
            },
        })
        .to_string()
    };
    let whole = text(&entry.body);
    // What is told is thin; should it not be once, the receiver reads it where it is.
    if whole.len() < LARGEST { whole } else { text(&Value::Null) }
}

/// Sends one delivery and stores what came of it; whether it was taken.
async fn attempt(
    app: &App,
    (project, webhook): (ProjectId, Uuid),
    receiver: &Receiver,
    due: &Due,
) -> Result<bool, AppError> {
    let answered = match Target::parse(&receiver.url, app.sender.reach()) {
        Ok(target) => {
            let message = message(receiver, due, app.clock.now())?;
            app.sender.send(&target, message).await.map_err(|error| chain(&error))
        }
        // The server may have been told since to send to public addresses only.
        Err(refusal) => Err(refusal.to_string()),
    };
    let now = app.clock.now();
    let mut tx = app.begin_in(project).await?;
    let taken = match &answered {
        Ok(status @ 200..300) => {
            let status = i32::from(*status);
            store::webhooks::succeeded(&mut tx, project, due.id, status, now).await?;
            true
        }
        not_taken => {
            let (status, failure) = match not_taken {
                Ok(status) => (Some(*status), format!("answered {status}")),
                Err(failure) => (None, failure.clone()),
            };
            let attempts = usize::try_from(due.attempts).unwrap_or(usize::MAX);
            let chance = due.id.as_bytes()[15];
            let wait = wait_after(attempts, chance).filter(|_| status != Some(GONE));
            let next_at = wait.and_then(|it| TimeDelta::from_std(it).ok()).map(|it| now + it);
            let why = (status.map(i32::from), failure.as_str());
            store::webhooks::failed(&mut tx, project, due.id, why, (now, next_at)).await?;
            if status == Some(GONE) {
                let reason = "the receiver answered 410: it wants to hear nothing more";
                store::webhooks::disable(&mut tx, project, webhook, reason).await?;
            }
            tracing::info!(
                project.id = %project, webhook.id = %webhook, delivery.id = %due.id,
                attempts = due.attempts, failure, "delivery {} was not taken", due.id
            );
            false
        }
    };
    app.commit(tx).await?;
    Ok(taken)
}

fn message(receiver: &Receiver, due: &Due, now: DateTime<Utc>) -> Result<Message, AppError> {
    let secret = |bytes: &[u8]| {
        Secret::from_bytes(bytes.to_vec()).map_err(|error| AppError::internal(&error))
    };
    let mut secrets = vec![secret(&receiver.secret)?];
    if let (Some(previous), Some(until)) = (&receiver.previous_secret, receiver.previous_until)
        && until > now
    {
        secrets.push(secret(previous)?);
    }
    let id = format!("msg_{}", due.id.simple());
    let (timestamp_s, body) = (now.timestamp(), due.payload.clone().into_bytes());
    let signature = sign(&secrets, &id, timestamp_s, &body);
    Ok(Message { id, timestamp_s, signature, body })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_message_stays_below_twenty_kilobytes() {
        let entry = |body| Entry {
            seq: 7,
            topic: "joint.changed".to_owned(),
            subject: "J-1".to_owned(),
            body,
            at: DateTime::UNIX_EPOCH,
        };
        let project = ProjectId(Uuid::nil());
        let read = |text: &str| serde_json::from_str::<Value>(text).unwrap();
        let thin = read(&payload(project, &entry(json!({ "joint": "J-1" }))));
        assert_eq!(thin["type"], "joint.changed");
        assert_eq!(thin["timestamp"], "1970-01-01T00:00:00Z");
        assert_eq!(thin["data"]["body"]["joint"], "J-1");
        let fat = payload(project, &entry(json!({ "text": "x".repeat(30_000) })));
        assert!(fat.len() < LARGEST);
        assert_eq!(read(&fat)["data"]["body"], Value::Null);
    }
}
