//! Wrong passwords in a row, per account and per address.

use chrono::{DateTime, Utc};
use domain::ids::UserId;
use sqlx::PgConnection;

use crate::{StoreError, error::database};

/// What is counted, by its SHA-256.
pub type Subject = [u8; 32];

/// When the last of `subjects` opens, of those on which wrong passwords were counted.
pub async fn open_at(
    conn: &mut PgConnection,
    subjects: &[Subject],
) -> Result<Option<DateTime<Utc>>, StoreError> {
    let subjects: Vec<Vec<u8>> = subjects.iter().map(|it| it.to_vec()).collect();
    sqlx::query_scalar!(
        "SELECT max(open_at) FROM sign_in_throttles WHERE subject_hash = ANY($1)",
        &subjects
    )
    .fetch_one(conn)
    .await
    .map_err(database("look for a throttle"))
}

/// Counts a wrong password on `subject`; returns how many there were in a row. Those before
/// `forgotten` do not count.
pub async fn count(
    conn: &mut PgConnection,
    subject: &Subject,
    now: DateTime<Utc>,
    forgotten: DateTime<Utc>,
) -> Result<i32, StoreError> {
    sqlx::query_scalar!(
        "
        INSERT INTO sign_in_throttles AS t (subject_hash, failures, failed_at, open_at)
        VALUES ($1, 1, $2, $2)
        ON CONFLICT (subject_hash) DO UPDATE
        SET failures = CASE WHEN t.failed_at < $3 THEN 1 ELSE t.failures + 1 END, failed_at = $2
        RETURNING failures
        ",
        subject.as_slice(),
        now,
        forgotten
    )
    .fetch_one(conn)
    .await
    .map_err(database("count a wrong password"))
}

/// Closes `subject` until `open_at`.
pub async fn close(
    conn: &mut PgConnection,
    subject: &Subject,
    open_at: DateTime<Utc>,
) -> Result<(), StoreError> {
    sqlx::query!(
        "UPDATE sign_in_throttles SET open_at = $2 WHERE subject_hash = $1",
        subject.as_slice(),
        open_at
    )
    .execute(conn)
    .await
    .map_err(database("close a throttle"))?;
    Ok(())
}

/// Forgets the wrong passwords of `subject`.
pub async fn forget(conn: &mut PgConnection, subject: &Subject) -> Result<(), StoreError> {
    sqlx::query!("DELETE FROM sign_in_throttles WHERE subject_hash = $1", subject.as_slice())
        .execute(conn)
        .await
        .map_err(database("forget wrong passwords"))?;
    Ok(())
}

/// Forgets those that nobody added to since `before`; returns how many.
pub async fn prune(conn: &mut PgConnection, before: DateTime<Utc>) -> Result<u64, StoreError> {
    let done = sqlx::query!("DELETE FROM sign_in_throttles WHERE failed_at < $1", before)
        .execute(conn)
        .await
        .map_err(database("forget old wrong passwords"))?;
    Ok(done.rows_affected())
}

/// When `user` was last remembered at the address of that hash; none if never.
pub async fn known_since(
    conn: &mut PgConnection,
    user: UserId,
    address: &Subject,
) -> Result<Option<DateTime<Utc>>, StoreError> {
    sqlx::query_scalar!(
        "SELECT seen_at FROM known_addresses WHERE user_id = $1 AND address_hash = $2",
        user.0,
        address.as_slice()
    )
    .fetch_optional(conn)
    .await
    .map_err(database("look for a known address"))
}

/// Remembers that `user` has signed in from the address of that hash.
pub async fn remember_address(
    conn: &mut PgConnection,
    user: UserId,
    address: &Subject,
    now: DateTime<Utc>,
) -> Result<(), StoreError> {
    sqlx::query!(
        "
        INSERT INTO known_addresses (user_id, address_hash, seen_at) VALUES ($1, $2, $3)
        ON CONFLICT (user_id, address_hash) DO UPDATE SET seen_at = $3
        ",
        user.0,
        address.as_slice(),
        now
    )
    .execute(conn)
    .await
    .map_err(database("remember an address"))?;
    Ok(())
}

/// Forgets addresses that were not signed in from since `before`.
pub async fn prune_addresses(
    conn: &mut PgConnection,
    before: DateTime<Utc>,
) -> Result<u64, StoreError> {
    let done = sqlx::query!("DELETE FROM known_addresses WHERE seen_at < $1", before)
        .execute(conn)
        .await
        .map_err(database("forget addresses"))?;
    Ok(done.rows_affected())
}
