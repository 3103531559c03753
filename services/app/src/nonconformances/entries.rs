//! What is said on a nonconformance: containment, root cause, action, verification.

use domain::{access::Permission, ids::NonconformanceId};

use super::{NonconformanceRecord, raise::entry, show::record};
use crate::{Actor, App, AppError, projects::ProjectEntry};

/// What an entry says.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum EntryKind {
    /// What was done so that it goes no further.
    Containment,
    /// Why it came about.
    RootCause,
    /// What was done about that.
    Action,
    /// That what was done has worked, and how that was seen.
    Verification,
}

impl EntryKind {
    /// The name in JSON and SQL.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Containment => "containment",
            Self::RootCause => "root_cause",
            Self::Action => "action",
            Self::Verification => "verification",
        }
    }
}

/// Writes on the nonconformance `id`, open or not; nothing written is changed.
pub async fn write_on(
    app: &App,
    actor: &Actor,
    project: &ProjectEntry,
    id: NonconformanceId,
    (kind, text): (EntryKind, String),
) -> Result<NonconformanceRecord, AppError> {
    project.require(Permission::RaiseNonconformances)?;
    let mut tx = app.begin_in(project.id).await?;
    // There is such a one in this project.
    record(&mut tx, project, id).await?;
    let entry = entry(actor, kind.name().to_owned(), text, app.clock.now());
    store::nonconformances::add_entry(&mut tx, project.id, id, &entry).await?;
    let record = record(&mut tx, project, id).await?;
    app.commit(tx).await?;
    Ok(record)
}
