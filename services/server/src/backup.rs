//! What a backup consists of: a dump by PostgreSQL's own program, and a manifest beside it.

use std::{
    ffi::OsString,
    fs::File,
    io::{self, Read},
    path::{Path, PathBuf},
};

use anyhow::{Context, bail};
use chrono::{DateTime, NaiveDate, Utc};
use serde::{Deserialize, Serialize};
use sha2::{Digest, Sha256};
use sqlx::{PgConnection, Row};
use tokio::process::Command;
use url::Url;

/// What is known of a backup.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Manifest {
    /// Version of the program that made it.
    pub program: String,
    /// The moment of which it is a copy.
    pub taken_at: DateTime<Utc>,
    /// Version of PostgreSQL.
    pub postgresql: String,
    /// The newest migration of the schema.
    pub schema: i64,
    /// Size of the file.
    pub bytes: u64,
    /// SHA-256 of the file, hexadecimal.
    pub sha256: String,
    /// The projects in it.
    pub projects: Vec<Project>,
}

/// A project in a backup.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Project {
    /// Id.
    pub id: String,
    /// Code.
    pub code: String,
    /// Joints.
    pub joints: i64,
    /// Records on them.
    pub facts: i64,
    /// Its newest checkpoint.
    pub checkpoint: Option<Checkpoint>,
}

/// A checkpoint in a backup.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Checkpoint {
    /// Its number.
    pub number: i64,
    /// Its day.
    pub day: NaiveDate,
    /// Its hash, hexadecimal.
    pub hash: String,
}

/// Where the manifest of the backup `file` lies.
pub fn manifest_path(file: &Path) -> PathBuf {
    let mut name = file.file_name().map(OsString::from).unwrap_or_default();
    name.push(".manifest.json");
    file.with_file_name(name)
}

/// Every project that `conn` sees, past the row policies.
pub async fn projects(conn: &mut PgConnection) -> Result<Vec<Project>, sqlx::Error> {
    let rows = sqlx::query(
        "SELECT p.id::text, p.code,
                (SELECT count(*) FROM joints j WHERE j.project_id = p.id) AS joints,
                (SELECT count(*) FROM facts f WHERE f.project_id = p.id) AS facts,
                c.number, c.day, encode(c.hash, 'hex') AS hash
           FROM projects p
           LEFT JOIN LATERAL (SELECT number, day, hash FROM checkpoints c
                               WHERE c.project_id = p.id ORDER BY number DESC LIMIT 1) c ON true
          ORDER BY p.code",
    )
    .fetch_all(conn)
    .await?;
    rows.iter()
        .map(|row| {
            let number: Option<i64> = row.try_get("number")?;
            let checkpoint = match number {
                None => None,
                Some(number) => Some(Checkpoint {
                    number,
                    day: row.try_get("day")?,
                    hash: row.try_get("hash")?,
                }),
            };
            Ok(Project {
                id: row.try_get("id")?,
                code: row.try_get("code")?,
                joints: row.try_get("joints")?,
                facts: row.try_get("facts")?,
                checkpoint,
            })
        })
        .collect()
}

/// Size and SHA-256 of a file.
pub fn sums(path: &Path) -> io::Result<(u64, String)> {
    let mut file = File::open(path)?;
    let (mut hash, mut bytes, mut buffer) = (Sha256::new(), 0, vec![0; 1 << 16]);
    loop {
        let read = file.read(&mut buffer)?;
        if read == 0 {
            return Ok((bytes, format!("{:x}", hash.finalize())));
        }
        hash.update(&buffer[..read]);
        bytes += read as u64;
    }
}

/// One of PostgreSQL's own programs, told of the database at `url`.
///
/// The password goes by the environment: what stands on a command line can be seen by everybody on
/// the machine.
pub fn program(name: &str, url: &str) -> anyhow::Result<Command> {
    let mut url: Url = url.parse().context("the database URL cannot be read")?;
    let password = url.password().map(str::to_owned);
    // Only a URL that cannot have a password refuses to lose it.
    let _ = url.set_password(None);
    let installed = cluster::installed();
    let found = installed.iter().map(|it| it.bin_dir.join(name)).find(|it| it.is_file());
    let mut command = Command::new(found.unwrap_or_else(|| PathBuf::from(name)));
    command.arg(format!("--dbname={url}")).kill_on_drop(true);
    if let Some(password) = password {
        let decoded =
            url::form_urlencoded::parse(format!("p={}", password.replace('+', "%2B")).as_bytes())
                .next()
                .map(|(_, value)| value.into_owned());
        command.env("PGPASSWORD", decoded.unwrap_or(password));
    }
    Ok(command)
}

/// Runs one of PostgreSQL's programs to its end.
pub async fn done(mut command: Command, what: &str) -> anyhow::Result<()> {
    let ended = command.output().await.with_context(|| format!("could not start {what}"))?;
    if !ended.status.success() {
        let said = String::from_utf8_lossy(&ended.stderr);
        bail!("{what} failed: {}", said.trim());
    }
    Ok(())
}
