//! Everything of a project, row by row, for a copy that is kept elsewhere.
//!
//! Rows come as they are stored, as JSON, and are not gathered here: a project may be larger than
//! the memory. Whoever reads does so in one snapshot.

use domain::ids::ProjectId;
use futures_util::stream::{BoxStream, StreamExt};
use sqlx::PgConnection;
use uuid::Uuid;

use crate::{StoreError, error::database};

/// What can be copied as lines of JSON.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Kind {
    /// Backfill releases, each with its signature.
    Releases,
    /// Nonconformances, each with what was said on it and its concessions with their signatures.
    Nonconformances,
    /// Movements of stock in their order.
    StockMovements,
    /// Set-up items as they are.
    Setup,
    /// Every version of every set-up item.
    SetupHistory,
    /// Readings of the weather.
    Readings,
    /// Outlooks on the weather.
    Outlooks,
    /// Members and those who recorded or signed: id, name, role.
    People,
}

/// A row, or why it cannot be read.
pub type Row<T> = Result<T, StoreError>;

macro_rules! lines {
    ($conn:expr, $project:expr, $sql:literal) => {
        sqlx::query_scalar!($sql, $project.0)
            .fetch($conn)
            .map(|it| it.map_err(database("copy a project")))
            .boxed()
    };
}

/// All rows of `kind` as lines of JSON.
pub fn lines(
    conn: &mut PgConnection,
    project: ProjectId,
    kind: Kind,
) -> BoxStream<'_, Row<String>> {
    match kind {
        Kind::Releases => lines!(
            conn,
            project,
            r#"SELECT ((to_jsonb(r) - 'project_id')
                       || jsonb_build_object('signature', to_jsonb(s) - 'project_id'))::text AS "it!"
                 FROM backfill_releases r
                 JOIN signatures s ON s.project_id = r.project_id AND s.id = r.signature_id
                WHERE r.project_id = $1 ORDER BY r.released_at, r.id"#
        ),
        Kind::Nonconformances => lines!(
            conn,
            project,
            r#"SELECT ((to_jsonb(n) - 'project_id') || jsonb_build_object(
                       'entries', coalesce((
                           SELECT jsonb_agg(to_jsonb(e) - 'project_id'
                                            ORDER BY e.written_at, e.id)
                             FROM nonconformance_entries e
                            WHERE e.project_id = n.project_id AND e.nonconformance_id = n.id
                       ), '[]'),
                       'concessions', coalesce((
                           SELECT jsonb_agg((to_jsonb(c) - 'project_id') || jsonb_build_object(
                                      'signature', to_jsonb(s) - 'project_id',
                                      'approval', to_jsonb(a) - 'project_id',
                                      'approval_signature', to_jsonb(t) - 'project_id')
                                      ORDER BY c.proposed_at, c.id)
                             FROM concessions c
                             JOIN signatures s
                               ON s.project_id = c.project_id AND s.id = c.signature_id
                             LEFT JOIN concession_approvals a
                               ON a.project_id = c.project_id AND a.concession_id = c.id
                             LEFT JOIN signatures t
                               ON t.project_id = a.project_id AND t.id = a.signature_id
                            WHERE c.project_id = n.project_id AND c.nonconformance_id = n.id
                       ), '[]')))::text AS "it!"
                 FROM nonconformances n WHERE n.project_id = $1 ORDER BY n.number"#
        ),
        Kind::StockMovements => lines!(
            conn,
            project,
            r#"SELECT (to_jsonb(m) - 'project_id')::text AS "it!"
                 FROM stock_movements m WHERE m.project_id = $1 ORDER BY m.seq"#
        ),
        Kind::Setup => lines!(
            conn,
            project,
            r#"SELECT (to_jsonb(i) - 'project_id')::text AS "it!"
                 FROM setup_items i WHERE i.project_id = $1 ORDER BY i.kind, i.code"#
        ),
        Kind::SetupHistory => lines!(
            conn,
            project,
            r#"SELECT (to_jsonb(h) - 'project_id')::text AS "it!"
                 FROM setup_history h WHERE h.project_id = $1 ORDER BY h.kind, h.code, h.version"#
        ),
        Kind::Readings => lines!(
            conn,
            project,
            r#"SELECT (to_jsonb(a) - 'project_id')::text AS "it!"
                 FROM ambient_readings a WHERE a.project_id = $1 ORDER BY a.read_at, a.id"#
        ),
        Kind::Outlooks => lines!(
            conn,
            project,
            r#"SELECT (to_jsonb(o) - 'project_id')::text AS "it!"
                 FROM ambient_outlooks o WHERE o.project_id = $1 ORDER BY o.issued_at, o.id"#
        ),
        Kind::People => lines!(
            conn,
            project,
            r#"SELECT jsonb_build_object('user', w.id, 'name', printed_name(w.id))::text AS "it!"
                 FROM (SELECT recorded_by AS id FROM facts WHERE project_id = $1
                       UNION SELECT signer_id FROM signatures WHERE project_id = $1
                       UNION SELECT changed_by FROM setup_history WHERE project_id = $1
                       UNION SELECT recorded_by FROM stock_movements
                              WHERE project_id = $1 AND recorded_by IS NOT NULL
                       UNION SELECT recorded_by FROM ambient_readings WHERE project_id = $1) w
                ORDER BY w.id"#
        ),
    }
}

/// The records of all facts, in the order of joints and chains.
pub fn facts(conn: &mut PgConnection, project: ProjectId) -> BoxStream<'_, Row<Vec<u8>>> {
    sqlx::query_scalar!(
        "SELECT record FROM facts WHERE project_id = $1 ORDER BY joint_id, seq",
        project.0,
    )
    .fetch(conn)
    .map(|it| it.map_err(database("copy the facts")))
    .boxed()
}

/// A joint as it is copied.
#[derive(Debug, Clone, PartialEq)]
pub struct CopiedJoint {
    /// Id.
    pub id: Uuid,
    /// Number.
    pub joint_number: String,
    /// Kilometre point, m.
    pub kp_m: String,
    /// Section.
    pub section: String,
    /// Spread.
    pub spread: Option<String>,
    /// Kind.
    pub kind: String,
    /// Stage.
    pub stage: String,
    /// Flags.
    pub flags: Vec<String>,
    /// Required voltage, kV.
    pub required_voltage_kv: Option<String>,
    /// Number of records.
    pub chain_seq: i64,
    /// Hash of the newest one.
    pub chain_head: Vec<u8>,
    /// The whole line of the register.
    pub register: String,
}

/// All joints in the order of their ids.
pub fn joints(conn: &mut PgConnection, project: ProjectId) -> BoxStream<'_, Row<CopiedJoint>> {
    sqlx::query_as!(
        CopiedJoint,
        r#"SELECT id, joint_number, kp_m::text AS "kp_m!", section, spread, kind,
                  stage, flags, required_voltage_kv::text, chain_seq, chain_head,
                  register::text AS "register!"
             FROM joints WHERE project_id = $1 ORDER BY id"#,
        project.0,
    )
    .fetch(conn)
    .map(|it| it.map_err(database("copy the joints")))
    .boxed()
}
