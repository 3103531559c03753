//! Joints: the register, the folded state, the head of the chain.

use chrono::{DateTime, Utc};
use domain::{
    ids::{JointId, ProjectId},
    joints::{
        Assessment, Flag, JointState, RegisterEntry, Stage,
        chain::{self, Hash},
    },
};
use serde_json::Value;
use sqlx::PgConnection;
use units::Kp;
use uuid::Uuid;

use crate::{StoreError, error::database};

/// A joint as it is stored.
#[derive(Debug, Clone)]
pub struct StoredJoint {
    /// Its id.
    pub id: JointId,
    /// What the register says.
    pub entry: RegisterEntry,
    /// The fold of its facts.
    pub state: JointState,
    /// Number of facts.
    pub chain_seq: i64,
    /// Hash of the newest record.
    pub chain_head: Hash,
    /// Latest `occurred_at` of all facts.
    pub newest_at: Option<DateTime<Utc>>,
}

struct Row {
    id: Uuid,
    register: Value,
    state: Value,
    chain_seq: i64,
    chain_head: Vec<u8>,
    newest_at: Option<DateTime<Utc>>,
}

impl TryFrom<Row> for StoredJoint {
    type Error = StoreError;

    fn try_from(row: Row) -> Result<Self, StoreError> {
        let wrong = |detail: String| StoreError::inconsistent("joints", row.id, detail);
        Ok(Self {
            id: JointId(row.id),
            entry: serde_json::from_value(row.register).map_err(|it| wrong(it.to_string()))?,
            state: serde_json::from_value(row.state).map_err(|it| wrong(it.to_string()))?,
            chain_seq: row.chain_seq,
            chain_head: row.chain_head.try_into().map_err(|_| wrong("chain_head".into()))?,
            newest_at: row.newest_at,
        })
    }
}

/// Finds a joint by its number, or by its id.
pub async fn find(
    conn: &mut PgConnection,
    project: ProjectId,
    named: &str,
) -> Result<Option<StoredJoint>, StoreError> {
    let row = sqlx::query_as!(
        Row,
        "SELECT id, register, state, chain_seq, chain_head, newest_at
           FROM joints
          WHERE project_id = $1 AND (joint_number = $2 OR id = $3)",
        project.0,
        named,
        named.parse::<Uuid>().ok(),
    )
    .fetch_optional(conn)
    .await
    .map_err(database("find a joint"))?;
    row.map(StoredJoint::try_from).transpose()
}

/// The joints of these ids, in the order of the ids.
pub async fn find_all(
    conn: &mut PgConnection,
    project: ProjectId,
    ids: &[JointId],
) -> Result<Vec<StoredJoint>, StoreError> {
    let ids: Vec<Uuid> = ids.iter().map(|it| it.0).collect();
    let rows = sqlx::query_as!(
        Row,
        "SELECT id, register, state, chain_seq, chain_head, newest_at
           FROM joints WHERE project_id = $1 AND id = ANY($2) ORDER BY id",
        project.0,
        &ids,
    )
    .fetch_all(conn)
    .await
    .map_err(database("find joints"))?;
    rows.into_iter().map(StoredJoint::try_from).collect()
}

/// Locks the named joints, by number or id, in one order everywhere so that no two writers can
/// wait for each other. Whoever writes facts or releases of a joint holds this lock.
pub async fn lock(
    conn: &mut PgConnection,
    project: ProjectId,
    named: &[String],
) -> Result<Vec<StoredJoint>, StoreError> {
    let ids: Vec<Uuid> = named.iter().filter_map(|it| it.parse().ok()).collect();
    let rows = sqlx::query_as!(
        Row,
        "SELECT id, register, state, chain_seq, chain_head, newest_at
           FROM joints
          WHERE project_id = $1 AND (joint_number = ANY($2) OR id = ANY($3))
          ORDER BY id
            FOR UPDATE",
        project.0,
        named,
        &ids,
    )
    .fetch_all(conn)
    .await
    .map_err(database("lock joints"))?;
    rows.into_iter().map(StoredJoint::try_from).collect()
}

/// Locks one joint as [`lock`] does, and reads the version of the set-up on the way.
pub async fn lock_one(
    conn: &mut PgConnection,
    project: ProjectId,
    named: &str,
) -> Result<Option<(StoredJoint, i64)>, StoreError> {
    let row = sqlx::query!(
        r#"SELECT id, register, state, chain_seq, chain_head, newest_at,
                  (SELECT setup_version FROM projects WHERE id = $1) AS "setup_version!"
             FROM joints
            WHERE project_id = $1 AND (joint_number = $2 OR id = $3)
            ORDER BY id LIMIT 1
              FOR UPDATE"#,
        project.0,
        named,
        named.parse::<Uuid>().ok(),
    )
    .fetch_optional(conn)
    .await
    .map_err(database("lock a joint"))?;
    let Some(row) = row else { return Ok(None) };
    let joint = Row {
        id: row.id,
        register: row.register,
        state: row.state,
        chain_seq: row.chain_seq,
        chain_head: row.chain_head,
        newest_at: row.newest_at,
    };
    Ok(Some((joint.try_into()?, row.setup_version)))
}

