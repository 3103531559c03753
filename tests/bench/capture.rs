//! The statements that the server sends for a request, read from PostgreSQL's log.

use std::time::{Duration, Instant};

use harness::server::Server;
use serde::Serialize;
use serde_json::Value;
use sqlx::{AssertSqlSafe, Connection, PgConnection};

use crate::Outcome;

/// A value that differs from request to request.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Slot {
    /// Number of the joint.
    Number,
    /// Id of the joint.
    Joint,
    /// Id of the fact.
    Fact,
    /// The version of the joint, which the lock has read, and one more.
    Seq,
    /// Just before the joint, mm.
    JustBefore,
}

/// A parameter of a statement.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Parameter {
    /// NULL.
    Null,
    /// The same each time, as text.
    Constant(String),
    /// Differs.
    One(Slot),
    /// Differs, alone in an array.
    Array(Slot),
}

/// One statement.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Statement {
    /// As it was sent; several without parameters if they were sent together.
    pub sql: String,
    /// Its parameters in their order.
    pub parameters: Vec<Parameter>,
}

impl Statement {
    /// The statement without what differs between two requests of a kind.
    fn shape(&self) -> (String, Vec<Option<Slot>>) {
        let slot = |it: &Parameter| match it {
            Parameter::One(slot) | Parameter::Array(slot) => Some(*slot),
            Parameter::Null | Parameter::Constant(_) => None,
        };
        (self.sql.clone(), self.parameters.iter().map(slot).collect())
    }
}

/// What the slots held in the request that is looked at.
pub type Held = Vec<(Slot, String)>;

/// The owner's connection, by which PostgreSQL is told to log and not to.
pub struct Log {
    conn: PgConnection,
    pid: i32,
    markers: u32,
}

impl Log {
    /// Connects to the database at `url`, and lets every statement be logged.
    pub async fn begin(url: &str) -> Outcome<Self> {
        let mut conn = PgConnection::connect(url).await?;
        let pid = sqlx::query_scalar("SELECT pg_backend_pid()").fetch_one(&mut conn).await?;
        let mut log = Self { conn, pid, markers: 0 };
        log.set("all").await?;
        Ok(log)
    }

    /// Lets no statement be logged any more.
    pub async fn end(mut self) -> Outcome<()> {
        self.set("none").await
    }

    async fn set(&mut self, what: &str) -> Outcome<()> {
        let alter = format!("ALTER SYSTEM SET log_statement = '{what}'");
        sqlx::raw_sql(AssertSqlSafe(alter)).execute(&mut self.conn).await?;
        sqlx::query("SELECT pg_reload_conf()").execute(&mut self.conn).await?;
        Ok(())
    }

    /// What the server sends for a request; `make` makes a new one of the same kind each time,
    /// with what its slots hold. Whatever else is sent meanwhile does not come twice.
    pub async fn statements(
        &mut self,
        server: &Server,
        wanted: u16,
        mut make: impl AsyncFnMut() -> Outcome<(Vec<u8>, Held)>,
    ) -> Outcome<Vec<Statement>> {
        let mut before = Vec::new();
        for _ in 0..200 {
            let (request, held) = make().await?;
            let begin = self.size().await?;
            // What was sent to make the request has reached the log before.
            let begin = begin + i64::try_from(self.read(begin).await?.len())?;
            server.ask(&request, wanted).await;
            let log = self.read(begin).await?;
            let statements = self.sent(&log, &held);
            let shape: Vec<_> = statements.iter().map(Statement::shape).collect();
            if !shape.is_empty() && shape == before && are_whole(&statements) {
                return Ok(statements);
            }
            before = shape;
        }
        Err("no two equal requests sent the same statements".into())
    }

    async fn size(&mut self) -> Outcome<i64> {
        let size = "SELECT (pg_stat_file(pg_current_logfile('jsonlog'))).size";
        let size: Option<i64> = sqlx::query_scalar(size).fetch_one(&mut self.conn).await?;
        size.ok_or_else(|| "PostgreSQL must run with log_destination = jsonlog".into())
    }

