//! A long line: joints by the hundred thousand, a part of them coated.
//!
//! Every row is what the server itself would have written: records are linked and hashed, states
//! are folded. Only the way in is another one, COPY.

use std::{fmt::Write as _, time::Instant};

use domain::{
    ids::{EventId, JointId, ProjectId, UserId},
    joints::{
        Fact, JointKind, JointState, RegisterEntry,
        chain::{self, Hash, Record},
        fact::{self, NewFact},
    },
};
use harness::{Line, fact::coating};
use sqlx::{AssertSqlSafe, Connection, PgConnection};
use uuid::Uuid;

use crate::{Outcome, options::Options, say};

/// Between two joints, m.
const APART_M: u32 = 12;

/// Sent to PostgreSQL at a time.
const CHUNK: usize = 1 << 20;

/// What the measurements need to know of the line.
pub struct World {
    /// The project.
    pub project: ProjectId,
    /// The inspector, who records.
    pub by: UserId,
    /// Joints `1` to this.
    pub joints: u32,
    /// Joints `1` to this are coated.
    pub coated: u32,
    /// A coated joint after the others. Its version is like no other number, by which it is known
    /// again in a log.
    pub model: u32,
}

/// The version of the model joint.
const MODEL_VERSION: i64 = 777_000;

/// The id of the joint of that number; the scripts for pgbench make it in the same way.
pub fn id_of(number: u32) -> String {
    format!("00000000-0000-7000-8000-{number:012}")
}

/// The place of the joint of that number, mm.
pub fn millimetres_of(number: u32) -> i64 {
    i64::from(number) * i64::from(APART_M) * 1000
}

/// Writes the joints and the facts.
pub async fn seed(line: &Line, options: &Options) -> Outcome<World> {
    let begun = Instant::now();
    let model = options.joints + 1;
    let coat = Coat::new(line).await?;
    let mut conn = PgConnection::connect(&line.app.database.url).await?;
    // Checking a million times that the project exists is not what is measured.
    sqlx::raw_sql("SET session_replication_role = replica").execute(&mut conn).await?;
    let coated = |number: u32| number <= options.coated || number == model;

    let mut rows = conn
        .copy_in_raw(
            "COPY facts (project_id, id, joint_id, seq, kind, occurred_at, recorded_at,
                         recorded_by, late, record, hash) FROM STDIN",
        )
        .await?;
    let mut text = String::new();
    for number in (1..=model).filter(|it| coated(*it)) {
        coat.write_facts(&mut text, number);
        if text.len() > CHUNK {
            rows.send(std::mem::take(&mut text).into_bytes()).await?;
        }
    }
    rows.send(std::mem::take(&mut text).into_bytes()).await?;
    let facts = rows.finish().await?;

    let mut rows = conn
        .copy_in_raw(
            "COPY joints (project_id, id, joint_number, kp_m, section, spread, kind, register,
                          chain_seq, chain_head, newest_at, state, stage, flags,
                          required_voltage_kv, created_at) FROM STDIN",
        )
        .await?;
    for number in 1..=model {
        coat.write_joint(&mut text, number, coated(number))?;
        if text.len() > CHUNK {
            rows.send(std::mem::take(&mut text).into_bytes()).await?;
        }
    }
    rows.send(std::mem::take(&mut text).into_bytes()).await?;
    let joints = rows.finish().await?;

    let version = format!(
        "UPDATE joints SET chain_seq = {MODEL_VERSION} WHERE joint_number = '{model}';
         VACUUM (ANALYZE) joints"
    );
    for statement in version.split(';').chain(["VACUUM (ANALYZE) facts", "CHECKPOINT"]) {
        sqlx::raw_sql(AssertSqlSafe(statement)).execute(&mut conn).await?;
    }
    let took = begun.elapsed().as_secs_f64();
    say(format_args!("{joints} joints and {facts} facts written in {took:.0} s"));
    let (project, by) = (line.project, coat.by);
    Ok(World { project, by, joints: options.joints, coated: options.coated, model })
}

/// The same coating on every joint.
struct Coat {
    project: ProjectId,
    by: UserId,
    facts: Vec<NewFact>,
    created_at: String,
    /// Stage, flags and required voltage as the server judges them, in the text form of COPY.
    judged: [String; 3],
}