/// Numbers of the joints of a stretch, in the order of the line.
pub async fn numbers_between(
    conn: &mut PgConnection,
    project: ProjectId,
    section: Option<&str>,
    from: Kp,
    to: Kp,
    limit: i64,
) -> Result<Vec<String>, StoreError> {
    sqlx::query_scalar!(
        "SELECT joint_number FROM joints
          WHERE project_id = $1 AND ($2::text IS NULL OR section = $2)
            AND kp_mm >= $3 AND kp_mm <= $4
          ORDER BY kp_mm, id LIMIT $5",
        project.0,
        section,
        from.as_millimetres(),
        to.as_millimetres(),
        limit,
    )
    .fetch_all(conn)
    .await
    .map_err(database("find the joints of a stretch"))
}

/// A voltage rounded to whole volts, kV.
pub fn to_the_volt(kilovolts: f64) -> f64 {
    (kilovolts * 1000.0).round() / 1000.0
}

/// Stores what follows from the newest facts, and tells the feed once per transaction.
pub async fn update(
    conn: &mut PgConnection,
    project: ProjectId,
    joint: &StoredJoint,
    assessment: &Assessment,
    at: DateTime<Utc>,
) -> Result<(), StoreError> {
    let state = serde_json::to_value(&joint.state)
        .map_err(|it| StoreError::inconsistent("joints", joint.id, it))?;
    let flags: Vec<String> = assessment.flags.iter().map(|it| it.name().to_owned()).collect();
    sqlx::query!(
        "WITH changed AS (
             UPDATE joints
                SET state = $3, chain_seq = $4, chain_head = $5, newest_at = $6, stage = $7,
                    flags = $8, required_voltage_kv = $9::float8::numeric
              WHERE project_id = $1 AND id = $2
             RETURNING id, joint_number, stage, flags, chain_seq
         )
         INSERT INTO feed_pending (project_id, topic, subject, body, at, once)
         SELECT $1, 'joint.changed', joint_number,
                jsonb_build_object('joint', joint_number, 'joint_id', id, 'stage', stage,
                                   'flags', flags, 'version', chain_seq),
                $10, true
           FROM changed",
        project.0,
        joint.id.0,
        state,
        joint.chain_seq,
        joint.chain_head.as_slice(),
        joint.newest_at,
        assessment.stage.name(),
        &flags,
        // As the decision and the trigger hold it against a test: by the volt.
        assessment.required_voltage_kv.map(to_the_volt),
        at,
    )
    .execute(conn)
    .await
    .map_err(database("update a joint"))?;
    Ok(())
}

/// Stores what a judgement says beside the facts, for a process that records none.
pub async fn set_flags(
    conn: &mut PgConnection,
    project: ProjectId,
    joint: JointId,
    assessment: &Assessment,
    at: DateTime<Utc>,
) -> Result<(), StoreError> {
    let flags: Vec<String> = assessment.flags.iter().map(|it| it.name().to_owned()).collect();
    sqlx::query!(
        "WITH changed AS (
             UPDATE joints SET stage = $3, flags = $4
              WHERE project_id = $1 AND id = $2 AND (stage, flags) IS DISTINCT FROM ($3, $4)
             RETURNING id, joint_number, stage, flags, chain_seq
         )
         INSERT INTO feed_pending (project_id, topic, subject, body, at, once)
         SELECT $1, 'joint.changed', joint_number,
                jsonb_build_object('joint', joint_number, 'joint_id', id, 'stage', stage,
                                   'flags', flags, 'version', chain_seq),
                $5, true
           FROM changed",
        project.0,
        joint.0,
        assessment.stage.name(),
        &flags,
        at,
    )
    .execute(conn)
    .await
    .map_err(database("set the flags of a joint"))?;
    Ok(())
}