    /// The log since `begin`, up to now.
    async fn read(&mut self, begin: i64) -> Outcome<String> {
        // What stands before a line of ours in the log is all that was logged before it.
        self.markers += 1;
        let marker = format!("SELECT 'read up to here: {}'", self.markers);
        sqlx::raw_sql(AssertSqlSafe(marker.clone())).execute(&mut self.conn).await?;
        let end = Instant::now() + Duration::from_secs(10);
        while Instant::now() < end {
            let read = "SELECT pg_read_file(pg_current_logfile('jsonlog'), $1, 100000000)";
            let text: String =
                sqlx::query_scalar(read).bind(begin).fetch_one(&mut self.conn).await?;
            if text.contains(&marker) {
                return Ok(text);
            }
            tokio::time::sleep(Duration::from_millis(5)).await;
        }
        Err("the log does not say what was sent".into())
    }

    /// The statements in `log`, those of one connection together.
    fn sent(&self, log: &str, held: &Held) -> Vec<Statement> {
        let mut by_connection: Vec<(i64, Vec<Statement>)> = Vec::new();
        for line in log.lines().filter_map(|it| serde_json::from_str::<Value>(it).ok()) {
            let pid = line["pid"].as_i64().unwrap_or_default();
            let Some(statement) = statement(&line, held) else { continue };
            if pid == i64::from(self.pid) {
                continue;
            }
            match by_connection.iter_mut().find(|(of, _)| *of == pid) {
                Some((_, statements)) => statements.push(statement),
                None => by_connection.push((pid, vec![statement])),
            }
        }
        by_connection.into_iter().flat_map(|(_, statements)| statements).collect()
    }
}

/// Whether every transaction that was begun is ended: a rollback may come after the answer.
fn are_whole(statements: &[Statement]) -> bool {
    let begins = |words: &[&str]| {
        let is = |it: &&Statement| words.iter().any(|word| it.sql.starts_with(word));
        statements.iter().filter(is).count()
    };
    begins(&["BEGIN"]) == begins(&["COMMIT", "ROLLBACK"])
}

fn statement(line: &Value, held: &Held) -> Option<Statement> {
    let message = line["message"].as_str()?;
    let sql = message.strip_prefix("statement: ").or_else(|| {
        let (_, sql) = message.strip_prefix("execute ")?.split_once(": ")?;
        Some(sql)
    })?;
    let detail = line["detail"].as_str().unwrap_or_default();
    let values = match detail.strip_prefix("parameters: ") {
        Some(values) => parse(values)?,
        None => Vec::new(),
    };
    let parameters = values.into_iter().map(|it| parameter(it, held)).collect();
    Some(Statement { sql: sql.trim().trim_end_matches(';').to_owned(), parameters })
}

fn parameter(value: Option<String>, held: &Held) -> Parameter {
    let Some(value) = value else { return Parameter::Null };
    for (slot, holds) in held {
        if value == *holds {
            return Parameter::One(*slot);
        }
        if value == format!("{{{holds}}}") {
            return Parameter::Array(*slot);
        }
    }
    Parameter::Constant(value)
}

/// Reads `$1 = 'it''s', $2 = NULL`.
fn parse(mut text: &str) -> Option<Vec<Option<String>>> {
    let mut values = Vec::new();
    while !text.is_empty() {
        let (_, rest) = text.split_once(" = ")?;
        if let Some(rest) = rest.strip_prefix("NULL") {
            values.push(None);
            text = rest.strip_prefix(", ").unwrap_or(rest);
            continue;
        }
        let mut value = String::new();
        let mut rest = rest.strip_prefix('\'')?;
        loop {
            let (piece, after) = rest.split_once('\'')?;
            value.push_str(piece);
            match after.strip_prefix('\'') {
                Some(after) => {
                    value.push('\'');
                    rest = after;
                }
                None => {
                    rest = after;
                    break;
                }
            }
        }
        values.push(Some(value));
        text = rest.strip_prefix(", ").unwrap_or(rest);
    }
    Some(values)
}
