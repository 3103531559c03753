//! Where a lot went: every joint that a fact names it on.

use std::collections::{BTreeMap, HashSet};

use chrono::{DateTime, NaiveDate, Utc};
use domain::{
    ids::{EventId, JointId, ProjectId},
    joints::Flag,
    setup::{Lot, Quarantine},
    stock::number,
};
use serde::Serialize;
use store::{
    PgConnection,
    joints::{JointLine, StoredJoint},
    lot_uses::{LotUse, Tally, UsedOn},
};
use units::Kp;
use utoipa::ToSchema;

use crate::{App, AppError, projects::ProjectEntry, setup::snapshot_at};

/// Joints on which a lot was used, counted by what can still be done about them.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize, ToSchema)]
pub struct LotPlaces {
    /// All of them: the sum of the others.
    pub joints: i64,
    /// The lot is gone from them: cleaned off since, or the weld cut out.
    pub removed: i64,
    /// It is on them, and they are under the soil.
    pub buried: i64,
    /// It is on them, and they are released for backfill but not under the soil.
    pub released: i64,
    /// It is on them, and they are not released.
    pub not_released: i64,
}

impl From<Tally> for LotPlaces {
    fn from(tally: Tally) -> Self {
        let Tally { joints, removed, buried, released, not_released } = tally;
        Self { joints, removed, buried, released, not_released }
    }
}

/// One fact that used the lot.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct TracedUse {
    /// The fact.
    pub event: EventId,
    /// Its kind.
    pub kind: String,
    /// Which wrap, where it is one.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub layer: Option<String>,
    /// When it happened in the field.
    pub occurred_at: DateTime<Utc>,
    /// The lot was in quarantine then, as far as is known now.
    pub in_quarantine: bool,
    /// Still on the joint: not cleaned off since.
    pub still_on: bool,
}

/// One joint that the lot is on, or was on.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct TracedJoint {
    /// Id.
    pub id: JointId,
    /// Number.
    pub joint_number: String,
    /// Kilometre point, km.
    pub kp_km: f64,
    /// Kilometre point as people write it.
    pub kp: String,
    /// Section.
    pub section: String,
    /// Stage.
    pub stage: String,
    /// Flags beside the stage.
    pub flags: Vec<String>,
    /// Under the soil now.
    pub buried: bool,
    /// The lot is still on it: not cleaned off since, and the weld not cut out.
    pub still_on: bool,
    /// The facts that used it and count, in the order of the field.
    pub uses: Vec<TracedUse>,
}

/// What a place holds of the lot.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct LotStock {
    /// Code of the location.
    pub location: String,
    /// How much, base units.
    pub quantity: f64,
}

/// A lot and where it went, as far as one page of its joints.
#[derive(Debug, Clone)]
pub struct LotTrace {
    /// Code.
    pub lot: String,
    /// Code of its material; none where facts name a lot that is not set up.
    pub material: Option<String>,
    /// Last day it may be used as printed on it.
    pub expires_on: Option<NaiveDate>,
    /// The quarantine in force.
    pub quarantine: Option<Quarantine>,
    /// Where the rest of it is.
    pub stock: Vec<LotStock>,
    /// Every joint it was used on.
    pub summary: LotPlaces,
    /// Of these the ones on which it was used while in quarantine.
    pub used_in_quarantine: LotPlaces,
    /// Joints in the order of the line.
    pub joints: Vec<TracedJoint>,
    /// Where the page ends, if joints follow.
    pub next: Option<(i64, JointId)>,
}

/// Which part of the joints is shown.
pub type TracePage = UsedOn;

/// Where the lot `code` went.
pub async fn trace(
    app: &App,
    project: &ProjectEntry,
    code: &str,
    page: TracePage,
) -> Result<LotTrace, AppError> {
    let mut conn = app.begin_in(project.id).await?;
    let setup = snapshot_at(app, &mut conn, project.id, project.setup_version).await?;
    let lot = setup.lots.get(code);
    traced(&mut conn, project.id, (code, lot), app.clock.now(), page).await
}

