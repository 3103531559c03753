//! Who did what, when and from where, merged from everything that keeps it.

use chrono::{DateTime, Utc};
use domain::ids::{JointId, ProjectId, UserId};
use serde_json::Value;
use sqlx::PgConnection;
use uuid::Uuid;

use crate::{StoreError, error::database};

/// Something that somebody did.
#[derive(Debug, Clone, PartialEq)]
pub struct Deed {
    /// When the server wrote it down.
    pub at: DateTime<Utc>,
    /// Its place among those of the same moment.
    pub key: String,
    /// Who; none where the server did it by itself.
    pub user: Option<Uuid>,
    /// Printed name.
    pub name: Option<String>,
    /// What was done.
    pub what: String,
    /// To what.
    pub subject: String,
    /// Number of the joint, where it is about one.
    pub joint: Option<String>,
    /// More of it.
    pub detail: Value,
    /// From which address, where it is kept.
    pub address: Option<String>,
    /// In which request, where it is kept.
    pub request_id: Option<String>,
}

/// Which deeds.
#[derive(Debug, Clone)]
pub struct DeedFilter {
    /// About this joint.
    pub joint: Option<JointId>,
    /// Of this person.
    pub user: Option<UserId>,
    /// From then on.
    pub from: DateTime<Utc>,
    /// Before then.
    pub to: DateTime<Utc>,
    /// Those before this one.
    pub before: Option<(DateTime<Utc>, String)>,
    /// At most so many.
    pub limit: i64,
}

