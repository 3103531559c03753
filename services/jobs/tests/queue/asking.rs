//! Asking for jobs.

use jobs::{enqueue, enqueue_unique};

use crate::support::{Work, database, start, succeed};

const JOBS: &str = "SELECT count(*) FROM apalis.jobs";

#[tokio::test]
async fn migrating_twice_is_harmless() {
    let db = database().await;
    jobs::migrate(&db.pool).await.unwrap();
}

#[tokio::test]
async fn a_job_exists_if_its_transaction_is_committed() {
    let db = database().await;

    let mut tx = db.pool.begin().await.unwrap();
    enqueue(&mut tx, &Work::default()).await.unwrap();
    tx.rollback().await.unwrap();
    assert_eq!(db.count(JOBS).await, 0);

    let mut tx = db.pool.begin().await.unwrap();
    enqueue(&mut tx, &Work::default()).await.unwrap();
    assert_eq!(db.count(JOBS).await, 0);
    tx.commit().await.unwrap();
    assert_eq!(db.count(JOBS).await, 1);
}

#[tokio::test]
async fn a_key_that_is_taken_does_not_end_the_transaction() {
    let db = database().await;
    let mut tx = db.pool.begin().await.unwrap();

    assert!(enqueue_unique(&mut tx, "once", &Work::default()).await.unwrap());
    assert!(!enqueue_unique(&mut tx, "once", &Work::default()).await.unwrap());
    assert!(enqueue_unique(&mut tx, "other", &Work::default()).await.unwrap());
    tx.commit().await.unwrap();

    assert_eq!(db.count(JOBS).await, 2);
}

#[tokio::test]
async fn a_key_stays_taken_when_the_job_is_done() {
    let db = database().await;
    let mut conn = db.pool.acquire().await.unwrap();
    assert!(enqueue_unique(&mut conn, "once", &Work::default()).await.unwrap());
    let id: String =
        sqlx::query_scalar("SELECT id FROM apalis.jobs").fetch_one(&db.pool).await.unwrap();

    let running = start(db.runner().register(succeed));
    db.until_status(&id, "Done").await;
    running.stop().await;

    assert!(!enqueue_unique(&mut conn, "once", &Work::default()).await.unwrap());
}
