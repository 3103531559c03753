//! Nonconformances: opened by findings or by contradictions, closed by people.

use chrono::{DateTime, Utc};
use domain::{
    ids::{JointId, NonconformanceId, ProjectId},
    joints::{Finding, Severity, assess::OpenNonconformance, nonconformance::Scope},
};
use sqlx::PgConnection;

use crate::{StoreError, error::database};

mod raised;

pub use raised::{
    Entry, NewNonconformance, ScopeColumns, add_entry, entries, joints_under, raise, unknown_facts,
};

/// The open ones of a joint, and those of lots, crews and stretches.
pub async fn open_of_joint(
    conn: &mut PgConnection,
    project: ProjectId,
    joint: JointId,
) -> Result<Vec<OpenNonconformance>, StoreError> {
    let rows = sqlx::query!(
        "SELECT id, number, severity, nature, lot, crew, since, section, from_mm, to_mm
           FROM nonconformances
          WHERE project_id = $1 AND status = 'open' AND (joint_id = $2 OR joint_id IS NULL)
          ORDER BY number",
        project.0,
        joint.0,
    )
    .fetch_all(conn)
    .await
    .map_err(database("read the nonconformances of a joint"))?;
    let open = rows.into_iter().map(|row| {
        let severity = Severity::parse(&row.severity)
            .ok_or_else(|| StoreError::inconsistent("nonconformances", row.id, &row.severity))?;
        let id = NonconformanceId(row.id);
        let (lot, crew, since) = (row.lot, row.crew, row.since);
        let (section, from_mm, to_mm) = (row.section, row.from_mm, row.to_mm);
        let scope = ScopeColumns { lot, crew, since, section, from_mm, to_mm }.scope();
        Ok(OpenNonconformance { id, number: row.number, severity, nature: row.nature, scope })
    });
    open.collect()
}

/// Opens one for every finding that has none yet; a decided one is not opened again.
pub async fn open_for_findings(
    conn: &mut PgConnection,
    project: ProjectId,
    joint: JointId,
    findings: &[(NonconformanceId, &Finding)],
    at: DateTime<Utc>,
) -> Result<(), StoreError> {
    let known = sqlx::query!(
        "SELECT code, event_id FROM nonconformances
          WHERE project_id = $1 AND joint_id = $2 AND status <> 'lapsed'",
        project.0,
        joint.0,
    )
    .fetch_all(&mut *conn)
    .await
    .map_err(database("read the nonconformances of a joint"))?;
    let is_new = |finding: &Finding| {
        !known.iter().any(|it| it.code == finding.code && it.event_id == Some(finding.event.0))
    };
    // Two reasons of one code on one fact, such as two lots of a wrong material, are one matter.
    let mut seen = std::collections::HashSet::new();
    let new: Vec<_> = findings
        .iter()
        .filter(|(_, finding)| is_new(finding) && seen.insert((&finding.code, finding.event)))
        .collect();
    if new.is_empty() {
        return Ok(());
    }
    raised::take_turn(conn, project).await?;
    for (id, finding) in new {
        sqlx::query!(
            "WITH opened AS (
                 INSERT INTO nonconformances (project_id, id, number, joint_id, code, event_id,
                                              severity, nature, status, opened_at)
                 SELECT $1, $2, 1 + coalesce(max(number), 0), $3, $4, $5, $6, $7, 'open', $8
                   FROM nonconformances WHERE project_id = $1
                 RETURNING id, number, joint_id, code, severity
             )
             INSERT INTO feed_pending (project_id, topic, subject, body, at)
             SELECT $1, 'nonconformance.opened', o.number::text,
                    jsonb_build_object('nonconformance', o.id, 'number', o.number,
                                       'joint', j.joint_number, 'code', o.code,
                                       'severity', o.severity),
                    $8
               FROM opened o
               JOIN joints j ON j.project_id = $1 AND j.id = o.joint_id",
            project.0,
            id.0,
            joint.0,
            finding.code,
            finding.event.0,
            finding.severity.name(),
            finding.detail,
            at,
        )
        .execute(&mut *conn)
        .await
        .map_err(database("open a nonconformance"))?;
    }
    Ok(())
}

/// Lets those lapse that a finding opened, that nobody decided on, and whose finding is gone.
/// Contradictions do not lapse: somebody signed what later facts contradict.
pub async fn lapse(
    conn: &mut PgConnection,
    project: ProjectId,
    joint: JointId,
    still_found: &[Finding],
    at: DateTime<Utc>,
) -> Result<(), StoreError> {
    let codes: Vec<String> = still_found.iter().map(|it| it.code.clone()).collect();
    let events: Vec<uuid::Uuid> = still_found.iter().map(|it| it.event.0).collect();
    sqlx::query!(
        "WITH lapsed AS (
             UPDATE nonconformances n SET status = 'lapsed', closed_at = $5, version = version + 1
              WHERE project_id = $1 AND joint_id = $2 AND status = 'open' AND opened_by IS NULL
                AND code <> 'RELEASE_CONTRADICTED'
                AND NOT EXISTS (SELECT FROM unnest($3::text[], $4::uuid[]) AS f (code, event)
                                 WHERE f.code = n.code AND f.event = n.event_id)
             RETURNING id, number, joint_id, status
         )
         INSERT INTO feed_pending (project_id, topic, subject, body, at)
         SELECT $1, 'nonconformance.closed', l.number::text,
                jsonb_build_object('nonconformance', l.id, 'number', l.number,
                                   'joint', j.joint_number, 'status', l.status),
                $5
           FROM lapsed l
           JOIN joints j ON j.project_id = $1 AND j.id = l.joint_id
          ORDER BY l.number",
        project.0,
        joint.0,
        &codes,
        &events,
        at,
    )
    .execute(conn)
    .await
    .map_err(database("let nonconformances lapse"))?;
    Ok(())
}

