//! Hands material out to a crew.

use chrono::{DateTime, Utc};
use domain::{
    access::Permission,
    ids::MovementId,
    schema::FieldError,
    setup::{Material, ProjectSetup},
    stock::{
        IssueAsk, MovementKind, NewMovement, NotIssued, Pick, Quantity, decide_issue,
        in_a_system_of, misplaced,
    },
};
use serde_json::{Value, json};

use super::{
    Recorded, Stamp,
    balances::{lots_at, on_hand},
    lock_balances,
    post::post_asked,
    record_movement::from_the_future,
    views::{earlier, recorded},
};
use crate::{Actor, App, AppError, new_id, projects::ProjectEntry, retry::Attempts, setup};

/// What is to be handed out.
#[derive(Debug, Clone)]
pub struct IssueOrder {
    /// Id; of the first movement, where it takes several lots.
    pub id: MovementId,
    /// Code of the material; may be left out where the lot says it.
    pub material: Option<String>,
    /// Code of the lot; those that expire first if absent.
    pub lot: Option<String>,
    /// How much, base units.
    pub quantity: Quantity,
    /// Code of the place it leaves.
    pub from: String,
    /// Code of the location of the crew.
    pub to: String,
    /// Why, where another lot should go first.
    pub reason: Option<String>,
    /// When it happened.
    pub occurred_at: DateTime<Utc>,
    /// What was sent: the same again is the same issue.
    pub asked: Value,
}

/// Hands out a lot, or of a material what expires first.
pub async fn issue(
    app: &App,
    actor: &Actor,
    project: &ProjectEntry,
    order: &IssueOrder,
) -> Result<Recorded, AppError> {
    project.require(Permission::MoveStock)?;
    let mut attempts = Attempts::default();
    loop {
        match attempt(app, actor, project, order).await {
            Err(AppError::Contended) if attempts.again().await => {}
            done => return done,
        }
    }
}

async fn attempt(
    app: &App,
    actor: &Actor,
    project: &ProjectEntry,
    order: &IssueOrder,
) -> Result<Recorded, AppError> {
    let now = app.clock.now();
    let mut tx = app.begin_in(project.id).await?;
    let setup = setup::snapshot(app, &mut tx, project.id).await?;
    if let Some(found) = earlier(&mut tx, project.id, order.id.0, &order.asked).await? {
        return recorded(&mut tx, project.id, (found, true), &setup, now).await;
    }
    let material = checked(order, &setup, now)?;
    let place = (order.from.as_str(), material.code.as_str());
    let candidates = lots_at(&mut tx, project.id, &setup, place).await?;
    let pairs = candidates
        .keys()
        .flat_map(|lot| [(order.from.clone(), lot.clone()), (order.to.clone(), lot.clone())]);
    let held = lock_balances(&mut tx, pairs).await?;
    // Whoever held the locks may have been the very same request.
    if let Some(found) = earlier(&mut tx, project.id, order.id.0, &order.asked).await? {
        return recorded(&mut tx, project.id, (found, true), &setup, now).await;
    }
    let lots: Vec<_> = candidates
        .iter()
        .map(|(lot, received_at)| {
            let left = held.get(&(order.from.clone(), lot.clone())).copied().unwrap_or_default();
            on_hand(&setup, lot, left, *received_at, (order.occurred_at, now))
        })
        .collect();
    let crew = setup.locations.get(&order.to).and_then(|it| it.crew.as_ref());
    let spread = crew.and_then(|code| setup.crews.get(code)).map(|crew| crew.spread.as_str());
    let ask = IssueAsk {
        pick: &order.lot.clone().map_or(Pick::Material, Pick::Lot),
        quantity: order.quantity,
        day: setup.day(order.occurred_at),
        has_reason: order.reason.is_some(),
        material: &material.code,
        unit: material.unit().symbol(),
        from: &order.from,
        useless_to: spread.filter(|spread| !in_a_system_of(&setup, spread, &material.code)),
    };
    let issue = decide_issue(&ask, &lots).map_err(refused)?;
    let movements: Vec<NewMovement> = issue
        .parts
        .iter()
        .enumerate()
        .map(|(index, part)| {
            let id = if index == 0 { order.id } else { MovementId(new_id(now)) };
            let (what, places) = ((part.lot.as_str(), part.quantity), (&*order.from, &*order.to));
            NewMovement {
                reason: order.reason.clone(),
                chosen_against_order: issue.against_order,
                ..NewMovement::plain((id, MovementKind::Issue), what, places, order.occurred_at)
            }
        })
        .collect();
    let stamp = Stamp { project: project.id, by: Some(actor.user), now };
    let asked = Some((order.id.0, &order.asked));
    let stored = post_asked(&mut tx, stamp, asked, &movements).await?;
    let answer = recorded(&mut tx, project.id, (stored, false), &setup, now).await?;
    app.commit(tx).await?;
    Ok(answer)
}

/// The material, if everything that the order names is there.
fn checked<'a>(
    order: &IssueOrder,
    setup: &'a ProjectSetup,
    now: DateTime<Utc>,
) -> Result<&'a Material, AppError> {
    let mut faults = misplaced(MovementKind::Issue, &order.from, &order.to, setup);
    faults.extend(from_the_future(order.occurred_at, now));
    let lot = order.lot.as_ref().map(|code| (code, setup.lots.get(code)));
    let of_lot = match lot {
        Some((code, None)) => {
            let detail = format!("there is no lot `{code}`");
            faults.push(FieldError::new("/lot", "UNKNOWN_REFERENCE", detail));
            None
        }
        Some((_, Some(lot))) => Some(&lot.material),
        None => None,
    };
    if let (Some(said), Some(is)) = (&order.material, of_lot)
        && said != is
    {
        let detail = format!("the lot is of the material `{is}`");
        faults.push(FieldError::new("/material", "MATERIAL_DIFFERS", detail));
    }
    let code = order.material.as_ref().or(of_lot);
    let material = code.and_then(|code| setup.materials.get(code));
    if let (Some(code), None) = (code, material) {
        let detail = format!("there is no material `{code}`");
        faults.push(FieldError::new("/material", "UNKNOWN_REFERENCE", detail));
    }
    match material {
        Some(material) if faults.is_empty() => Ok(material),
        _ => Err(AppError::Invalid(faults)),
    }
}

fn refused(refusal: NotIssued) -> AppError {
    match refusal {
        NotIssued::Refused(reasons) => {
            let details: Vec<&str> = reasons.iter().map(|it| it.detail.as_str()).collect();
            let detail = details.join("; ");
            AppError::Refused { code: "ISSUE_REFUSED", detail, blocking: json!(reasons) }
        }
        NotIssued::ReasonRequired { proposed, last_day } => {
            let day = last_day.map(|day| format!(", its last day is {day}")).unwrap_or_default();
            let detail =
                format!("lot {proposed} should go first{day}: take it, or say in `reason` why not");
            let fault = FieldError::new("/reason", "REASON_REQUIRED", detail.clone());
            AppError::Unprocessable { code: "REASON_REQUIRED", detail, faults: vec![fault] }
        }
    }
}