impl Coat {
    /// Records the coating on one joint by way of the server, to see what it makes of it.
    async fn new(line: &Line) -> Outcome<Self> {
        line.adds_joints("S1", "J", 1).await;
        line.records("J-1", &coating()).await;
        let judged = "SELECT stage, flags::text, required_voltage_kv::text
                        FROM joints WHERE joint_number = 'J-1'";
        let (stage, flags, voltage_kv): (String, String, String) =
            sqlx::query_as(judged).fetch_one(&line.app.database.pool).await?;
        let facts = coating().iter().map(|it| fact::parse(&it.0)).collect::<Result<_, _>>();
        Ok(Self {
            project: line.project,
            by: line.inspector.user.parse()?,
            facts: facts.map_err(|faults| format!("{faults:?}"))?,
            created_at: line.app.now().to_rfc3339(),
            judged: [stage, flags, voltage_kv],
        })
    }

    fn records(&self, number: u32) -> Vec<(Record, Vec<u8>, Hash)> {
        let joint = JointId(id_of(number).parse().unwrap_or(Uuid::nil()));
        let (mut head, mut records) = (chain::START, Vec::new());
        for (fact, seq) in self.facts.iter().zip(1_i64..) {
            let id = format!("00000000-0000-7001-8000-{number:010}{seq:02}");
            let fact = NewFact { id: EventId(id.parse().unwrap_or(Uuid::nil())), ..fact.clone() };
            let at = (fact.occurred_at, self.by);
            let record = Record::new((self.project, joint), &fact, at, seq, &head);
            let bytes = record.to_bytes();
            head = chain::hash(&bytes);
            records.push((record, bytes, head));
        }
        records
    }

    fn write_facts(&self, text: &mut String, number: u32) {
        for (record, bytes, hash) in self.records(number) {
            let at = record.occurred_at.to_rfc3339();
            let _ = writeln!(
                text,
                "{}\t{}\t{}\t{}\t{}\t{at}\t{at}\t{}\tf\t\\\\x{}\t\\\\x{}",
                self.project,
                record.id,
                record.joint,
                record.seq,
                record.event.kind(),
                record.recorded_by,
                hexadecimal(&bytes),
                hexadecimal(&hash),
            );
        }
    }

    fn write_joint(&self, text: &mut String, number: u32, coated: bool) -> Outcome<()> {
        let entry = RegisterEntry {
            joint_number: number.to_string(),
            kp_m: f64::from(number) * f64::from(APART_M),
            section: "S1".to_owned(),
            kind: JointKind::Mainline,
            coating_system: None,
            pipe_before: Some(format!("P-{number:07}")),
            pipe_after: Some(format!("P-{:07}", number + 1)),
            heat_before: Some(format!("H{:05}", number / 40)),
            heat_after: Some(format!("H{:05}", (number + 1) / 40)),
            welder: Some(format!("W-{:02}", number % 24)),
            welded_on: None,
        };
        let records = if coated { self.records(number) } else { Vec::new() };
        let facts: Vec<Fact> = records.iter().map(|(record, ..)| record.to_fact()).collect();
        let state = serde_json::to_string(&JointState::fold(&facts))?;
        let head = records.last().map_or(chain::START, |(.., hash)| *hash);
        let newest = facts.last().map_or("\\N".to_owned(), |it| it.occurred_at.to_rfc3339());
        let [stage, flags, voltage_kv] = if coated {
            self.judged.each_ref().map(String::as_str)
        } else {
            ["welded", "{}", "\\N"]
        };
        let _ = writeln!(
            text,
            "{}\t{}\t{number}\t{}\tS1\tA\tmainline\t{}\t{}\t\\\\x{}\t{newest}\t{}\t{stage}\t\
             {flags}\t{voltage_kv}\t{}",
            self.project,
            id_of(number),
            entry.kp_m,
            escaped(&serde_json::to_string(&entry)?),
            facts.len(),
            hexadecimal(&head),
            escaped(&state),
            self.created_at,
        );
        Ok(())
    }
}

/// As COPY reads it.
fn escaped(text: &str) -> String {
    text.replace('\\', "\\\\")
}

fn hexadecimal(bytes: &[u8]) -> String {
    bytes.iter().fold(String::with_capacity(bytes.len() * 2), |mut text, byte| {
        let _ = write!(text, "{byte:02x}");
        text
    })
}
