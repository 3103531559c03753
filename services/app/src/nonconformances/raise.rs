//! Raises a nonconformance by hand.

use chrono::{DateTime, Utc};
use domain::{
    access::Permission,
    ids::{EventId, JointId, NonconformanceId},
    joints::{Severity, nonconformance::Scope},
    schema::FieldError,
    setup::ProjectSetup,
};
use store::{
    PgConnection,
    nonconformances::{Entry, NewNonconformance},
};

use super::{NonconformanceRecord, follow::follow_later, show::record};
use crate::{Actor, App, AppError, joints::judge, new_id, projects::ProjectEntry, setup};

/// The code of what people raise; findings have codes of their own.
const CODE: &str = "RAISED_BY_HAND";

/// What is raised.
#[derive(Debug, Clone)]
pub struct Raised {
    /// Made by the client.
    pub id: NonconformanceId,
    /// Number or id of the joint; none where it is of a lot, a crew or a stretch.
    pub joint: Option<String>,
    /// What it is about.
    pub scope: Scope,
    /// What does not conform.
    pub nature: String,
    /// How bad it is.
    pub severity: Severity,
    /// The facts that show it.
    pub evidence: Vec<EventId>,
    /// What was done at once so that it goes no further.
    pub containment: Option<String>,
}

/// Raises it; true where the same was raised before.
///
/// Whoever is asked about one of its joints is told from then on. The flags in the list of joints
/// follow, for a lot, a crew or a stretch, by a job.
pub async fn raise(
    app: &App,
    actor: &Actor,
    project: &ProjectEntry,
    raised: &Raised,
) -> Result<(NonconformanceRecord, bool), AppError> {
    project.require(Permission::RaiseNonconformances)?;
    let now = app.clock.now();
    let mut tx = app.begin_in(project.id).await?;
    let setup = setup::snapshot(app, &mut tx, project.id).await?;
    known(&setup, &raised.scope)?;
    let joint = match &raised.joint {
        Some(name) => {
            let found =
                store::joints::lock(&mut tx, project.id, std::slice::from_ref(name)).await?;
            let missing = || AppError::not_found(format!("joint {name}"));
            Some(found.into_iter().next().ok_or_else(missing)?)
        }
        None => None,
    };
    let id = joint.as_ref().map(|it| it.id);
    evidence(&mut tx, project, id, &raised.evidence).await?;
    let new = NewNonconformance {
        id: raised.id,
        joint: id,
        scope: &raised.scope,
        code: CODE,
        severity: raised.severity,
        nature: &raised.nature,
        evidence: &raised.evidence,
        by: actor.user,
        at: now,
    };
    if !store::nonconformances::raise(&mut tx, project.id, &new).await? {
        let known = record(&mut tx, project, raised.id).await?;
        let number = joint.as_ref().map(|it| it.entry.joint_number.as_str());
        return if says_the_same(&known, raised, number) {
            Ok((known, true))
        } else {
            let detail = format!("another nonconformance has the id {}", raised.id);
            Err(AppError::Conflict { code: "ID_REUSED", detail })
        };
    }
    if let Some(text) = &raised.containment {
        let kind = "containment".to_owned();
        let entry = entry(actor, kind, text.clone(), now);
        store::nonconformances::add_entry(&mut tx, project.id, raised.id, &entry).await?;
    }
    match joint {
        Some(joint) => {
            let after = judge(&mut tx, project.id, joint, &setup, now).await?;
            let (joint, assessment) = (&after.joint, &after.assessment);
            store::joints::set_flags(&mut tx, project.id, joint.id, assessment, now).await?;
        }
        None => follow_later(&mut tx, project.id, raised.id).await?,
    }
    let record = record(&mut tx, project, raised.id).await?;
    app.commit(tx).await?;
    Ok((record, false))
}

/// An entry of `actor`.
pub(super) fn entry(actor: &Actor, kind: String, text: String, now: DateTime<Utc>) -> Entry {
    let (written_by, printed_name) = (actor.user, actor.name.clone());
    Entry { id: new_id(now), kind, text, written_by, printed_name, written_at: now }
}

fn known(setup: &ProjectSetup, scope: &Scope) -> Result<(), AppError> {
    let missing = match scope {
        Scope::Lot(lot) if !setup.lots.contains_key(lot) => format!("lot {lot}"),
        Scope::Crew { code, .. } if !setup.crews.contains_key(code) => format!("crew {code}"),
        Scope::Stretch { section: Some(section), .. } if !setup.sections.contains_key(section) => {
            format!("section {section}")
        }
        _ => return Ok(()),
    };
    Err(AppError::not_found(missing))
}

async fn evidence(
    conn: &mut PgConnection,
    project: &ProjectEntry,
    joint: Option<JointId>,
    facts: &[EventId],
) -> Result<(), AppError> {
    let unknown = store::nonconformances::unknown_facts(conn, project.id, joint, facts).await?;
    let faults = facts.iter().enumerate().filter(|(_, fact)| unknown.contains(fact));
    let faults: Vec<FieldError> = faults
        .map(|(place, fact)| {
            let of = if joint.is_some() { "this joint" } else { "this project" };
            let detail = format!("{fact} is no fact of {of}");
            FieldError::new(&format!("/evidence/{place}"), "UNKNOWN", detail)
        })
        .collect();
    if faults.is_empty() { Ok(()) } else { Err(AppError::Invalid(faults)) }
}

fn says_the_same(known: &NonconformanceRecord, raised: &Raised, joint: Option<&str>) -> bool {
    let it = &known.nonconformance;
    let evidence: Vec<EventId> = it.evidence.iter().copied().map(EventId).collect();
    let at_once = known.entries.iter().find(|entry| entry.written_at == it.opened_at);
    it.code == CODE
        && it.joint.as_deref() == joint
        && it.scope == raised.scope
        && it.nature == raised.nature
        && it.severity == raised.severity.name()
        && evidence == raised.evidence
        && at_once.map(|entry| &entry.text) == raised.containment.as_ref()
}
