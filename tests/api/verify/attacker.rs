//! Somebody who owns the database and is past every trigger, key and policy.

use std::ops::RangeInclusive;

use domain::{
    ids::{EventId, ProjectId},
    joints::{
        JointState,
        chain::{self, Record},
    },
};
use proptest::prelude::*;
use sqlx::{AssertSqlSafe, Connection, PgConnection, Row};
use uuid::Uuid;

/// Columns of a record.
pub const COLUMNS: [&str; 12] = [
    "project_id",
    "id",
    "joint_id",
    "seq",
    "kind",
    "occurred_at",
    "recorded_at",
    "recorded_by",
    "supersedes",
    "late",
    "record",
    "hash",
];

/// A bit of a column of a record.
#[derive(Debug, Clone)]
pub struct Bit {
    fact: prop::sample::Index,
    column: &'static str,
    place: u16,
}

pub fn bits() -> impl Strategy<Value = Bit> {
    (any::<prop::sample::Index>(), prop::sample::select(COLUMNS.to_vec()), any::<u16>())
        .prop_map(|(fact, column, place)| Bit { fact, column, place })
}

/// What else can be done; joints are `J-1` to `J-3`, which have records, by number.
#[derive(Debug, Clone)]
pub enum Act {
    Delete { joint: u32, place: usize },
    Insert { joint: u32, place: usize },
    Swap { joint: u32, place: usize },
    CutOff { joint: u32, keep: usize },
    RollBack { joint: u32, to: usize },
    Copy { from: u32, to: u32, place: usize, anew: bool },
    MakeAnew { joint: u32, from: usize },
}

impl Act {
    pub fn kind(&self) -> &'static str {
        match self {
            Self::Delete { .. } => "deleted",
            Self::Insert { .. } => "inserted",
            Self::Swap { .. } => "swapped",
            Self::CutOff { .. } => "tail cut off",
            Self::RollBack { .. } => "head rolled back",
            Self::Copy { .. } => "copied between joints",
            Self::MakeAnew { .. } => "made anew",
        }
    }
}

pub fn acts() -> impl Strategy<Value = Act> {
    let joint = || 1..=3_u32;
    // J-3 has four records, the others more.
    let place = || 0..3_usize;
    prop_oneof![
        (joint(), 0..4_usize).prop_map(|(joint, place)| Act::Delete { joint, place }),
        (joint(), 0..4_usize).prop_map(|(joint, place)| Act::Insert { joint, place }),
        (joint(), place()).prop_map(|(joint, place)| Act::Swap { joint, place }),
        (joint(), 0..4_usize).prop_map(|(joint, keep)| Act::CutOff { joint, keep }),
        (joint(), 0..4_usize).prop_map(|(joint, to)| Act::RollBack { joint, to }),
        (joint(), 1..3_u32, place(), any::<bool>()).prop_map(|(from, by, place, anew)| {
            Act::Copy { from, to: (from + by - 1) % 3 + 1, place, anew }
        }),
        (joint(), 1..5_usize).prop_map(|(joint, from)| Act::MakeAnew { joint, from }),
    ]
}

/// Where the report has to point.
#[derive(Debug)]
pub struct Mutant {
    pub joints: Vec<String>,
    pub seqs: RangeInclusive<i64>,
    #[expect(dead_code, reason = "it is printed where a test fails")]
    what: String,
}

pub struct Attacker {
    conn: PgConnection,
    project: ProjectId,
}

impl Attacker {
    /// Remembers everything as it is.
    pub async fn new(url: &str, project: ProjectId) -> Self {
        let mut conn = PgConnection::connect(url).await.unwrap();
        let begin = "SET session_replication_role = replica;
            ALTER TABLE facts DROP CONSTRAINT facts_joint_id_seq_key;
            CREATE TABLE kept_facts AS TABLE facts;
            CREATE TABLE kept_joints AS TABLE joints";
        sqlx::raw_sql(begin).execute(&mut conn).await.unwrap();
        Self { conn, project }
    }

    pub async fn runs(&mut self, statement: &str) {
        let statement = AssertSqlSafe(statement.to_owned());
        sqlx::raw_sql(statement).execute(&mut self.conn).await.unwrap();
    }

    pub async fn puts_everything_back(&mut self) {
        self.runs(
            "DELETE FROM facts; INSERT INTO facts TABLE kept_facts;
             UPDATE joints j SET chain_seq = k.chain_seq, chain_head = k.chain_head,
                                 newest_at = k.newest_at, state = k.state
               FROM kept_joints k WHERE k.id = j.id",
        )
        .await;
    }

    pub async fn forgets_all_checkpoints(&mut self) {
        self.runs("DELETE FROM checkpoint_leaves; DELETE FROM checkpoints").await;
    }

