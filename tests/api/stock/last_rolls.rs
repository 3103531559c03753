//! Sixteen people reach for the last roll at the same moment.

use app::{
    Actor, App, AppError,
    projects::ProjectEntry,
    stock::{IssueOrder, Move, MoveOrder},
};
use domain::{
    ids::MovementId,
    stock::{MovementKind, Quantity},
};
use serde_json::json;

use super::{Site, id};

/// Rounds in an ordinary run; `JOINTWARD_LAST_ROLLS` asks for another number.
const ROUNDS: u32 = 40;

/// People at once.
const PEOPLE: u32 = 16;

#[derive(Clone)]
struct Hand {
    app: App,
    actor: Actor,
    entry: ProjectEntry,
}

impl Hand {
    /// Takes the last unit of `lot`: by turns as an issue of the material, an issue of the lot,
    /// a transfer, or as scrap.
    async fn reaches(self, lot: String, turn: u32) -> Result<(), AppError> {
        let Self { app, actor, entry } = self;
        let (now, quantity) = (app.clock.now(), Quantity::from_number(1.0).unwrap());
        let (id, asked) = (MovementId(id(now)), json!({ "turn": turn }));
        let issue = |material: Option<&str>, lot: Option<String>| IssueOrder {
            id,
            material: material.map(str::to_owned),
            lot,
            quantity,
            from: "YARD".to_owned(),
            to: "CREW-A1".to_owned(),
            reason: Some("at once".to_owned()),
            occurred_at: now,
            asked: asked.clone(),
        };
        let moved = |kind, to: &str| MoveOrder {
            id,
            what: Move {
                kind,
                lot: lot.clone(),
                quantity,
                from: "YARD".to_owned(),
                to: to.to_owned(),
                delivery: None,
                new_lot: None,
            },
            reason: Some("at once".to_owned()),
            occurred_at: now,
            asked: asked.clone(),
        };
        let done = match turn % 4 {
            0 => {
                let order = issue(Some("INNER"), None);
                app::stock::issue(&app, &actor, &entry, &order).await
            }
            1 => {
                let order = issue(None, Some(lot.clone()));
                app::stock::issue(&app, &actor, &entry, &order).await
            }
            2 => {
                let order = moved(MovementKind::Transfer, "BOX");
                app::stock::record_movement(&app, &actor, &entry, &order).await
            }
            _ => {
                let order = moved(MovementKind::Scrap, "scrap");
                app::stock::record_movement(&app, &actor, &entry, &order).await
            }
        };
        done.map(|_| ())
    }
}

