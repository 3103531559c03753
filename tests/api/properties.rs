//! What holds for any facts in any order.

use domain::joints::{Fact as Recorded, JointState};
use harness::{
    Fact, Line,
    app::codes,
    fact::{
        backfilled, damage_found, failed_test, lowered, passed_test, prepared, primed, repaired,
        weld_accepted, welded, wrapped_inner, wrapped_outer,
    },
};
use proptest::{
    collection::vec,
    prelude::*,
    test_runner::{Config, TestRunner},
};
use serde_json::{Value, json};

const MAKERS: [fn(i64) -> Fact; 13] = [
    welded,
    weld_accepted,
    prepared,
    primed,
    wrapped_inner,
    wrapped_outer,
    passed_test,
    failed_test,
    damage_found,
    repaired,
    lowered,
    backfilled,
    |at| Fact::new("excavated", at, json!({})),
];

/// What happens: a kind, the minute, and which earlier one of the list it corrects, if any.
type Plan = Vec<(usize, i64, Option<usize>)>;

fn plans() -> impl Strategy<Value = Plan> {
    let correction = prop::option::weighted(0.15, 0..20_usize);
    let step = (0..MAKERS.len(), 0..500_i64, correction);
    vec(step, 1..20).prop_map(|mut plan| {
        // No two at one time: there the ids decide, and each joint has its own.
        for (place, (_, at, _)) in (0_i64..).zip(&mut plan) {
            *at = *at / 20 * 20 + place;
        }
        plan
    })
}

fn facts(plan: &Plan) -> Vec<Fact> {
    let mut facts: Vec<Fact> = Vec::new();
    for (kind, at, corrects) in plan {
        let fact = MAKERS[*kind](*at);
        let wrong = corrects.and_then(|place| facts.get(place)).cloned();
        facts.push(match wrong {
            Some(wrong) => fact.instead_of(&wrong),
            None => fact,
        });
    }
    facts
}

/// Runs `check` on joints of one line, with two new joints each time.
fn for_any<T: std::fmt::Debug>(
    cases: u32,
    strategy: &impl Strategy<Value = T>,
    check: &impl AsyncFn(&Line, &[String], T),
) {
    let runtime = actix_web::rt::Runtime::new().unwrap();
    let line = runtime.block_on(Line::new());
    let count = std::cell::Cell::new(0);
    let config = Config { cases, failure_persistence: None, ..Config::default() };
    let result = TestRunner::new(config).run(strategy, |value| {
        let number = count.replace(count.get() + 1);
        runtime.block_on(async {
            let joints = line.adds_joints("S1", &format!("P{number}"), 2).await;
            check(&line, &joints, value).await;
        });
        Ok(())
    });
    result.unwrap();
}

async fn fold_of_stored(line: &Line, joint: &str) -> (JointState, JointState) {
    let mut conn = store::acquire(&line.app.database.pool).await.unwrap();
    let stored = store::joints::find(&mut conn, line.project, joint).await.unwrap().unwrap();
    let facts = store::facts::of_joint(&mut conn, line.project, stored.id).await.unwrap();
    let facts: Vec<Recorded> = facts.iter().map(|it| it.record().unwrap().to_fact()).collect();
    (stored.state, JointState::fold(&facts))
}

#[test]
fn the_stored_state_is_the_fold_of_the_stored_facts() {
    for_any(24, &plans(), &async |line, joints, plan| {
        for fact in facts(&plan) {
            line.inspector.records(&joints[0], &fact).await.expect(201);
            line.qa.releases(&joints[0]).await;
        }
        let (stored, folded) = fold_of_stored(line, &joints[0]).await;
        assert_eq!(stored, folded);
    });
}

/// What the gates say, without the ids of the facts.
async fn gates(line: &Line, joint: &str) -> Vec<(Value, Vec<String>)> {
    let gates = line.qa.sees(joint).await["gates"].clone();
    let gates = gates.as_array().unwrap().iter();
    gates.map(|gate| (gate["gate"].clone(), codes(&gate["reasons"]))).collect()
}

#[test]
fn any_order_of_arrival_gives_the_same_gates() {
    let shuffled = plans().prop_flat_map(|plan| {
        let order: Vec<usize> = (0..plan.len()).collect();
        (Just(plan), Just(order).prop_shuffle())
    });
    for_any(24, &shuffled, &async |line, joints, (plan, order)| {
        line.records(&joints[0], &facts(&plan)).await;
        let facts = facts(&plan);
        for place in order {
            line.inspector.records(&joints[1], &facts[place]).await.expect(201);
        }
        assert_eq!(gates(line, &joints[0]).await, gates(line, &joints[1]).await);
        let (stored, folded) = fold_of_stored(line, &joints[1]).await;
        assert_eq!(stored, folded);
    });
}
