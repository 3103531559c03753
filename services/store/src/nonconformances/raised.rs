//! Nonconformances that people raise, and what is said on them.

use chrono::{DateTime, Utc};
use domain::{
    ids::{EventId, JointId, NonconformanceId, ProjectId, UserId},
    joints::{Severity, nonconformance::Scope},
};
use sqlx::PgConnection;
use uuid::Uuid;

use crate::{StoreError, error::database};

/// The columns that say what a nonconformance is about.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct ScopeColumns {
    /// Lot.
    pub lot: Option<String>,
    /// Crew.
    pub crew: Option<String>,
    /// From when, for a crew.
    pub since: Option<DateTime<Utc>>,
    /// Section of a stretch.
    pub section: Option<String>,
    /// From, mm.
    pub from_mm: Option<i64>,
    /// To, mm.
    pub to_mm: Option<i64>,
}

impl ScopeColumns {
    /// What they say.
    pub fn scope(self) -> Scope {
        match self {
            Self { lot: Some(lot), .. } => Scope::Lot(lot),
            Self { crew: Some(code), since: Some(since), .. } => Scope::Crew { code, since },
            Self { section, from_mm: Some(from_mm), to_mm: Some(to_mm), .. } => {
                Scope::Stretch { section, from_mm, to_mm }
            }
            _ => Scope::Joint,
        }
    }

    /// The columns that say `scope`.
    pub fn of(scope: &Scope) -> Self {
        let none = Self::default();
        match scope.clone() {
            Scope::Joint => none,
            Scope::Lot(lot) => Self { lot: Some(lot), ..none },
            Scope::Crew { code, since } => Self { crew: Some(code), since: Some(since), ..none },
            Scope::Stretch { section, from_mm, to_mm } => {
                Self { section, from_mm: Some(from_mm), to_mm: Some(to_mm), ..none }
            }
        }
    }
}

/// A nonconformance to raise.
#[derive(Debug)]
pub struct NewNonconformance<'a> {
    /// Id, made by the client.
    pub id: NonconformanceId,
    /// The joint; none where it is of a lot, a crew or a stretch.
    pub joint: Option<JointId>,
    /// What it is about.
    pub scope: &'a Scope,
    /// Stable code.
    pub code: &'a str,
    /// How bad.
    pub severity: Severity,
    /// What it is.
    pub nature: &'a str,
    /// The facts pointed at.
    pub evidence: &'a [EventId],
    /// Who raises it.
    pub by: UserId,
    /// When.
    pub at: DateTime<Utc>,
}

/// Waits for whoever numbers a nonconformance in this project: numbers have no holes and no doubles.
pub(super) async fn take_turn(
    conn: &mut PgConnection,
    project: ProjectId,
) -> Result<(), StoreError> {
    sqlx::query!(
        r#"SELECT pg_advisory_xact_lock(hashtextextended('nonconformances ' || $1::text, 0))
           AS "locked!: ()""#,
        project.0.to_string(),
    )
    .fetch_one(conn)
    .await
    .map_err(database("wait to number a nonconformance"))?;
    Ok(())
}

/// Stores it; false where there is one of that id already.
pub async fn raise(
    conn: &mut PgConnection,
    project: ProjectId,
    new: &NewNonconformance<'_>,
) -> Result<bool, StoreError> {
    take_turn(conn, project).await?;
    let columns = ScopeColumns::of(new.scope);
    let evidence: Vec<Uuid> = new.evidence.iter().map(|it| it.0).collect();
    let done = sqlx::query!(
        "WITH opened AS (
             INSERT INTO nonconformances (project_id, id, number, joint_id, code, severity, nature,
                                          status, opened_at, opened_by, lot, crew, since, section,
                                          from_mm, to_mm, evidence)
             SELECT $1, $2, 1 + coalesce(max(number), 0), $3, $4, $5, $6, 'open', $7, $8, $9, $10,
                    $11, $12, $13, $14, $15
               FROM nonconformances WHERE project_id = $1
                 ON CONFLICT (project_id, id) DO NOTHING
             RETURNING id, number, joint_id, code, severity, lot, crew
         )
         INSERT INTO feed_pending (project_id, topic, subject, body, at)
         SELECT $1, 'nonconformance.opened', o.number::text,
                jsonb_strip_nulls(jsonb_build_object(
                    'nonconformance', o.id, 'number', o.number, 'joint', j.joint_number,
                    'lot', o.lot, 'crew', o.crew, 'code', o.code, 'severity', o.severity)),
                $7
           FROM opened o
           LEFT JOIN joints j ON j.project_id = $1 AND j.id = o.joint_id",
        project.0,
        new.id.0,
        new.joint.map(|it| it.0),
        new.code,
        new.severity.name(),
        new.nature,
        new.at,
        new.by.0,
        columns.lot,
        columns.crew,
        columns.since,
        columns.section,
        columns.from_mm,
        columns.to_mm,
        &evidence,
    )
    .execute(conn)
    .await
    .map_err(database("raise a nonconformance"))?;
    Ok(done.rows_affected() == 1)
}