/// What a loser was told is left.
fn left(error: &AppError) -> f64 {
    match error {
        AppError::NotEnough { left, .. } => *left,
        AppError::Refused { code: "ISSUE_REFUSED", blocking, .. } => {
            let conditions = blocking.as_array().unwrap();
            let short = conditions.iter().find(|it| it["code"] == "NOT_ENOUGH").unwrap();
            short["left"].as_f64().unwrap()
        }
        other => panic!("neither moved nor told what is left: {other:?}"),
    }
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn exactly_one_gets_the_last_roll_and_the_others_hear_what_is_left() {
    let rounds = std::env::var("JOINTWARD_LAST_ROLLS").ok().and_then(|it| it.parse().ok());
    let rounds = rounds.unwrap_or(ROUNDS);
    let site = Site::new().await;
    let person = &site.line.materials;
    let (actor, entry) = (person.actor().await, person.entry().await);
    let hand = Hand { app: site.line.app.app.clone(), actor, entry };
    let started = std::time::Instant::now();
    let (mut won, mut told) = (0, 0);
    let mut winners = [0_u32; 4];
    for round in 0..rounds {
        // By turns one lot that everybody has asked for before, and one that nobody has.
        let lot = if round % 2 == 0 { "L-SOON" } else { "L-LATER" };
        site.receives(lot, 1.0, "YARD").await;
        let reaching = (0..PEOPLE)
            .map(|person| tokio::spawn(hand.clone().reaches(lot.to_owned(), person + round)));
        let reaching: Vec<_> = reaching.collect();
        let mut first = 0;
        for (person, reached) in (0..PEOPLE).zip(reaching) {
            match reached.await.unwrap() {
                Ok(()) => {
                    first += 1;
                    winners[((person + round) % 4) as usize] += 1;
                }
                Err(error) => {
                    assert_eq!(left(&error), 0.0, "round {round}");
                    told += 1;
                }
            }
        }
        assert_eq!(first, 1, "round {round}");
        won += first;
        assert_eq!(site.holds("YARD", lot).await, 0.0, "round {round}");
    }
    let took = started.elapsed();
    println!("{rounds} rounds of {PEOPLE} in {took:.1?}: {won} got it, {told} were told 0 is left");
    println!("by material, by lot, by transfer, by scrap: {winners:?}");
    let count = async |statement| site.line.app.count(statement).await;
    let negative = "SELECT count(*) FROM stock_balances WHERE physical AND quantity < 0";
    assert_eq!(count(negative).await, 0);
    let moved = "SELECT count(*) FROM stock_movements WHERE kind <> 'receive'";
    assert_eq!(count(moved).await, i64::from(rounds));
    let wrong = "
        SELECT count(*) FROM stock_balances b
         WHERE b.quantity <> (
            SELECT coalesce(sum(CASE WHEN m.to_location = b.location THEN m.quantity
                                     ELSE -m.quantity END), 0)
              FROM stock_movements m
             WHERE m.project_id = b.project_id AND m.lot = b.lot
               AND b.location IN (m.from_location, m.to_location))";
    assert_eq!(count(wrong).await, 0, "every balance is the sum of its movements");
}

/// Somebody whose signal comes and goes sends one and the same issue again and again.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn one_issue_sent_by_sixteen_at_once_is_one_issue() {
    let site = Site::new().await;
    let person = &site.line.materials;
    let (actor, entry) = (person.actor().await, person.entry().await);
    for round in 0..10 {
        site.receives("L-SOON", 1.0, "YARD").await;
        let now = site.now();
        let order = IssueOrder {
            id: MovementId(id(now)),
            material: Some("INNER".to_owned()),
            lot: None,
            quantity: Quantity::from_number(1.0).unwrap(),
            from: "YARD".to_owned(),
            to: "CREW-A1".to_owned(),
            reason: None,
            occurred_at: now,
            asked: json!({ "round": round }),
        };
        let sending = (0..PEOPLE).map(|_| {
            let (app, actor, entry) = (site.line.app.app.clone(), actor.clone(), entry.clone());
            let order = order.clone();
            tokio::spawn(async move { app::stock::issue(&app, &actor, &entry, &order).await })
        });
        let sending: Vec<_> = sending.collect();
        let mut new = 0;
        for sent in sending {
            let recorded = sent.await.unwrap().unwrap();
            assert_eq!(recorded.movements[0].id, order.id);
            new += u32::from(!recorded.repeated);
        }
        assert_eq!(new, 1, "round {round}");
    }
    let moved = "SELECT count(*) FROM stock_movements WHERE kind = 'issue'";
    assert_eq!(site.line.app.count(moved).await, 10);
}

/// Goods go back and forth between two places in both directions at once: nobody waits for
/// somebody who waits for them.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn transfers_in_both_directions_do_not_block_each_other() {
    let site = Site::new().await;
    let person = &site.line.materials;
    let (actor, entry) = (person.actor().await, person.entry().await);
    let hand = Hand { app: site.line.app.app.clone(), actor, entry };
    for lot in ["L-SOON", "L-LATER"] {
        site.receives(lot, 100.0, "YARD").await;
        site.receives(lot, 100.0, "BOX").await;
    }
    let moving = (0..80_u32).map(|turn| {
        let Hand { app, actor, entry } = hand.clone();
        let lot = if turn % 4 < 2 { "L-SOON" } else { "L-LATER" };
        let (from, to) = if turn % 2 == 0 { ("YARD", "BOX") } else { ("BOX", "YARD") };
        let now = app.clock.now();
        let order = MoveOrder {
            id: MovementId(id(now)),
            what: Move {
                kind: MovementKind::Transfer,
                lot: lot.to_owned(),
                quantity: Quantity::from_number(1.0).unwrap(),
                from: from.to_owned(),
                to: to.to_owned(),
                delivery: None,
                new_lot: None,
            },
            reason: None,
            occurred_at: now,
            asked: json!({ "turn": turn }),
        };
        tokio::spawn(async move { app::stock::record_movement(&app, &actor, &entry, &order).await })
    });
    let moving: Vec<_> = moving.collect();
    for moved in moving {
        moved.await.unwrap().unwrap();
    }
    for lot in ["L-SOON", "L-LATER"] {
        assert_eq!(site.holds("YARD", lot).await, 100.0);
    }
}
