//! What the database itself refuses, also to hand-written SQL in the application's own role.

use domain::{
    ids::MovementId,
    stock::{MovementKind, NewMovement, Quantity},
};
use store::{Scope, stock_movements::Recording};

use super::{Site, id};

const INSERT: &str = "
    INSERT INTO stock_movements (project_id, id, kind, lot, quantity, from_location, to_location,
                                 occurred_at, recorded_at, ask_id)
    SELECT current_setting('app.project_id')::uuid, gen_random_uuid(), $1, 'L-SOON',
           $2::text::numeric, $3, $4, now(), now(), gen_random_uuid()";

/// Inserts a movement by hand; the constraint that refused it.
async fn insert(site: &Site, kind: &str, quantity: &str, from: &str, to: &str) -> Option<String> {
    let scope = Scope { project: Some(site.line.project), user: None };
    let mut tx = store::begin(&site.line.app.database.application, scope).await.unwrap();
    let insert = sqlx::query(INSERT).bind(kind).bind(quantity).bind(from).bind(to);
    match insert.execute(&mut *tx).await {
        Ok(_) => {
            store::commit(tx).await.unwrap();
            None
        }
        Err(error) => {
            let refused = error.as_database_error().unwrap();
            Some(refused.constraint().unwrap_or("none").to_owned())
        }
    }
}

#[actix_web::test]
async fn no_hand_brings_a_location_under_zero() {
    let site = Site::new().await;
    site.receives("L-SOON", 10.0, "YARD").await;
    let under_zero = Some("stock_balances_quantity_check".to_owned());
    assert_eq!(insert(&site, "transfer", "10.001", "YARD", "BOX").await, under_zero);
    assert_eq!(insert(&site, "consume", "0.001", "CREW-A1", "joint").await, under_zero);
    assert_eq!(insert(&site, "scrap", "1", "anywhere", "scrap").await, under_zero);
    assert_eq!(site.holds("YARD", "L-SOON").await, 10.0);
    assert_eq!(insert(&site, "transfer", "10", "YARD", "BOX").await, None);
    assert_eq!(insert(&site, "consume", "3", "unrecorded", "joint").await, None);
    assert_eq!(site.holds("BOX", "L-SOON").await, 10.0);
    assert_eq!(site.holds("unrecorded", "L-SOON").await, -3.0);
}

#[actix_web::test]
async fn no_hand_makes_stock_out_of_nothing() {
    let site = Site::new().await;
    let places = Some("stock_movements_kind_places_check".to_owned());
    assert_eq!(insert(&site, "transfer", "1", "supplier", "YARD").await, places);
    assert_eq!(insert(&site, "issue", "1", "adjustment", "YARD").await, places);
    assert_eq!(insert(&site, "receive", "1", "scrap", "YARD").await, places);
    let quantity = Some("stock_movements_quantity_check".to_owned());
    assert_eq!(insert(&site, "receive", "-1", "supplier", "YARD").await, quantity);
    assert_eq!(insert(&site, "receive", "0", "supplier", "YARD").await, quantity);
    let reverse = Some("stock_movements_reverses_check".to_owned());
    assert_eq!(insert(&site, "reverse", "1", "supplier", "YARD").await, reverse);
    assert_eq!(site.line.app.count("SELECT count(*) FROM stock_movements").await, 0);
}

#[actix_web::test]
async fn movements_and_balances_are_nobodys_to_change() {
    let site = Site::new().await;
    site.receives("L-SOON", 10.0, "YARD").await;
    for (statement, as_owner) in [
        ("UPDATE stock_movements SET quantity = 1", "23001"),
        ("DELETE FROM stock_movements", "23001"),
        ("TRUNCATE stock_movements", "23001"),
        ("UPDATE stock_balances SET quantity = -1 WHERE physical", "23514"),
        ("UPDATE stock_balances SET physical = false", "428C9"),
    ] {
        let scope = Scope { project: Some(site.line.project), user: None };
        let mut tx = store::begin(&site.line.app.database.application, scope).await.unwrap();
        let error = sqlx::query(statement).execute(&mut *tx).await.unwrap_err();
        let code = error.as_database_error().unwrap().code().unwrap().into_owned();
        assert!(["42501", "428C9"].contains(&code.as_str()), "{statement}: {error}");
        // Not even whoever owns the tables.
        let mut tx = store::begin(&site.line.app.database.pool, scope).await.unwrap();
        let error = sqlx::query(statement).execute(&mut *tx).await.unwrap_err();
        let code = error.as_database_error().unwrap().code().unwrap().into_owned();
        assert_eq!(code, as_owner, "{statement}: {error}");
    }
    assert_eq!(site.holds("YARD", "L-SOON").await, 10.0);
}

/// Past every lock and decision, what the database refuses still says what is left.
#[actix_web::test]
async fn the_refusal_of_the_database_says_what_is_left() {
    let site = Site::new().await;
    site.receives("L-SOON", 10.0, "YARD").await;
    let quantity = Quantity::from_number(11.5).unwrap();
    let movement = NewMovement::plain(
        (MovementId(id(site.now())), MovementKind::Transfer),
        ("L-SOON", quantity),
        ("YARD", "BOX"),
        site.now(),
    );
    let scope = Scope { project: Some(site.line.project), user: None };
    let mut tx = store::begin(&site.line.app.database.application, scope).await.unwrap();
    let recording = Recording { by: None, at: site.now(), asked: None };
    let project = site.line.project;
    let error = store::stock_movements::append(&mut tx, project, recording, &[movement]).await;
    let shortage = store::stock_movements::shortage_in(&error.unwrap_err()).unwrap();
    assert_eq!((shortage.location.as_str(), shortage.lot.as_str()), ("YARD", "L-SOON"));
    assert_eq!(shortage.left.to_string().parse(), Ok(10.0));
    assert_eq!(shortage.wanted.to_string().parse(), Ok(11.5));
}

#[actix_web::test]
async fn one_project_does_not_lock_what_another_holds() {
    let site = Site::new().await;
    site.receives("L-SOON", 10.0, "YARD").await;
    let other = sqlx::query_scalar("SELECT id FROM projects WHERE code = 'SOUTH'");
    let other: uuid::Uuid = other.fetch_one(&site.line.app.database.pool).await.unwrap();
    let scope = Scope { project: Some(domain::ids::ProjectId(other)), user: None };
    let mut tx = store::begin(&site.line.app.database.application, scope).await.unwrap();
    let pairs = [("YARD".to_owned(), "L-SOON".to_owned())];
    let held = store::stock_balances::lock(&mut tx, pairs).await.unwrap();
    assert!(held.is_empty());
}
