//! Everything that is known of a project's stock today.

use std::{
    collections::{BTreeMap, BTreeSet},
    sync::Arc,
};

use chrono::{DateTime, NaiveDate, TimeDelta, Utc};
use domain::{
    ambient::workable::SpreadSystemDays,
    ids::ProjectId,
    joints::{JointKind, state::LayerRole},
    outlook::{Basis, DayMade, Expected, Held, JointsWaiting, Situation, Terms, WorkableShare},
    setup::{Material, ProjectSetup},
    stock::number,
    takeoff::{JointGroup, known_system},
};
use store::{
    PgConnection, StoreError,
    outlook::{HeldLot, RecordedUse, WaitingJoints},
};

use crate::{AppError, ambient};

/// So far back the site's own waste is learnt from.
const WASTE_FROM: TimeDelta = TimeDelta::days(60);

/// Reads the situation of `project` at `now`.
///
/// Without a `basis` it is the plan's, where one is in force today or later, and else what was
/// really made.
pub(crate) async fn situation(
    conn: &mut PgConnection,
    project: ProjectId,
    setup: &Arc<ProjectSetup>,
    now: DateTime<Utc>,
    (days, basis): (u32, Option<Basis>),
) -> Result<Situation, AppError> {
    let (today, zone) = (setup.day(now), setup.time_zone.name());
    let waiting = store::outlook::waiting_joints(conn, project).await?;
    let made = store::outlook::made(conn, project, zone).await?;
    let held = store::outlook::held(conn, project).await?;
    let expected = store::outlook::expected(conn, project).await?;
    let used = store::outlook::recorded_use(conn, project, zone, today - WASTE_FROM).await?;
    let workable = workable(conn, project, setup, now, days).await?;
    let planned = setup.production_plan.lines.iter().any(|line| line.to >= today);
    let usual = if planned { Basis::Plan } else { Basis::Actual };
    let joints = waiting.into_iter().map(|it| joints(project, it)).collect::<Result<_, _>>()?;
    Ok(Situation {
        today,
        days,
        basis: basis.unwrap_or(usual),
        joints,
        held: held.into_iter().filter_map(|it| on_hand(it, setup, now)).collect(),
        expected: expected
            .into_iter()
            .map(|it| Expected {
                id: it.id,
                material: it.material,
                quantity: number(it.quantity),
                on: it.on,
            })
            .collect(),
        made: made
            .into_iter()
            .filter(|it| it.on <= today)
            .map(|it| DayMade {
                spread: it.spread.unwrap_or_default(),
                on: it.on,
                joints: f64::from(u32::try_from(it.joints).unwrap_or(u32::MAX)),
            })
            .collect(),
        waste: waste(project, &used, setup)?,
        terms: setup.materials.values().map(|it| (it.code.clone(), terms(it))).collect(),
        lost: Vec::new(),
        workable,
        setup: Arc::clone(setup),
    })
}

/// What the weather leaves of the days that outlooks tell from morning to evening.
async fn workable(
    conn: &mut PgConnection,
    project: ProjectId,
    setup: &Arc<ProjectSetup>,
    now: DateTime<Utc>,
    days: u32,
) -> Result<Vec<WorkableShare>, AppError> {
    let told = ambient::workable(conn, project, setup, now, days.min(ambient::MOST_DAYS)).await?;
    Ok(told.iter().flat_map(SpreadSystemDays::shares).collect())
}

fn joints(project: ProjectId, row: WaitingJoints) -> Result<JointsWaiting, StoreError> {
    let group = group(project, row.section, &row.kind, row.coating_system)?;
    let layers = row.layers.into_iter().map(|name| {
        serde_json::from_value::<LayerRole>(name.into())
            .map_err(|error| StoreError::inconsistent("joints", project, error))
    });
    let on = layers.collect::<Result<_, _>>()?;
    Ok(JointsWaiting { group, on, joints: row.joints.unsigned_abs() })
}

fn group(
    project: ProjectId,
    section: String,
    kind: &str,
    coating_system: Option<String>,
) -> Result<JointGroup, StoreError> {
    let kind = JointKind::parse(kind).ok_or_else(|| {
        StoreError::inconsistent("joints", project, format!("unknown kind {kind}"))
    })?;
    Ok(JointGroup { section, kind, coating_system })
}

/// A lot that the set-up does not know cannot be on hand: it was checked when it came.
fn on_hand(row: HeldLot, setup: &ProjectSetup, now: DateTime<Utc>) -> Option<Held> {
    let lot = setup.lots.get(&row.lot)?;
    Some(Held {
        material: lot.material.clone(),
        quantity: number(row.quantity),
        last_day: lot.last_day_at(now),
        quarantined: lot.quarantined_at(now).is_some(),
        lot: row.lot,
    })
}

fn terms(material: &Material) -> Terms {
    Terms {
        name: material.name.clone(),
        unit: material.unit().symbol().to_owned(),
        lead_time_days: whole_days(material.lead_time_days),
        safety_days: whole_days(material.safety_days),
        pack_quantity: material.pack_quantity,
        unit_cost: material.unit_cost,
    }
}

/// A part of a day counts as a day: whoever orders by the day must not be late.
#[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "0 to 1000, whole")]
fn whole_days(days: Option<f64>) -> u32 {
    days.map_or(0, |days| days.ceil().clamp(0.0, 1000.0) as u32)
}

/// Used over taken off, day by day, material by material; only of uses recorded with a quantity.
fn waste(
    project: ProjectId,
    used: &[RecordedUse],
    setup: &ProjectSetup,
) -> Result<BTreeMap<String, Vec<f64>>, StoreError> {
    let mut days: BTreeMap<(&str, NaiveDate), (f64, f64)> = BTreeMap::new();
    let mut materials = BTreeSet::new();
    for row in used {
        let group = group(project, row.section.clone(), &row.kind, row.coating_system.clone())?;
        let Some(each) = layer_quantity(setup, &group, &row.material) else { continue };
        materials.insert(row.material.as_str());
        let day = days.entry((&row.material, row.on)).or_default();
        day.0 += number(row.used);
        day.1 += each * f64::from(u32::try_from(row.facts).unwrap_or(u32::MAX));
    }
    let of = |material: &str| {
        let days = days.iter().filter(|((of, _), (_, taken))| *of == material && *taken > 0.0);
        days.map(|(_, (used, taken))| used / taken).collect()
    };
    Ok(materials.into_iter().map(|code| (code.to_owned(), of(code))).collect())
}

/// What one layer of `material` takes on a joint of `group`: the mean, where several are of it.
fn layer_quantity(setup: &ProjectSetup, group: &JointGroup, material: &str) -> Option<f64> {
    let needs = known_system(setup, group).0?.needs().ok()?;
    let of = needs.iter().filter(|need| need.material == material);
    let each: Vec<f64> =
        of.filter_map(|need| need.tape_m.or(need.primer_l).or(need.mastic_kg)).collect();
    let count = u32::try_from(each.len()).ok().filter(|count| *count > 0)?;
    Some(each.iter().sum::<f64>() / f64::from(count))
}