/// Adds joints from the register; all or none.
pub async fn insert(
    conn: &mut PgConnection,
    project: ProjectId,
    joints: &[(JointId, RegisterEntry, Option<String>)],
    at: DateTime<Utc>,
) -> Result<(), StoreError> {
    let state = serde_json::to_value(JointState::default())
        .map_err(|it| StoreError::inconsistent("joints", project, it))?;
    let mut ids = Vec::with_capacity(joints.len());
    let mut numbers = Vec::with_capacity(joints.len());
    let mut kps = Vec::with_capacity(joints.len());
    let mut sections = Vec::with_capacity(joints.len());
    let mut spreads = Vec::with_capacity(joints.len());
    let mut kinds = Vec::with_capacity(joints.len());
    let mut registers = Vec::with_capacity(joints.len());
    for (id, entry, spread) in joints {
        ids.push(id.0);
        numbers.push(entry.joint_number.clone());
        kps.push(entry.kp_m);
        sections.push(entry.section.clone());
        spreads.push(spread.clone());
        kinds.push(entry.kind.name().to_owned());
        let register = serde_json::to_value(entry);
        registers.push(register.map_err(|it| StoreError::inconsistent("joints", id, it))?);
    }
    sqlx::query!(
        "INSERT INTO joints (project_id, id, joint_number, kp_m, section, spread, kind, register,
                             chain_head, state, stage, created_at)
         SELECT $1, t.id, t.number, t.kp::numeric, t.section, t.spread, t.kind, t.register,
                $9, $10, 'welded', $11
           FROM unnest($2::uuid[], $3::text[], $4::float8[], $5::text[], $6::text[], $7::text[],
                       $8::jsonb[]) AS t (id, number, kp, section, spread, kind, register)",
        project.0,
        &ids,
        &numbers,
        &kps,
        &sections,
        &spreads as &[Option<String>],
        &kinds,
        &registers,
        chain::START.as_slice(),
        state,
        at,
    )
    .execute(conn)
    .await
    .map_err(database("insert joints"))?;
    Ok(())
}

/// What a list shows of a joint.
#[derive(Debug, Clone)]
pub struct JointLine {
    /// Its id.
    pub id: JointId,
    /// Its number.
    pub joint_number: String,
    /// Kilometre point, mm.
    pub kp_mm: i64,
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
    /// kV.
    pub required_voltage_kv: Option<f64>,
    /// Number of facts.
    pub version: i64,
}

/// Which joints a list shows.
#[derive(Debug, Clone, Default)]
pub struct JointFilter {
    /// Of that stage.
    pub stage: Option<Stage>,
    /// Of that section.
    pub section: Option<String>,
    /// Of that spread.
    pub spread: Option<String>,
    /// From that kilometre point.
    pub kp_from: Option<Kp>,
    /// Up to that kilometre point.
    pub kp_to: Option<Kp>,
    /// Blocked or not.
    pub blocked: Option<bool>,
    /// After that place in the order of the line: kilometre point in mm, and id.
    pub after: Option<(i64, JointId)>,
    /// At most so many.
    pub limit: i64,
}

/// Joints in the order of the line.
pub async fn list(
    conn: &mut PgConnection,
    project: ProjectId,
    filter: &JointFilter,
) -> Result<Vec<JointLine>, StoreError> {
    // One bound that is always there lets every page begin inside an index; of two lower bounds
    // PostgreSQL might begin at the wider one.
    let from = filter.kp_from.map(|kp| (kp.as_millimetres() - 1, Uuid::max()));
    let after = filter.after.map(|(kp, id)| (kp, id.0)).max(from);
    let (after_mm, after_id) = after.unwrap_or((i64::MIN, Uuid::nil()));
    sqlx::query_as!(
        JointLine,
        r#"SELECT id, joint_number, kp_mm AS "kp_mm!", section, spread,
                  kind, stage, flags, required_voltage_kv::float8 AS required_voltage_kv,
                  chain_seq AS version
             FROM joints
            WHERE project_id = $1
              AND ($2::text IS NULL OR stage = $2)
              AND ($3::text IS NULL OR section = $3)
              AND ($4::text IS NULL OR spread = $4)
              AND (kp_mm, id) > ($5, $6) AND kp_mm <= $7
              AND ($8::bool IS NULL OR ($9 = ANY (flags)) = $8)
            ORDER BY kp_mm, id
            LIMIT $10"#,
        project.0,
        filter.stage.map(Stage::name),
        filter.section.as_deref(),
        filter.spread.as_deref(),
        after_mm,
        after_id,
        filter.kp_to.map_or(i64::MAX, Kp::as_millimetres),
        filter.blocked,
        Flag::Blocked.name(),
        filter.limit,
    )
    .fetch_all(conn)
    .await
    .map_err(database("list joints"))
}