/// Those of `facts` that are not facts of the project, or of `joint` where one is given.
pub async fn unknown_facts(
    conn: &mut PgConnection,
    project: ProjectId,
    joint: Option<JointId>,
    facts: &[EventId],
) -> Result<Vec<EventId>, StoreError> {
    let facts: Vec<Uuid> = facts.iter().map(|it| it.0).collect();
    let unknown = sqlx::query_scalar!(
        r#"SELECT named.id AS "id!" FROM unnest($2::uuid[]) AS named (id)
            WHERE NOT EXISTS (SELECT FROM facts f
                               WHERE f.project_id = $1 AND f.id = named.id
                                 AND ($3::uuid IS NULL OR f.joint_id = $3))"#,
        project.0,
        &facts,
        joint.map(|it| it.0),
    )
    .fetch_all(conn)
    .await
    .map_err(database("look for the evidence of a nonconformance"))?;
    Ok(unknown.into_iter().map(EventId).collect())
}

/// Something said on a nonconformance.
#[derive(Debug, Clone)]
pub struct Entry {
    /// Id.
    pub id: Uuid,
    /// `containment`, `root_cause`, `action` or `verification`.
    pub kind: String,
    /// What.
    pub text: String,
    /// Who.
    pub written_by: UserId,
    /// Printed name.
    pub printed_name: String,
    /// When.
    pub written_at: DateTime<Utc>,
}

/// Adds an entry.
pub async fn add_entry(
    conn: &mut PgConnection,
    project: ProjectId,
    nonconformance: NonconformanceId,
    entry: &Entry,
) -> Result<(), StoreError> {
    sqlx::query!(
        "INSERT INTO nonconformance_entries (project_id, id, nonconformance_id, kind, text,
                                             written_by, printed_name, written_at)
         VALUES ($1, $2, $3, $4, $5, $6, $7, $8)",
        project.0,
        entry.id,
        nonconformance.0,
        entry.kind,
        entry.text,
        entry.written_by.0,
        entry.printed_name,
        entry.written_at,
    )
    .execute(conn)
    .await
    .map_err(database("write on a nonconformance"))?;
    Ok(())
}

/// The entries of a nonconformance, in their order.
pub async fn entries(
    conn: &mut PgConnection,
    project: ProjectId,
    nonconformance: NonconformanceId,
) -> Result<Vec<Entry>, StoreError> {
    sqlx::query_as!(
        Entry,
        "SELECT id, kind, text, written_by, printed_name, written_at FROM nonconformance_entries
          WHERE project_id = $1 AND nonconformance_id = $2 ORDER BY written_at, id",
        project.0,
        nonconformance.0,
    )
    .fetch_all(conn)
    .await
    .map_err(database("read the entries of a nonconformance"))
}

/// The joints that a nonconformance of a lot, a crew or a stretch may be about, in the order of the
/// line after a place; which of them it is about, their facts say.
pub async fn joints_under(
    conn: &mut PgConnection,
    project: ProjectId,
    nonconformance: NonconformanceId,
    after: Option<(i64, JointId)>,
    limit: i64,
) -> Result<Vec<(i64, JointId)>, StoreError> {
    let (after_mm, after_id) = after.map_or((i64::MIN, Uuid::nil()), |(mm, id)| (mm, id.0));
    let rows = sqlx::query!(
        r#"SELECT j.kp_mm AS "kp_mm!", j.id
             FROM nonconformances n
             JOIN joints j ON j.project_id = n.project_id
            WHERE n.project_id = $1 AND n.id = $2 AND (j.kp_mm, j.id) > ($3, $4)
              AND CASE
                  WHEN n.lot IS NOT NULL THEN EXISTS (
                      SELECT FROM lot_uses u
                       WHERE u.project_id = j.project_id AND u.joint_id = j.id AND u.lot = n.lot)
                  WHEN n.crew IS NOT NULL THEN EXISTS (
                      SELECT FROM jsonb_array_elements(j.state #> '{coat,works}') AS work
                       WHERE work ->> 'crew' = n.crew)
                  ELSE j.kp_mm BETWEEN n.from_mm AND n.to_mm
                       AND (n.section IS NULL OR j.section = n.section)
              END
            ORDER BY j.kp_mm, j.id LIMIT $5"#,
        project.0,
        nonconformance.0,
        after_mm,
        after_id,
        limit,
    )
    .fetch_all(conn)
    .await
    .map_err(database("find the joints of a nonconformance"))?;
    Ok(rows.into_iter().map(|row| (row.kp_mm, JointId(row.id))).collect())
}