/// A nonconformance as it is shown.
#[derive(Debug, Clone)]
pub struct ShownNonconformance {
    /// Id.
    pub id: NonconformanceId,
    /// Number in the project.
    pub number: i64,
    /// The joint's number; none where it is of a lot, a crew or a stretch.
    pub joint_number: Option<String>,
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
    /// The facts pointed at.
    pub evidence: Vec<uuid::Uuid>,
    /// Who raised it.
    pub opened_by: Option<uuid::Uuid>,
    /// Code of the finding.
    pub code: String,
    /// The fact.
    pub event_id: Option<uuid::Uuid>,
    /// Severity.
    pub severity: String,
    /// What it is.
    pub nature: String,
    /// open, closed or lapsed.
    pub status: String,
    /// When.
    pub opened_at: DateTime<Utc>,
    /// When.
    pub closed_at: Option<DateTime<Utc>>,
    /// Who.
    pub closed_by: Option<uuid::Uuid>,
    /// What was done.
    pub closing_note: Option<String>,
    /// The fact that proves it.
    pub closing_event_id: Option<uuid::Uuid>,
    /// What was decided.
    pub disposition: Option<String>,
    /// Version.
    pub version: i64,
}

impl ShownNonconformance {
    /// What it is about.
    pub fn scope(&self) -> Scope {
        let columns = ScopeColumns {
            lot: self.lot.clone(),
            crew: self.crew.clone(),
            since: self.since,
            section: self.section.clone(),
            from_mm: self.from_mm,
            to_mm: self.to_mm,
        };
        columns.scope()
    }
}

/// Nonconformances by number, newest first.
pub async fn list(
    conn: &mut PgConnection,
    project: ProjectId,
    status: Option<&str>,
    before: Option<i64>,
    limit: i64,
) -> Result<Vec<ShownNonconformance>, StoreError> {
    sqlx::query_as!(
        ShownNonconformance,
        r#"SELECT n.id, n.number, j.joint_number AS "joint_number?", n.lot, n.crew, n.since,
                  n.section, n.from_mm, n.to_mm, n.evidence, n.opened_by, n.code,
                  n.event_id, n.severity, n.nature, n.status, n.opened_at,
                  n.closed_at, n.closed_by, n.closing_note,
                  n.closing_event_id, n.disposition, n.version
             FROM nonconformances n
             LEFT JOIN joints j ON j.project_id = n.project_id AND j.id = n.joint_id
            WHERE n.project_id = $1 AND ($2::text IS NULL OR n.status = $2)
              AND ($3::bigint IS NULL OR n.number < $3)
            ORDER BY n.number DESC LIMIT $4"#,
        project.0,
        status,
        before,
        limit,
    )
    .fetch_all(conn)
    .await
    .map_err(database("list nonconformances"))
}

/// Finds a nonconformance.
pub async fn find(
    conn: &mut PgConnection,
    project: ProjectId,
    id: NonconformanceId,
) -> Result<Option<ShownNonconformance>, StoreError> {
    sqlx::query_as!(
        ShownNonconformance,
        r#"SELECT n.id, n.number, j.joint_number AS "joint_number?", n.lot, n.crew, n.since,
                  n.section, n.from_mm, n.to_mm, n.evidence, n.opened_by, n.code, n.event_id, n.severity,
                n.nature, n.status,
                n.opened_at, n.closed_at, n.closed_by, n.closing_note, n.closing_event_id,
                n.disposition, n.version
           FROM nonconformances n
           LEFT JOIN joints j ON j.project_id = n.project_id AND j.id = n.joint_id
          WHERE n.project_id = $1 AND n.id = $2"#,
        project.0,
        id.0,
    )
    .fetch_optional(conn)
    .await
    .map_err(database("find a nonconformance"))
}

/// How a nonconformance was closed.
pub struct Closing<'a> {
    /// Who decided.
    pub by: domain::ids::UserId,
    /// When.
    pub at: DateTime<Utc>,
    /// What was decided and why.
    pub note: &'a str,
    /// Name of the disposition.
    pub disposition: &'a str,
    /// The fact that proves it.
    pub event: Option<domain::ids::EventId>,
}

/// Closes an open nonconformance at `version`; false if that is not the version there.
pub async fn close(
    conn: &mut PgConnection,
    project: ProjectId,
    id: NonconformanceId,
    version: i64,
    closing: &Closing<'_>,
) -> Result<bool, StoreError> {
    let done = sqlx::query!(
        "WITH closed AS (
             UPDATE nonconformances
                SET status = 'closed', closed_at = $4, closed_by = $5, closing_note = $6,
                    closing_event_id = $7, disposition = $8, version = version + 1
              WHERE project_id = $1 AND id = $2 AND version = $3 AND status = 'open'
             RETURNING id, number, joint_id, status
         )
         INSERT INTO feed_pending (project_id, topic, subject, body, at)
         SELECT $1, 'nonconformance.closed', c.number::text,
                jsonb_build_object('nonconformance', c.id, 'number', c.number,
                                   'joint', j.joint_number, 'status', c.status),
                $4
           FROM closed c
           LEFT JOIN joints j ON j.project_id = $1 AND j.id = c.joint_id",
        project.0,
        id.0,
        version,
        closing.at,
        closing.by.0,
        closing.note,
        closing.event.map(|it| it.0),
        closing.disposition,
    )
    .execute(conn)
    .await
    .map_err(database("close a nonconformance"))?;
    Ok(done.rows_affected() == 1)
}
