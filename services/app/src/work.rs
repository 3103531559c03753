//! Commits that wait for the answer.
//!
//! A request with an `Idempotency-Key` must leave its effect and its answer together or not at
//! all, but the answer is made after the use case has done its last step. So while such a request
//! is served, [`App::commit`](crate::App::commit) puts the transaction aside instead, and whoever
//! serves the request adds the answer and commits both.

use std::cell::RefCell;

use store::Tx;

tokio::task_local! {
    static ASIDE: RefCell<Option<Tx>>;
}

/// Runs `work`; the transaction that it would have committed last comes back open.
pub async fn put_aside<T>(work: impl Future<Output = T>) -> (T, Option<Tx>) {
    ASIDE
        .scope(RefCell::new(None), async {
            let done = work.await;
            (done, take())
        })
        .await
}

/// Puts `tx` aside if this request wants that, or gives it back to be committed.
pub(crate) fn keep(tx: Tx) -> Option<Tx> {
    let mut tx = Some(tx);
    // Outside of a request there is nobody to commit later.
    let _ = ASIDE.try_with(|aside| *aside.borrow_mut() = tx.take());
    tx
}

/// What was put aside by an earlier step of the same request.
pub(crate) fn take() -> Option<Tx> {
    ASIDE.try_with(|aside| aside.borrow_mut().take()).ok().flatten()
}
