//! The one way by which stock moves.

use chrono::{DateTime, Utc};
use domain::{
    ids::{ProjectId, UserId},
    stock::{Balances, NewMovement, Shortage, changes, number, shortages},
};
use serde_json::{Value, json};
use store::{
    PgConnection, StoreError,
    stock_movements::{Recording, StoredMovement},
};
use uuid::Uuid;

use crate::AppError;

/// Who records, where and when.
#[derive(Debug, Clone, Copy)]
pub struct Stamp {
    /// Project; the transaction must have named it.
    pub project: ProjectId,
    /// Who; none if the server itself does.
    pub by: Option<UserId>,
    /// Now.
    pub now: DateTime<Utc>,
}

/// Locks what pairs of location and lot hold, in that order, and reads it; a pair that is missing
/// in the answer holds nothing. Whoever is to decide on balances holds these locks.
pub async fn lock_balances(
    conn: &mut PgConnection,
    pairs: impl IntoIterator<Item = (String, String)>,
) -> Result<Balances, AppError> {
    Ok(store::stock_balances::lock(conn, pairs).await?)
}

/// Records movements inside the caller's transaction: locks the balances in order, refuses what
/// would bring a physical place under zero (`NOT_ENOUGH`), and adds the movements.
///
/// Places and lots are not checked here: they come from the set-up.
pub async fn post(
    conn: &mut PgConnection,
    stamp: Stamp,
    movements: &[NewMovement],
) -> Result<Vec<StoredMovement>, AppError> {
    post_asked(conn, stamp, None, movements).await
}

/// The same for a request that may be sent again: its id and what it said.
pub(super) async fn post_asked(
    conn: &mut PgConnection,
    stamp: Stamp,
    asked: Option<(Uuid, &Value)>,
    movements: &[NewMovement],
) -> Result<Vec<StoredMovement>, AppError> {
    if movements.is_empty() {
        return Ok(Vec::new());
    }
    let held = lock_balances(conn, changes(movements).into_keys()).await?;
    let short = shortages(&held, movements);
    if !short.is_empty() {
        // Whoever was faster may have been the very same request.
        let same = match asked {
            Some((id, _)) => store::stock_movements::of_ask(conn, stamp.project, id).await?,
            None => Vec::new(),
        };
        return Err(if same.is_empty() { not_enough(&short) } else { AppError::Contended });
    }
    let recording = Recording { by: stamp.by, at: stamp.now, asked };
    let stored = store::stock_movements::append(conn, stamp.project, recording, movements).await;
    let stored = stored.map_err(refused)?;
    crate::jobs::stock_check_soon(conn, stamp.project, stamp.now).await?;
    Ok(stored)
}

/// What a refusal of the database itself means to the caller.
fn refused(error: StoreError) -> AppError {
    if let Some(shortage) = store::stock_movements::shortage_in(&error) {
        return not_enough(&[shortage]);
    }
    match error.constraint() {
        // Somebody has sent the same at the same time; done again, it is a repetition.
        Some("stock_movements_key") => AppError::Contended,
        Some("stock_movements_reverses_key") => reversed_already(),
        _ => error.into(),
    }
}

/// The movement was reversed before.
pub(super) fn reversed_already() -> AppError {
    AppError::Conflict {
        code: "REVERSED_ALREADY",
        detail: "this movement is reversed already: a movement is reversed once".to_owned(),
    }
}

/// 409: what is left is said for every place.
fn not_enough(short: &[Shortage]) -> AppError {
    let sentence = |it: &Shortage| {
        let (left, wanted) = (it.left.normalize(), it.wanted.normalize());
        format!("{} has {left} of lot {} left, and {wanted} are to leave it", it.location, it.lot)
    };
    let conditions = short.iter().map(|it| {
        json!({
            "code": "NOT_ENOUGH",
            "detail": sentence(it),
            "location": it.location,
            "lot": it.lot,
            "left": number(it.left),
        })
    });
    let left = short.first().map(|it| number(it.left)).unwrap_or_default();
    let detail = short.iter().map(sentence).collect::<Vec<_>>().join("; ");
    AppError::NotEnough { detail, left, blocking: conditions.collect() }
}
