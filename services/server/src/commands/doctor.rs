//! `jointward doctor`.

use std::{path::Path, process::ExitCode};

use chrono::{DateTime, TimeDelta, Utc};
use sqlx::Row;
use store::{PgPool, Role};

use crate::{
    cli::Place,
    database::{self, Database, data_dir},
    terminal,
};

/// Below it PostgreSQL may stop in the middle of a write.
const LEAST_FREE_BYTES: u64 = 1 << 30;

/// The oldest PostgreSQL, as it counts its versions.
const OLDEST_POSTGRESQL: i32 = 150_000;

/// Tokens and facts are judged by clocks; those of the machine and of the database must agree.
const CLOCKS_APART: TimeDelta = TimeDelta::seconds(5);

/// What was looked at: what it is, whether it is right, and what was found.
type Finding = (&'static str, bool, String);

/// Looks over the machine and the database; exit code 1 if something is wrong.
pub async fn run(place: &Place) -> anyhow::Result<ExitCode> {
    let mut found = vec![programs(place)?];
    found.extend(room(place)?);
    match Database::open(place).await {
        Ok(database) => {
            found.extend(of_database(&database).await);
            database.close().await?;
        }
        Err(error) => found.push(("database", false, format!("{error:#}"))),
    }
    let lines = found.iter().map(|(what, right, said)| {
        format!("{} {what}: {said}\n", if *right { "ok   " } else { "WRONG" })
    });
    terminal::show(&lines.collect::<String>())?;
    let all = found.iter().all(|(_, right, _)| *right);
    Ok(if all { ExitCode::SUCCESS } else { ExitCode::FAILURE })
}

fn programs(place: &Place) -> anyhow::Result<Finding> {
    let what = "PostgreSQL programs";
    if database::given(place)?.is_some() {
        return Ok((what, true, "not needed, a database is named".to_owned()));
    }
    Ok(match cluster::installed().first() {
        Some(it) => (what, true, format!("version {} in {}", it.major, it.bin_dir.display())),
        None => (what, false, "none of version 15 or newer; install postgresql".to_owned()),
    })
}

fn room(place: &Place) -> anyhow::Result<Option<Finding>> {
    if database::given(place)?.is_some() {
        return Ok(None);
    }
    let dir = data_dir(place)?;
    let existing = dir.ancestors().find(|it| it.exists()).unwrap_or(Path::new("/"));
    let stat = rustix::fs::statvfs(existing)?;
    let free = stat.f_bavail.saturating_mul(stat.f_frsize);
    let said = format!("{} MiB free in {}", free >> 20, existing.display());
    Ok(Some(("room for the data", free >= LEAST_FREE_BYTES, said)))
}

async fn of_database(database: &Database) -> Vec<Finding> {
    let mut found = Vec::new();
    let owner = database.owner();
    match sqlx::query(
        "SELECT current_setting('server_version_num')::int4, version(), clock_timestamp()",
    )
    .fetch_one(owner)
    .await
    {
        Ok(row) => {
            let (number, version): (i32, String) = (row.get(0), row.get(1));
            let version = version.split(" on ").next().unwrap_or_default().to_owned();
            found.push(("database", number >= OLDEST_POSTGRESQL, version));
            found.push(clocks(row.get(2)));
        }
        Err(error) => found.push(("database", false, error.to_string())),
    }
    found.push(schema(owner).await);
    for (what, role) in [
        ("role of the application", Role::Application),
        ("role of the worker", Role::Worker),
        ("role of readers", Role::Reader),
    ] {
        found.push(match database.connect(role, 1).await {
            Ok(pool) => {
                pool.close().await;
                (what, true, "can be taken".to_owned())
            }
            Err(error) => (what, false, format!("{error:#}")),
        });
    }
    found
}

fn clocks(theirs: DateTime<Utc>) -> Finding {
    #[expect(clippy::disallowed_methods, reason = "the clock of the machine is what is looked at")]
    let apart = Utc::now() - theirs;
    let said = format!("{} ms apart", apart.num_milliseconds());
    ("clocks of machine and database", apart.abs() <= CLOCKS_APART, said)
}

async fn schema(owner: &PgPool) -> Finding {
    let applied =
        sqlx::query_scalar::<_, i64>("SELECT count(*) FROM _sqlx_migrations WHERE success");
    let known = store::MIGRATOR.iter().count();
    match applied.fetch_one(owner).await {
        Ok(applied) if usize::try_from(applied).is_ok_and(|it| it == known) => {
            ("schema", true, format!("up to date, {known} migrations"))
        }
        Ok(applied) => {
            let said = format!("{applied} of {known} migrations; run `jointward migrate`");
            ("schema", false, said)
        }
        Err(_) => ("schema", false, "there is none; run `jointward migrate`".to_owned()),
    }
}