    /// Turns over one bit.
    pub async fn flips(&mut self, bit: &Bit) -> Mutant {
        let all = "SELECT f.id, f.seq, j.joint_number, f.joint_id::text,
                          octet_length(f.record) AS record, length(f.kind) AS kind
                     FROM facts f JOIN joints j ON j.id = f.joint_id
                    ORDER BY j.joint_number, f.seq";
        let rows = sqlx::query(all).fetch_all(&mut self.conn).await.unwrap();
        let row = bit.fact.get(&rows);
        let (id, seq): (Uuid, i64) = (row.get("id"), row.get("seq"));
        let joint: String = row.get("joint_number");
        let record = u32::try_from(row.get::<i32, _>("record")).unwrap();
        let kind = u32::try_from(row.get::<i32, _>("kind")).unwrap();
        let any = u32::from(bit.place);
        let column = bit.column;
        let bytes = |column: &str, length: u32| {
            let place = any % (length * 8);
            format!("set_bit({column}, {place}, 1 - get_bit({column}, {place}))")
        };
        let value = match column {
            "project_id" | "id" | "joint_id" | "recorded_by" => {
                let raw = bytes(&format!("uuid_send({column})"), 16);
                format!("encode({raw}, 'hex')::uuid")
            }
            "supersedes" => "gen_random_uuid()".to_owned(),
            "late" => "NOT late".to_owned(),
            // Within what the column holds.
            "seq" => format!("seq # (1::bigint << {})", any % 62),
            "occurred_at" | "recorded_at" => {
                format!("{column} + (1::bigint << {}) * interval '1 microsecond'", any % 45)
            }
            // The lower bits of a letter are another letter or sign, never half a character.
            "kind" => {
                let (place, bit) = (any % kind, any / kind % 4);
                format!(
                    "convert_from(set_byte(convert_to(kind, 'UTF8'), {place},
                        get_byte(convert_to(kind, 'UTF8'), {place}) # (1 << {bit})), 'UTF8')"
                )
            }
            "record" => bytes("record", record),
            "hash" => bytes("hash", 32),
            other => panic!("{other}"),
        };
        let statement = format!("UPDATE facts SET {column} = {value} WHERE id = '{id}'");
        self.runs(&statement).await;
        // A record that went elsewhere is missed where it was; a hash is also missed by the next.
        let joints = vec![joint];
        Mutant { joints, seqs: seq..=seq, what: statement }
    }

    /// Does it, as well as it can be hidden with this alone.
    pub async fn does(&mut self, act: &Act) -> Mutant {
        let what = format!("{act:?}");
        let named = |joint: u32| format!("J-{joint}");
        let at = |place: usize| i64::try_from(place).unwrap() + 1;
        let of = |joint: u32, seqs| Mutant { joints: vec![named(joint)], seqs, what };
        match *act {
            Act::Delete { joint, place } => {
                let (name, seq) = (named(joint), at(place));
                self.runs(&format!("DELETE FROM facts WHERE {} AND seq = {seq}", on(&name))).await;
                of(joint, seq..=seq)
            }
            Act::Insert { joint, place } => {
                let mut records = self.records(&named(joint)).await;
                let mut new = records[place].clone();
                new.id = EventId(Uuid::now_v7());
                records.insert(place, new);
                // What stood after it is moved up, and nothing else of it changed.
                let (name, seq) = (named(joint), at(place));
                self.runs(&format!(
                    "UPDATE facts SET seq = -seq - 1 WHERE {} AND seq >= {seq};
                     UPDATE facts SET seq = -seq WHERE {} AND seq < 0",
                    on(&name),
                    on(&name)
                ))
                .await;
                self.writes(&records[place], seq).await;
                of(joint, seq..=seq + 1)
            }
            Act::Swap { joint, place } => {
                let (name, seq) = (named(joint), at(place));
                let next = seq + 1;
                self.runs(&format!(
                    "UPDATE facts SET seq = -seq WHERE {0} AND seq IN ({seq}, {next});
                     UPDATE facts SET seq = {next} + {seq} + seq WHERE {0} AND seq < 0",
                    on(&name)
                ))
                .await;
                of(joint, seq..=next)
            }
            Act::CutOff { joint, keep } => {
                let records = self.records(&named(joint)).await;
                let last = at(records.len() - 1);
                self.replaces(&named(joint), &records[..keep.min(records.len() - 1)]).await;
                of(joint, at(keep)..=last)
            }
            Act::RollBack { joint, to } => {
                let (name, records) = (named(joint), self.records(&named(joint)).await);
                let head =
                    records[..to].last().map_or(chain::START, |it| chain::hash(&it.to_bytes()));
                self.heads(&name, &records[..to], head).await;
                of(joint, at(to)..=at(to))
            }
            Act::Copy { from, to, place, anew } => {
                let source = self.records(&named(from)).await[place].clone();
                let mut records = self.records(&named(to)).await;
                let seq = at(place);
                if anew {
                    // As if it had been recorded there, and everything after it linked again.
                    let copy =
                        Record { joint: records[0].joint, id: EventId(Uuid::now_v7()), ..source };
                    records[place] = copy;
                    self.replaces(&named(to), &records).await;
                    return of(to, seq..=at(records.len() - 1));
                }
                self.runs(&format!("DELETE FROM facts WHERE {} AND seq = {seq}", on(&named(to))))
                    .await;
                let copy = Record { id: EventId(Uuid::now_v7()), ..source };
                self.writes_on(&copy, seq, &named(to)).await;
                of(to, seq..=seq + 1)
            }
            Act::MakeAnew { joint, from } => {
                let mut records = self.records(&named(joint)).await;
                let from = from.min(records.len()) - 1;
                records[from].recorded_at += chrono::TimeDelta::seconds(1);
                self.replaces(&named(joint), &records).await;
                of(joint, at(from)..=at(records.len() - 1))
            }
        }
    }