/// Deeds, newest first.
///
/// Sign-ins are those of whoever is a member now; sessions that are over are forgotten after a
/// while, and their sign-ins with them.
#[expect(clippy::too_many_lines, reason = "one statement, one part for each source")]
pub async fn list(
    conn: &mut PgConnection,
    project: ProjectId,
    filter: &DeedFilter,
) -> Result<Vec<Deed>, StoreError> {
    let (until, key) = filter.before.clone().unwrap_or((filter.to, String::new()));
    // Every source is read from its newest end and no further than the page; the keys of one moment
    // are sorted among themselves. Planned for the very question, what was not asked costs nothing.
    sqlx::query!("SELECT set_config('plan_cache_mode', 'force_custom_plan', true) AS set")
        .fetch_one(&mut *conn)
        .await
        .map_err(database("plan anew"))?;
    sqlx::query_as!(
        Deed,
        r#"
        WITH deeds AS (
            (SELECT f.recorded_at AS at, 'fact:' || f.id AS key, f.recorded_by AS by,
                    'fact_recorded' AS what, f.kind AS subject, f.joint_id,
                    jsonb_strip_nulls(jsonb_build_object(
                        'fact', f.id, 'occurred_at', f.occurred_at, 'supersedes', f.supersedes,
                        'late', f.late)) AS detail,
                    NULL::text AS address, NULL::text AS request_id
               FROM facts f
              WHERE f.project_id = $1 AND f.recorded_at >= $4 AND f.recorded_at <= $5
                AND (f.recorded_at, ('fact:' || f.id) COLLATE "C") < ($5, $6 COLLATE "C")
                AND ($2::uuid IS NULL OR f.joint_id = $2)
                AND ($3::uuid IS NULL OR f.recorded_by = $3)
              ORDER BY f.recorded_at DESC, ('fact:' || f.id) COLLATE "C" DESC LIMIT $7)
            UNION ALL
            (SELECT h.changed_at, 'setup:' || h.kind || ':' || h.code || ':' || h.version,
                    h.changed_by, 'setup_changed', h.kind || ' ' || h.code, NULL,
                    jsonb_build_object('version', h.version), NULL, NULL
               FROM setup_history h
              WHERE h.project_id = $1 AND h.changed_at >= $4 AND h.changed_at <= $5
                AND (h.changed_at, ('setup:' || h.kind || ':' || h.code || ':' || h.version)
                                   COLLATE "C") < ($5, $6 COLLATE "C")
                AND $2::uuid IS NULL AND ($3::uuid IS NULL OR h.changed_by = $3)
              ORDER BY h.changed_at DESC,
                       ('setup:' || h.kind || ':' || h.code || ':' || h.version) COLLATE "C" DESC
              LIMIT $7)
            UNION ALL
            (SELECT r.released_at, 'release:' || r.id, s.signer_id, 'release_signed', r.id::text,
                    r.joint_id,
                    jsonb_build_object('meaning', s.meaning, 'signature', s.id,
                                       'printed_name', s.printed_name),
                    NULL, NULL
               FROM backfill_releases r
               JOIN signatures s ON s.project_id = r.project_id AND s.id = r.signature_id
              WHERE r.project_id = $1 AND r.released_at >= $4 AND r.released_at <= $5
                AND (r.released_at, ('release:' || r.id) COLLATE "C") < ($5, $6 COLLATE "C")
                AND ($2::uuid IS NULL OR r.joint_id = $2)
                AND ($3::uuid IS NULL OR s.signer_id = $3)
              ORDER BY r.released_at DESC, ('release:' || r.id) COLLATE "C" DESC LIMIT $7)
            UNION ALL
            (SELECT r.contradicted_at, 'contradiction:' || r.id, NULL, 'release_contradicted',
                    r.id::text, r.joint_id, jsonb_build_object('by', r.contradicted_by), NULL, NULL
               FROM backfill_releases r
              WHERE r.project_id = $1 AND r.contradicted_at IS NOT NULL
                AND r.contradicted_at >= $4 AND r.contradicted_at <= $5
                AND (r.contradicted_at, ('contradiction:' || r.id) COLLATE "C")
                    < ($5, $6 COLLATE "C")
                AND ($2::uuid IS NULL OR r.joint_id = $2) AND $3::uuid IS NULL
              ORDER BY r.contradicted_at DESC, ('contradiction:' || r.id) COLLATE "C" DESC LIMIT $7)
            UNION ALL
            (SELECT n.opened_at, 'opened:' || n.id, n.opened_by, 'nonconformance_opened',
                    n.number::text, n.joint_id,
                    jsonb_build_object('code', n.code, 'severity', n.severity), NULL, NULL
               FROM nonconformances n
              WHERE n.project_id = $1 AND n.opened_at >= $4 AND n.opened_at <= $5
                AND (n.opened_at, ('opened:' || n.id) COLLATE "C") < ($5, $6 COLLATE "C")
                AND ($2::uuid IS NULL OR n.joint_id = $2)
                AND ($3::uuid IS NULL OR n.opened_by = $3)
              ORDER BY n.opened_at DESC, ('opened:' || n.id) COLLATE "C" DESC LIMIT $7)
            UNION ALL
            (SELECT n.closed_at, 'closed:' || n.id, n.closed_by, 'nonconformance_closed',
                    n.number::text, n.joint_id,
                    jsonb_strip_nulls(jsonb_build_object(
                        'code', n.code, 'status', n.status, 'note', n.closing_note)),
                    NULL, NULL
               FROM nonconformances n
              WHERE n.project_id = $1 AND n.closed_at IS NOT NULL
                AND n.closed_at >= $4 AND n.closed_at <= $5
                AND (n.closed_at, ('closed:' || n.id) COLLATE "C") < ($5, $6 COLLATE "C")
                AND ($2::uuid IS NULL OR n.joint_id = $2)
                AND ($3::uuid IS NULL OR n.closed_by = $3)
              ORDER BY n.closed_at DESC, ('closed:' || n.id) COLLATE "C" DESC LIMIT $7)
            UNION ALL
            (SELECT h.at, 'acknowledged:' || h.warning_id || ':' || h.n, h.by_user,
                    'warning_acknowledged', w.kind || ' ' || w.subject, NULL,
                    jsonb_build_object('warning', h.warning_id, 'note', h.note), NULL, NULL
               FROM warning_history h
               JOIN warnings w ON w.project_id = h.project_id AND w.id = h.warning_id
              WHERE h.project_id = $1 AND h.action = 'acknowledged' AND h.at >= $4 AND h.at <= $5
                AND (h.at, ('acknowledged:' || h.warning_id || ':' || h.n) COLLATE "C")
                    < ($5, $6 COLLATE "C")
                AND $2::uuid IS NULL AND ($3::uuid IS NULL OR h.by_user = $3)
              ORDER BY h.at DESC, ('acknowledged:' || h.warning_id || ':' || h.n) COLLATE "C" DESC
              LIMIT $7)
            UNION ALL
            (SELECT m.recorded_at, 'movement:' || m.id, m.recorded_by, 'stock_moved', m.lot,
                    m.joint_id,
                    jsonb_strip_nulls(jsonb_build_object(
                        'movement', m.id, 'kind', m.kind, 'quantity', m.quantity::float8,
                        'from', m.from_location, 'to', m.to_location, 'reverses', m.reverses,
                        'reason', m.reason)),
                    NULL, NULL
               FROM stock_movements m
              WHERE m.project_id = $1 AND m.recorded_at >= $4 AND m.recorded_at <= $5
                AND (m.recorded_at, ('movement:' || m.id) COLLATE "C") < ($5, $6 COLLATE "C")
                AND ($2::uuid IS NULL OR m.joint_id = $2)
                AND ($3::uuid IS NULL OR m.recorded_by = $3)
              ORDER BY m.recorded_at DESC, ('movement:' || m.id) COLLATE "C" DESC LIMIT $7)
            UNION ALL
            (SELECT a.at, 'read:' || a.id, a.user_id, 'read', a.what || ' ' || a.subject, NULL,
                    jsonb_build_object('rows', a.rows), a.address, a.request_id
               FROM read_audit a
              WHERE a.project_id = $1 AND a.at >= $4 AND a.at <= $5
                AND (a.at, ('read:' || a.id) COLLATE "C") < ($5, $6 COLLATE "C")
                AND $2::uuid IS NULL AND ($3::uuid IS NULL OR a.user_id = $3)
              ORDER BY a.at DESC, ('read:' || a.id) COLLATE "C" DESC LIMIT $7)
            UNION ALL
            (SELECT s.created_at, 'session:' || s.id, s.user_id, 'signed_in', coalesce(s.device, ''),
                    NULL, '{}', NULL, NULL
               FROM members m
              CROSS JOIN LATERAL (
                    SELECT s.* FROM sessions s
                     WHERE s.user_id = m.user_id AND s.created_at >= $4 AND s.created_at <= $5
                       AND (s.created_at, ('session:' || s.id) COLLATE "C") < ($5, $6 COLLATE "C")
                     ORDER BY s.created_at DESC, ('session:' || s.id) COLLATE "C" DESC LIMIT $7
                    ) AS s
              WHERE m.project_id = $1 AND $2::uuid IS NULL
                AND ($3::uuid IS NULL OR m.user_id = $3)
              ORDER BY s.created_at DESC, ('session:' || s.id) COLLATE "C" DESC LIMIT $7)
        ), page AS (
            SELECT * FROM deeds ORDER BY at DESC, key COLLATE "C" DESC LIMIT $7
        )
        SELECT p.at AS "at!", p.key AS "key!", p.by AS "user?", u.name AS "name?",
               p.what AS "what!", p.subject AS "subject!", j.joint_number AS "joint?",
               p.detail AS "detail!", p.address, p.request_id
          FROM page p
          LEFT JOIN users u ON u.id = p.by
          LEFT JOIN joints j ON j.project_id = $1 AND j.id = p.joint_id
         ORDER BY p.at DESC, p.key COLLATE "C" DESC
        "#,
        project.0,
        filter.joint.map(|it| it.0),
        filter.user.map(|it| it.0),
        filter.from,
        until,
        key,
        filter.limit,
    )
    .fetch_all(conn)
    .await
    .map_err(database("list who did what"))
}
