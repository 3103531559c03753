//! What administrators do with webhooks.

use chrono::TimeDelta;
use domain::{access::Permission, schema::FieldError};
use store::{
    Tx,
    webhooks::{ShownDelivery, Wanted, Webhook},
};
use uuid::Uuid;
use webhooks::{Secret, Target};

use crate::{Actor, App, AppError, feed::number, new_id, projects::ProjectEntry};

/// Webhooks of one project: each change is sent to each of them.
const MOST: usize = 20;

/// So long the secret before the present one signs as well.
const OVERLAP: TimeDelta = TimeDelta::hours(24);

/// A webhook and its secret, which is shown this once.
#[derive(Debug, Clone)]
pub struct NewWebhook {
    /// The webhook.
    pub webhook: Webhook,
    /// `whsec_…`.
    pub secret: String,
}

/// The webhooks of the project, oldest first.
pub async fn list(app: &App, project: &ProjectEntry) -> Result<Vec<Webhook>, AppError> {
    project.require(Permission::ManageWebhooks)?;
    let mut tx = app.begin_in(project.id).await?;
    Ok(store::webhooks::list(&mut tx, project.id).await?)
}

/// Adds a webhook; it hears what changes from now on.
pub async fn create(
    app: &App,
    actor: &Actor,
    project: &ProjectEntry,
    wanted: &Wanted<'_>,
) -> Result<NewWebhook, AppError> {
    project.require(Permission::ManageWebhooks)?;
    check(app, wanted)?;
    // What has happened before is not for it.
    number(app, project.id).await?;
    let mut tx = app.begin_in(project.id).await?;
    // Two who add at once take turns, or together they would add too many.
    store::projects::lock(&mut tx, project.id).await?;
    if store::webhooks::list(&mut tx, project.id).await?.len() >= MOST {
        let detail = format!("a project has at most {MOST} webhooks: delete one");
        return Err(AppError::Conflict { code: "TOO_MANY_WEBHOOKS", detail });
    }
    let secret = new_secret()?;
    let now = app.clock.now();
    let id = new_id(now);
    let by = (actor.user, now);
    store::webhooks::insert(&mut tx, project.id, (id, secret.as_bytes()), wanted, by).await?;
    let webhook = find(&mut tx, project, id).await?;
    app.commit(tx).await?;
    tracing::info!(project.id = %project.id, webhook.id = %id, "added webhook {id}");
    Ok(NewWebhook { webhook, secret: secret.reveal() })
}

/// Changes the webhook `id`, seen at `version`.
pub async fn update(
    app: &App,
    project: &ProjectEntry,
    (id, version): (Uuid, i64),
    wanted: &Wanted<'_>,
) -> Result<Webhook, AppError> {
    project.require(Permission::ManageWebhooks)?;
    check(app, wanted)?;
    number(app, project.id).await?;
    let mut tx = app.begin_in(project.id).await?;
    if !store::webhooks::update(&mut tx, project.id, (id, version), wanted).await? {
        let found = find(&mut tx, project, id).await?;
        return Err(AppError::stale(version, found.version));
    }
    let webhook = find(&mut tx, project, id).await?;
    app.commit(tx).await?;
    Ok(webhook)
}

/// Deletes the webhook `id`, seen at `version`, and what is known of its deliveries.
pub async fn delete(
    app: &App,
    project: &ProjectEntry,
    (id, version): (Uuid, i64),
) -> Result<(), AppError> {
    project.require(Permission::ManageWebhooks)?;
    let mut tx = app.begin_in(project.id).await?;
    if !store::webhooks::delete(&mut tx, project.id, (id, version)).await? {
        let found = find(&mut tx, project, id).await?;
        return Err(AppError::stale(version, found.version));
    }
    app.commit(tx).await?;
    tracing::info!(project.id = %project.id, webhook.id = %id, "deleted webhook {id}");
    Ok(())
}

/// Gives the webhook a new secret; the one before signs as well for a day.
pub async fn rotate(app: &App, project: &ProjectEntry, id: Uuid) -> Result<NewWebhook, AppError> {
    project.require(Permission::ManageWebhooks)?;
    let secret = new_secret()?;
    let until = app.clock.now() + OVERLAP;
    let mut tx = app.begin_in(project.id).await?;
    if !store::webhooks::rotate(&mut tx, project.id, id, secret.as_bytes(), until).await? {
        return Err(not_found(id));
    }
    let webhook = find(&mut tx, project, id).await?;
    app.commit(tx).await?;
    Ok(NewWebhook { webhook, secret: secret.reveal() })
}

/// The deliveries of a webhook, newest first.
pub async fn deliveries(
    app: &App,
    project: &ProjectEntry,
    id: Uuid,
    which: (Option<&str>, Option<i64>),
    limit: i64,
) -> Result<Vec<ShownDelivery>, AppError> {
    project.require(Permission::ManageWebhooks)?;
    let mut tx = app.begin_in(project.id).await?;
    find(&mut tx, project, id).await?;
    Ok(store::webhooks::list_deliveries(&mut tx, project.id, id, which, limit).await?)
}

/// Sends a delivery again, from the start of its schedule.
pub async fn resend(
    app: &App,
    project: &ProjectEntry,
    (webhook, id): (Uuid, Uuid),
) -> Result<(), AppError> {
    project.require(Permission::ManageWebhooks)?;
    let mut tx = app.begin_in(project.id).await?;
    let found = find(&mut tx, project, webhook).await?;
    if !found.enabled {
        let detail = "the webhook is switched off: switch it on first".to_owned();
        return Err(AppError::Conflict { code: "WEBHOOK_DISABLED", detail });
    }
    let now = app.clock.now();
    if !store::webhooks::resend(&mut tx, project.id, (webhook, id), now).await? {
        return Err(AppError::not_found(format!("delivery {id}")));
    }
    app.commit(tx).await
}

fn check(app: &App, wanted: &Wanted<'_>) -> Result<(), AppError> {
    let refused = Target::parse(wanted.url, app.sender.reach()).err();
    let mut faults: Vec<FieldError> = refused
        .into_iter()
        .map(|it| FieldError::new("/url", "ADDRESS_REFUSED", it.to_string()))
        .collect();
    for (place, topic) in wanted.topics.iter().enumerate() {
        let fits = |byte: u8| byte.is_ascii_lowercase() || byte == b'_';
        let is_topic = topic.split_once('.').is_some_and(|(noun, verb)| {
            !noun.is_empty() && !verb.is_empty() && noun.bytes().chain(verb.bytes()).all(fits)
        });
        if !is_topic {
            let detail = "a topic looks like `joint.changed`";
            faults.push(FieldError::new(&format!("/topics/{place}"), "INVALID", detail));
        }
    }
    if faults.is_empty() { Ok(()) } else { Err(AppError::Invalid(faults)) }
}

fn new_secret() -> Result<Secret, AppError> {
    Secret::generate().map_err(|error| AppError::Internal(format!("no randomness: {error}")))
}

async fn find(tx: &mut Tx, project: &ProjectEntry, id: Uuid) -> Result<Webhook, AppError> {
    let found = store::webhooks::find(tx, project.id, id).await?;
    found.ok_or_else(|| not_found(id))
}

fn not_found(id: Uuid) -> AppError {
    AppError::not_found(format!("webhook {id}"))
}