    async fn records(&mut self, joint: &str) -> Vec<Record> {
        let statement = format!("SELECT record FROM facts WHERE {} ORDER BY seq", on(joint));
        let rows = sqlx::query(AssertSqlSafe(statement)).fetch_all(&mut self.conn).await.unwrap();
        rows.iter().map(|row| serde_json::from_slice(row.get("record")).unwrap()).collect()
    }

    /// Writes the whole chain of a joint anew, linked as it should be, with head and state.
    async fn replaces(&mut self, joint: &str, records: &[Record]) {
        self.runs(&format!("DELETE FROM facts WHERE {}", on(joint))).await;
        let (mut before, mut linked) = (chain::START, Vec::new());
        for (record, seq) in records.iter().zip(1..) {
            let record = Record { seq, previous: hex::encode(before), ..record.clone() };
            before = chain::hash(&record.to_bytes());
            self.writes(&record, seq).await;
            linked.push(record);
        }
        // Whether a record is late follows from those before it.
        self.runs(&format!(
            "UPDATE facts f SET late = coalesce(f.occurred_at < (
                 SELECT max(b.occurred_at) FROM facts b
                  WHERE b.joint_id = f.joint_id AND b.seq < f.seq), false) WHERE {}",
            on(joint)
        ))
        .await;
        self.heads(joint, &linked, before).await;
    }

    /// Makes the joint remember these records and no others.
    async fn heads(&mut self, joint: &str, records: &[Record], head: chain::Hash) {
        let facts: Vec<_> = records.iter().map(Record::to_fact).collect();
        let state = serde_json::to_value(JointState::fold(&facts)).unwrap();
        sqlx::query(
            "UPDATE joints SET chain_seq = $3, chain_head = $4, newest_at = $5, state = $6
              WHERE project_id = $1 AND joint_number = $2",
        )
        .bind(self.project.0)
        .bind(joint)
        .bind(i64::try_from(records.len()).unwrap())
        .bind(head.as_slice())
        .bind(records.iter().map(|it| it.occurred_at).max())
        .bind(state)
        .execute(&mut self.conn)
        .await
        .unwrap();
    }

    async fn writes(&mut self, record: &Record, seq: i64) {
        let joint = record.joint.0;
        self.row(record, seq, joint).await;
    }

    async fn writes_on(&mut self, record: &Record, seq: i64, joint: &str) {
        let id = sqlx::query_scalar("SELECT id FROM joints WHERE joint_number = $1");
        let id: Uuid = id.bind(joint).fetch_one(&mut self.conn).await.unwrap();
        self.row(record, seq, id).await;
    }

    async fn row(&mut self, record: &Record, seq: i64, joint: Uuid) {
        let bytes = record.to_bytes();
        sqlx::query(
            "INSERT INTO facts (project_id, id, joint_id, seq, kind, occurred_at, recorded_at,
                                recorded_by, supersedes, late, record, hash)
             VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, false, $10, $11)",
        )
        .bind(record.project.0)
        .bind(record.id.0)
        .bind(joint)
        .bind(seq)
        .bind(record.event.kind())
        .bind(record.occurred_at)
        .bind(record.recorded_at)
        .bind(record.recorded_by.0)
        .bind(record.supersedes.map(|it| it.0))
        .bind(&bytes)
        .bind(chain::hash(&bytes).as_slice())
        .execute(&mut self.conn)
        .await
        .unwrap();
    }
}

fn on(joint: &str) -> String {
    format!("joint_id = (SELECT id FROM joints WHERE joint_number = '{joint}')")
}
