//! A new project.

use chrono_tz::Tz;
use domain::{access::Role, ids::ProjectId, schema::FieldError};
use store::projects::Project;
use uuid::Uuid;

use super::{ProjectEntry, UnitSystem};
use crate::{Actor, App, AppError, new_id};

/// What a project starts with.
#[derive(Debug, Clone)]
pub struct NewProject {
    /// Short name in addresses.
    pub code: String,
    /// Name for people.
    pub name: String,
    /// IANA name.
    pub time_zone: String,
    /// `si` or `imperial`.
    pub units: String,
}

/// Creates a project; its creator becomes its first administrator.
pub async fn create(app: &App, actor: &Actor, new: NewProject) -> Result<ProjectEntry, AppError> {
    actor.require_administrator("create_projects")?;
    let (time_zone, units) = check(&new).map_err(AppError::Invalid)?;
    let now = app.clock.now();
    let project = Project {
        id: ProjectId(new_id(now)),
        code: new.code,
        name: new.name,
        time_zone: time_zone.name().to_owned(),
        units: units.name().to_owned(),
        version: 1,
        setup_version: 0,
        created_by: actor.user,
        created_at: now,
    };
    let mut tx = app.begin_in(project.id).await?;
    store::projects::insert(&mut tx, &project).await.map_err(|error| {
        if error.constraint() == Some("projects_code_key") {
            let detail = format!("another project has the code {}", project.code);
            return AppError::Conflict { code: "PROJECT_CODE_TAKEN", detail };
        }
        error.into()
    })?;
    let role = Role::Administrator;
    store::members::insert(&mut tx, project.id, actor.user, role).await?;
    app.commit(tx).await?;
    tracing::info!(project.id = %project.id, "created project {}", project.id);
    Ok(store::projects::Membership { project, role }.try_into()?)
}

fn check(new: &NewProject) -> Result<(Tz, UnitSystem), Vec<FieldError>> {
    let mut faults = Vec::new();
    if let Some(detail) = fault_of_code(&new.code) {
        faults.push(FieldError::new("/code", "INVALID", detail));
    }
    if !(1..=200).contains(&new.name.chars().count()) {
        faults.push(FieldError::new("/name", "WRONG_LENGTH", "must have 1 to 200 characters"));
    }
    let time_zone = new.time_zone.parse::<Tz>().ok();
    if time_zone.is_none() {
        let detail = format!("`{}` is not an IANA time zone such as Europe/Oslo", new.time_zone);
        faults.push(FieldError::new("/time_zone", "UNKNOWN_VALUE", detail));
    }
    let units = UnitSystem::parse(&new.units);
    if units.is_none() {
        faults.push(FieldError::new("/units", "UNKNOWN_VALUE", "must be `si` or `imperial`"));
    }
    match (time_zone, units) {
        (Some(time_zone), Some(units)) if faults.is_empty() => Ok((time_zone, units)),
        _ => Err(faults),
    }
}

/// A code stands in addresses, where a UUID would mean the id of another project.
fn fault_of_code(code: &str) -> Option<&'static str> {
    let is_plain = |c: char| c.is_ascii_alphanumeric() || matches!(c, '-' | '_' | '.');
    if !(1..=40).contains(&code.len()) || !code.chars().all(is_plain) {
        return Some("must be 1 to 40 letters, digits, hyphens, underscores or dots");
    }
    if matches!(code, "." | "..") {
        return Some("must not be a dot or two: addresses drop those");
    }
    Uuid::try_parse(code).is_ok().then_some("must not have the shape of a UUID")
}

#[cfg(test)]
mod tests {
    use super::*;

    fn project(code: &str, time_zone: &str, units: &str) -> NewProject {
        NewProject {
            code: code.to_owned(),
            name: "North loop".to_owned(),
            time_zone: time_zone.to_owned(),
            units: units.to_owned(),
        }
    }

    #[test]
    fn every_fault_is_named_at_once() {
        let faults = check(&project("a b", "Mars/Base", "cubits")).unwrap_err();
        let pointers: Vec<&str> = faults.iter().map(|it| it.pointer.as_str()).collect();
        assert_eq!(pointers, ["#/code", "#/time_zone", "#/units"]);
    }

    #[test]
    fn a_code_is_never_taken_for_an_id() {
        assert!(fault_of_code("0192f0c1-2d3e-7a4b-8c5d-6e7f8091a2b3").is_some());
        assert!(fault_of_code("0192f0c12d3e7a4b8c5d6e7f8091a2b3").is_some());
        assert!(check(&project("NL-2026", "Europe/Oslo", "si")).is_ok());
    }
}