/// Joints that take the same coating, counted.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct JointCount {
    /// Section.
    pub section: String,
    /// Kind.
    pub kind: String,
    /// Coating system where it is not the section's own.
    pub coating_system: Option<String>,
    /// How many.
    pub joints: i64,
    /// How many of them are not wrapped yet.
    pub to_wrap: i64,
}

/// The joints of a project, or of one section, counted by what they take. Joints whose weld was
/// cut out take nothing.
pub async fn count_for_takeoff(
    conn: &mut PgConnection,
    project: ProjectId,
    section: Option<&str>,
) -> Result<Vec<JointCount>, StoreError> {
    sqlx::query_as!(
        JointCount,
        r#"SELECT section, kind, register ->> 'coating_system' AS coating_system,
                  count(*) AS "joints!",
                  count(*) FILTER (WHERE stage = ANY ($4)) AS "to_wrap!"
             FROM joints
            WHERE project_id = $1
              AND ($2::text IS NULL OR section = $2)
              AND NOT $3 = ANY (flags)
            GROUP BY section, kind, register ->> 'coating_system'
            ORDER BY section, kind, register ->> 'coating_system'"#,
        project.0,
        section,
        Flag::CutOut.name(),
        &[Stage::Welded, Stage::Accepted, Stage::Prepared, Stage::Primed]
            .map(|it| it.name().to_owned())[..],
    )
    .fetch_all(conn)
    .await
    .map_err(database("count joints for the take-off"))
}

/// Every joint id of a project, after `after`.
pub async fn ids_after(
    conn: &mut PgConnection,
    project: ProjectId,
    after: Option<JointId>,
    limit: i64,
) -> Result<Vec<JointId>, StoreError> {
    let ids = sqlx::query_scalar!(
        "SELECT id FROM joints
          WHERE project_id = $1 AND ($2::uuid IS NULL OR id > $2) ORDER BY id LIMIT $3",
        project.0,
        after.map(|it| it.0),
        limit,
    )
    .fetch_all(conn)
    .await
    .map_err(database("walk the joints"))?;
    Ok(ids.into_iter().map(JointId).collect())
}

/// How many joints are in each stage.
pub async fn count_by_stage(
    conn: &mut PgConnection,
    project: ProjectId,
) -> Result<Vec<(String, i64)>, StoreError> {
    let rows = sqlx::query!(
        r#"SELECT stage, count(*) AS "count!" FROM joints WHERE project_id = $1 GROUP BY stage"#,
        project.0,
    )
    .fetch_all(conn)
    .await
    .map_err(database("count joints"))?;
    Ok(rows.into_iter().map(|row| (row.stage, row.count)).collect())
}

/// A joint as far as its row can be read.
pub type Readable = (JointId, String, Result<StoredJoint, StoreError>);

/// The joints of a project after `after` in the order of their ids, each with its number; a row that
/// cannot be read does not keep the others from being so.
pub async fn rows_after(
    conn: &mut PgConnection,
    project: ProjectId,
    after: Option<JointId>,
    limit: i64,
) -> Result<Vec<Readable>, StoreError> {
    let rows = sqlx::query!(
        "SELECT id, joint_number, register, state, chain_seq, chain_head, newest_at
           FROM joints
          WHERE project_id = $1 AND ($2::uuid IS NULL OR id > $2) ORDER BY id LIMIT $3",
        project.0,
        after.map(|it| it.0),
        limit,
    )
    .fetch_all(conn)
    .await
    .map_err(database("walk the rows of the joints"))?;
    Ok(rows
        .into_iter()
        .map(|row| {
            let stored = Row {
                id: row.id,
                register: row.register,
                state: row.state,
                chain_seq: row.chain_seq,
                chain_head: row.chain_head,
                newest_at: row.newest_at,
            };
            (JointId(row.id), row.joint_number, stored.try_into())
        })
        .collect())
}

/// How many joints a project has.
pub async fn count(conn: &mut PgConnection, project: ProjectId) -> Result<i64, StoreError> {
    sqlx::query_scalar!(
        r#"SELECT count(*) AS "count!" FROM joints WHERE project_id = $1"#,
        project.0
    )
    .fetch_one(conn)
    .await
    .map_err(database("count the joints"))
}

/// The id of the joint of that number or id.
pub async fn id_of(
    conn: &mut PgConnection,
    project: ProjectId,
    named: &str,
) -> Result<Option<JointId>, StoreError> {
    let id = sqlx::query_scalar!(
        "SELECT id FROM joints WHERE project_id = $1 AND (joint_number = $2 OR id = $3)",
        project.0,
        named,
        named.parse::<Uuid>().ok(),
    )
    .fetch_optional(conn)
    .await
    .map_err(database("find the id of a joint"))?;
    Ok(id.map(JointId))
}
