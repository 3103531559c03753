//! What the outlook of the stock is made from.

use chrono::NaiveDate;
use domain::{
    ids::ProjectId,
    joints::{Flag, Stage},
};
use rust_decimal::Decimal;
use sqlx::PgConnection;
use uuid::Uuid;

use crate::{StoreError, error::database};

/// Joints that are not wrapped yet, counted by what they take and how far they are.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct WaitingJoints {
    /// Section.
    pub section: String,
    /// Kind.
    pub kind: String,
    /// Coating system where it is not the section's own.
    pub coating_system: Option<String>,
    /// Names of the layers that are on.
    pub layers: Vec<String>,
    /// How many.
    pub joints: i64,
}

/// The joints that are not wrapped yet, but those whose weld was cut out.
pub async fn waiting_joints(
    conn: &mut PgConnection,
    project: ProjectId,
) -> Result<Vec<WaitingJoints>, StoreError> {
    sqlx::query_as!(
        WaitingJoints,
        r#"SELECT section, kind, coating_system, layers AS "layers!", count(*) AS "joints!"
             FROM (SELECT section, kind, register ->> 'coating_system' AS coating_system,
                          ARRAY(SELECT DISTINCT layer ->> 'role'
                                  FROM jsonb_array_elements(state -> 'coat' -> 'layers') layer
                                 ORDER BY 1) AS layers
                     FROM joints
                    WHERE project_id = $1 AND stage = ANY ($3) AND NOT $2 = ANY (flags)) waiting
            GROUP BY section, kind, coating_system, layers
            ORDER BY section, kind, coating_system, layers"#,
        project.0,
        Flag::CutOut.name(),
        &[Stage::Welded, Stage::Accepted, Stage::Prepared, Stage::Primed]
            .map(|it| it.name().to_owned())[..],
    )
    .fetch_all(conn)
    .await
    .map_err(database("count the joints that wait for their coating"))
}

/// Joints whose first tape went on, by day on site.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct MadeOnDay {
    /// Spread of the joint, or of its section; none where neither says one.
    pub spread: Option<String>,
    /// Section.
    pub section: String,
    /// Day.
    pub on: NaiveDate,
    /// How many.
    pub joints: i64,
}

/// What was made on each day in the zone of the site. Entries that were withdrawn do not count.
pub async fn made(
    conn: &mut PgConnection,
    project: ProjectId,
    zone: &str,
) -> Result<Vec<MadeOnDay>, StoreError> {
    sqlx::query_as!(
        MadeOnDay,
        r#"SELECT coalesce(j.spread, s.body ->> 'spread') AS spread, j.section,
                  (w.first_at AT TIME ZONE $2)::date AS "on!", count(*) AS "joints!"
             FROM (SELECT f.joint_id, min(f.occurred_at) AS first_at
                     FROM facts f
                    WHERE f.project_id = $1 AND f.kind = 'wrapped'
                      AND NOT EXISTS (SELECT FROM facts later
                                       WHERE later.project_id = $1 AND later.supersedes = f.id
                                         AND later.joint_id = f.joint_id)
                    GROUP BY f.joint_id) w
             JOIN joints j ON j.project_id = $1 AND j.id = w.joint_id
             LEFT JOIN setup_items s
                    ON s.project_id = $1 AND s.kind = 'section' AND s.code = j.section
            GROUP BY 1, 2, 3
            ORDER BY 3, 1, 2"#,
        project.0,
        zone,
    )
    .fetch_all(conn)
    .await
    .map_err(database("count what was made"))
}

/// A quantity of a lot at all physical places together.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct HeldLot {
    /// Lot.
    pub lot: String,
    /// How much.
    pub quantity: Decimal,
}

/// What is at the physical places, lot by lot.
pub async fn held(conn: &mut PgConnection, project: ProjectId) -> Result<Vec<HeldLot>, StoreError> {
    sqlx::query_as!(
        HeldLot,
        r#"SELECT lot, sum(quantity) AS "quantity!" FROM stock_balances
            WHERE project_id = $1 AND physical AND quantity > 0
            GROUP BY lot ORDER BY lot"#,
        project.0,
    )
    .fetch_all(conn)
    .await
    .map_err(database("add up the stock"))
}

/// What is still to come of a delivery.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ExpectedDelivery {
    /// Id.
    pub id: Uuid,
    /// Material.
    pub material: String,
    /// What is still to come of it.
    pub quantity: Decimal,
    /// When.
    pub on: NaiveDate,
}

/// What is expected, soonest first.
pub async fn expected(
    conn: &mut PgConnection,
    project: ProjectId,
) -> Result<Vec<ExpectedDelivery>, StoreError> {
    sqlx::query_as!(
        ExpectedDelivery,
        r#"SELECT id, material, quantity - received_quantity AS "quantity!",
                  expected_on AS "on"
             FROM deliveries
            WHERE project_id = $1 AND status = 'expected' AND quantity > received_quantity
            ORDER BY expected_on, id"#,
        project.0,
    )
    .fetch_all(conn)
    .await
    .map_err(database("list what is expected"))
}

/// Uses that somebody recorded with their quantity, of one material on joints that take the same,
/// on one day.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct RecordedUse {
    /// Day on site.
    pub on: NaiveDate,
    /// Material of the lots.
    pub material: String,
    /// Section.
    pub section: String,
    /// Kind of the joints.
    pub kind: String,
    /// Coating system where it is not the section's own.
    pub coating_system: Option<String>,
    /// How much was used.
    pub used: Decimal,
    /// In how many facts.
    pub facts: i64,
}

/// The uses since `since` that were recorded with their quantity.
pub async fn recorded_use(
    conn: &mut PgConnection,
    project: ProjectId,
    zone: &str,
    since: NaiveDate,
) -> Result<Vec<RecordedUse>, StoreError> {
    sqlx::query_as!(
        RecordedUse,
        r#"SELECT (f.occurred_at AT TIME ZONE $2)::date AS "on!", l.body ->> 'material' AS "material!",
                  j.section, j.kind, j.register ->> 'coating_system' AS coating_system,
                  sum(u.quantity) AS "used!", count(DISTINCT f.id) AS "facts!"
             FROM lot_uses u
             JOIN setup_items l ON l.project_id = $1 AND l.kind = 'lot' AND l.code = u.lot
             JOIN facts f ON f.project_id = $1 AND f.id = u.fact_id
             JOIN joints j ON j.project_id = $1 AND j.id = u.joint_id
            WHERE u.project_id = $1 AND u.quantity IS NOT NULL
              AND NOT EXISTS (SELECT FROM lot_uses silent
                               WHERE silent.project_id = $1 AND silent.fact_id = u.fact_id
                                 AND silent.quantity IS NULL)
              AND f.kind IN ('primed', 'profiled', 'wrapped')
              AND f.occurred_at >= ($3::date::timestamp AT TIME ZONE $2)
              AND NOT EXISTS (SELECT FROM facts later
                               WHERE later.project_id = $1 AND later.supersedes = f.id
                                 AND later.joint_id = f.joint_id)
            GROUP BY 1, 2, 3, 4, 5
            ORDER BY 1, 2, 3, 4, 5"#,
        project.0,
        zone,
        since,
    )
    .fetch_all(conn)
    .await
    .map_err(database("add up what was used"))
}
