//! Who may enter a project, and as what.

use domain::{
    access::{Permission, Role},
    ids::UserId,
};
use serde_json::json;
use store::{Tx, members::Member};

use super::ProjectEntry;
use crate::{Actor, App, AppError};

/// What putting a member did.
#[derive(Debug, Clone)]
pub struct PutMember {
    /// The member as it is now.
    pub member: Member,
    /// Whether it was not one before.
    pub created: bool,
}

/// The members of the project by e-mail.
pub async fn members_list(
    app: &App,
    _actor: &Actor,
    entry: &ProjectEntry,
) -> Result<Vec<Member>, AppError> {
    entry.require(Permission::ReadProject)?;
    let mut conn = app.begin_in(entry.id).await?;
    Ok(store::members::list(&mut conn, entry.id).await?)
}

/// Makes `user` a member in `role`, or gives the member at `expected_version` that role.
pub async fn put_member(
    app: &App,
    actor: &Actor,
    entry: &ProjectEntry,
    user: UserId,
    role: Role,
    expected_version: Option<i64>,
) -> Result<PutMember, AppError> {
    entry.require(Permission::ManageMembers)?;
    let mut tx = app.begin_in(entry.id).await?;
    // Changes of members take turns, or two administrators could dismiss each other.
    store::projects::lock(&mut tx, entry.id).await?;
    let before = store::members::find(&mut tx, entry.id, user).await?;
    match (&before, expected_version) {
        (None, None) => add(&mut tx, entry, user, role).await?,
        (None, Some(_)) => {
            let detail = "a version was expected, but the user is not a member".to_owned();
            return Err(AppError::PreconditionFailed { detail });
        }
        (Some(_), None) => {
            let detail = "the user is a member; send If-Match to change the role".to_owned();
            return Err(AppError::Conflict { code: "MEMBER_EXISTS", detail });
        }
        (Some(member), Some(expected)) => {
            if member.version != expected {
                return Err(AppError::stale(expected, member.version));
            }
            if role != Role::Administrator {
                keep_an_administrator(&mut tx, entry, member).await?;
            }
            store::members::update_role(&mut tx, entry.id, user, expected, role).await?;
        }
    }
    let member = store::members::find(&mut tx, entry.id, user)
        .await?
        .ok_or_else(|| AppError::Internal(format!("member {user} vanished")))?;
    app.commit(tx).await?;
    tracing::info!(
        project.id = %entry.id, user.id = %user, actor.id = %actor.user,
        "user {user} is {} of project {}", role.name(), entry.id
    );
    Ok(PutMember { member, created: before.is_none() })
}

/// Takes the project away from `user`, seen at version `expected`.
pub async fn remove_member(
    app: &App,
    actor: &Actor,
    entry: &ProjectEntry,
    user: UserId,
    expected: i64,
) -> Result<(), AppError> {
    entry.require(Permission::ManageMembers)?;
    let mut tx = app.begin_in(entry.id).await?;
    store::projects::lock(&mut tx, entry.id).await?;
    let member = store::members::find(&mut tx, entry.id, user)
        .await?
        .ok_or_else(|| AppError::not_found(format!("member {user}")))?;
    if member.version != expected {
        return Err(AppError::stale(expected, member.version));
    }
    keep_an_administrator(&mut tx, entry, &member).await?;
    store::members::delete(&mut tx, entry.id, user).await?;
    app.commit(tx).await?;
    tracing::info!(
        project.id = %entry.id, user.id = %user, actor.id = %actor.user,
        "user {user} left project {}", entry.id
    );
    Ok(())
}

async fn add(tx: &mut Tx, entry: &ProjectEntry, user: UserId, role: Role) -> Result<(), AppError> {
    store::members::insert(tx, entry.id, user, role).await.map_err(|error| {
        if error.constraint() == Some("members_user_id_fkey") {
            return AppError::not_found(format!("user {user}"));
        }
        error.into()
    })
}

/// A project without an administrator could never be given one again.
async fn keep_an_administrator(
    tx: &mut Tx,
    entry: &ProjectEntry,
    leaving: &Member,
) -> Result<(), AppError> {
    if leaving.role != Role::Administrator
        || store::members::count(tx, entry.id, Role::Administrator).await? > 1
    {
        return Ok(());
    }
    Err(AppError::Refused {
        code: "LAST_ADMINISTRATOR",
        detail: "the project would be left without an administrator".to_owned(),
        blocking: json!([]),
    })
}
