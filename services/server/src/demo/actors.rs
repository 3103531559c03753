//! The people of the demo, signed in and members of its project.

use anyhow::Context;
use app::{
    Actor, App,
    accounts::{self, NewUser, Origin},
    projects::{self, NewProject, ProjectEntry},
};
use domain::{
    access::{Permission, Role},
    ids::UserId,
};
use secrecy::SecretString;

use super::files::{self, ProjectFile, UserFile};
use crate::explain::explain;

/// Somebody who acts in the project.
pub struct Someone {
    /// As the file has them.
    pub user: UserFile,
    /// Signed in.
    pub actor: Actor,
    /// The project as they may enter it.
    pub project: ProjectEntry,
}

/// Everybody.
pub struct Actors(Vec<Someone>);

impl Actors {
    /// Creates the administrator by a set-up code, then everybody else and the project.
    pub async fn create(app: &App, password: &str) -> anyhow::Result<Self> {
        let users = files::users()?;
        let admin = users
            .iter()
            .find(|it| it.role == Role::Administrator)
            .context("there is no administrator in users.json")?;
        let code = accounts::new_setup_code(app).await.map_err(explain)?;
        let (email, name) = (admin.email.clone(), admin.name.clone());
        accounts::claim_setup_code(app, &code, email, name, secret(password))
            .await
            .map_err(explain)?;
        let administrator = sign_in(app, &admin.email, password).await?;
        let ProjectFile { code, name, time_zone } = files::project()?;
        let new = NewProject { code: code.clone(), name, time_zone, units: "si".to_owned() };
        let entry = projects::create(app, &administrator, new).await.map_err(explain)?;
        let mut everybody = Vec::with_capacity(users.len());
        for user in users {
            let actor = if user.role == Role::Administrator {
                administrator.clone()
            } else {
                join(app, &administrator, &entry, &user, password).await?
            };
            let project = projects::enter(app, &actor, &code, Permission::ReadProject)
                .await
                .map_err(explain)?;
            everybody.push(Someone { user, actor, project });
        }
        Ok(Self(everybody))
    }

    /// Whoever has `role`; of several, the first.
    pub fn with_role(&self, role: Role) -> anyhow::Result<&Someone> {
        let found = self.0.iter().find(|it| it.user.role == role);
        found.with_context(|| format!("there is no {} in users.json", role.name()))
    }

    /// Whoever signs in by `email`.
    pub fn with_email(&self, email: &str) -> anyhow::Result<&Someone> {
        let found = self.0.iter().find(|it| it.user.email == email);
        found.with_context(|| format!("there is no {email} in users.json"))
    }

    /// The user that the person `code` signs in as.
    pub fn user_of(&self, code: &str) -> Option<UserId> {
        let found = self.0.iter().find(|it| it.user.person.as_deref() == Some(code));
        found.map(|it| it.actor.user)
    }

    /// Everybody, in the order of the file.
    pub fn into_users(self) -> Vec<UserFile> {
        self.0.into_iter().map(|it| it.user).collect()
    }
}

async fn join(
    app: &App,
    administrator: &Actor,
    entry: &ProjectEntry,
    user: &UserFile,
    password: &str,
) -> anyhow::Result<Actor> {
    let UserFile { email, name, role, .. } = user.clone();
    let new = NewUser { email, name, password: secret(password) };
    let id = accounts::create_user(app, administrator, new).await.map_err(explain)?;
    projects::put_member(app, administrator, entry, id, role, None).await.map_err(explain)?;
    sign_in(app, &user.email, password).await
}

async fn sign_in(app: &App, email: &str, password: &str) -> anyhow::Result<Actor> {
    let tokens = accounts::sign_in(app, email, secret(password), &Origin::default())
        .await
        .map_err(explain)?;
    accounts::authenticate(app, &tokens.access_token).await.map_err(explain)
}

/// A password as the use cases take it.
pub fn secret(password: &str) -> SecretString {
    SecretString::from(password.to_owned())
}
