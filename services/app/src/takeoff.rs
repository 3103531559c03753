//! What the plan will consume.

use domain::{
    joints::JointKind,
    takeoff::{Bill, JointGroup, JointNeed, of_many},
};
use serde::Serialize;
use store::{StoreError, joints::JointCount};
use utoipa::ToSchema;

use crate::{App, AppError, projects::ProjectEntry, setup};

/// The take-off of one joint.
pub async fn of_joint(
    app: &App,
    project: &ProjectEntry,
    joint: &str,
) -> Result<JointNeed, AppError> {
    let mut conn = app.begin_in(project.id).await?;
    let found = store::joints::find(&mut conn, project.id, joint).await?;
    let found = found.ok_or_else(|| AppError::not_found(format!("joint {joint}")))?;
    let setup = setup::snapshot_at(app, &mut conn, project.id, project.setup_version).await?;
    Ok(domain::takeoff::of_joint(&setup, &found.entry))
}

/// The take-off of a section or of the whole project.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub struct Takeoff {
    /// Every joint of the register but those whose weld was cut out.
    pub all: Bill,
    /// Of these the joints that are not wrapped yet, each counted whole: up to the stage `primed`.
    pub to_wrap: Bill,
}

/// The take-off of the section of that code, or of the whole project.
pub async fn of_project(
    app: &App,
    project: &ProjectEntry,
    section: Option<&str>,
) -> Result<Takeoff, AppError> {
    let mut conn = app.begin_in(project.id).await?;
    let setup = setup::snapshot_at(app, &mut conn, project.id, project.setup_version).await?;
    if let Some(code) = section.filter(|code| !setup.sections.contains_key(*code)) {
        return Err(AppError::not_found(format!("section {code}")));
    }
    let counts = store::joints::count_for_takeoff(&mut conn, project.id, section).await?;
    let mut all = Vec::with_capacity(counts.len());
    let mut to_wrap = Vec::with_capacity(counts.len());
    for count in counts {
        let (joints, waiting) = (count.joints.unsigned_abs(), count.to_wrap.unsigned_abs());
        let group = group(project, count)?;
        all.push((group.clone(), joints));
        to_wrap.push((group, waiting));
    }
    to_wrap.retain(|(_, joints)| *joints > 0);
    let sum = |groups: &[_]| {
        of_many(&setup, groups).map_err(|error| AppError::Conflict {
            code: "TAKEOFF_IMPOSSIBLE",
            detail: format!("the set-up gives no sum: {error}"),
        })
    };
    Ok(Takeoff { all: sum(&all)?, to_wrap: sum(&to_wrap)? })
}

fn group(project: &ProjectEntry, count: JointCount) -> Result<JointGroup, StoreError> {
    let kind = JointKind::parse(&count.kind).ok_or_else(|| {
        StoreError::inconsistent("joints", project.id, format!("unknown kind {}", count.kind))
    })?;
    Ok(JointGroup { section: count.section, kind, coating_system: count.coating_system })
}