/// The same for a caller who holds the lot as it is in this transaction.
pub(super) async fn traced(
    conn: &mut PgConnection,
    project: ProjectId,
    (code, lot): (&str, Option<&Lot>),
    now: DateTime<Utc>,
    mut page: TracePage,
) -> Result<LotTrace, AppError> {
    let limit = page.limit;
    let periods: Vec<_> =
        lot.into_iter().flat_map(|it| &it.quarantines).map(|it| (it.from, it.until)).collect();
    let (all, within) = store::lot_uses::tally(conn, project, code, &periods).await?;
    if lot.is_none() && all.joints == 0 {
        return Err(AppError::not_found(format!("lot {code}")));
    }
    page.limit += 1;
    let mut lines = store::lot_uses::joints(conn, project, code, &page).await?;
    let shown = usize::try_from(limit).unwrap_or(usize::MAX);
    let more = lines.len() > shown;
    lines.truncate(shown);
    let held = store::stock_balances::list(conn, project, None, Some(&[code.to_owned()])).await?;
    let stock = held
        .into_iter()
        .map(|it| LotStock { location: it.location, quantity: number(it.quantity) })
        .collect();
    let next = lines.last().filter(|_| more).map(|last| (last.kp_mm, last.id));
    Ok(LotTrace {
        lot: code.to_owned(),
        material: lot.map(|it| it.material.clone()),
        expires_on: lot.and_then(|it| it.expires_on),
        quarantine: lot.and_then(|it| it.quarantined_at(now)).cloned(),
        stock,
        summary: all.into(),
        used_in_quarantine: within.into(),
        joints: joints(conn, project, (code, lot), lines).await?,
        next,
    })
}

async fn joints(
    conn: &mut PgConnection,
    project: ProjectId,
    (code, lot): (&str, Option<&Lot>),
    lines: Vec<JointLine>,
) -> Result<Vec<TracedJoint>, AppError> {
    let ids: Vec<JointId> = lines.iter().map(|it| it.id).collect();
    let mut uses: BTreeMap<JointId, Vec<LotUse>> = BTreeMap::new();
    for used in store::lot_uses::of_joints(conn, project, &ids, Some(code)).await? {
        uses.entry(used.joint).or_default().push(used);
    }
    let stored = store::joints::find_all(conn, project, &ids).await?;
    let works: HashSet<EventId> = stored.iter().flat_map(works).collect();
    let joint = |line: JointLine| {
        let of_joint = uses.remove(&line.id).unwrap_or_default().into_iter();
        let uses: Vec<TracedUse> = of_joint
            .map(|used| TracedUse {
                event: used.fact,
                still_on: works.contains(&used.fact),
                in_quarantine: lot.is_some_and(|it| it.quarantined_at(used.occurred_at).is_some()),
                kind: used.kind,
                layer: used.layer,
                occurred_at: used.occurred_at,
            })
            .collect();
        let kp = Kp::from_millimetres(line.kp_mm).ok();
        let cut_out = line.flags.iter().any(|flag| flag == Flag::CutOut.name());
        TracedJoint {
            id: line.id,
            joint_number: line.joint_number,
            kp_km: kp.map_or(0.0, Kp::as_kilometres),
            kp: kp.map(|it| it.to_string()).unwrap_or_default(),
            section: line.section,
            buried: line.stage == domain::joints::Stage::Backfilled.name(),
            stage: line.stage,
            flags: line.flags,
            still_on: !cut_out && uses.iter().any(|it| it.still_on),
            uses,
        }
    };
    Ok(lines.into_iter().map(joint).collect())
}

/// The facts whose work is on the joint since its steel was last bare.
pub(super) fn works(joint: &StoredJoint) -> impl Iterator<Item = EventId> {
    joint.state.coat.works.iter().map(|work| work.mark.event)
}
