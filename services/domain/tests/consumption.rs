//! What facts take from stock, in whatever order they and their corrections come.

#![expect(clippy::unwrap_used, reason = "a test that cannot go on has failed")]

use std::collections::{BTreeMap, HashSet};

use chrono::{DateTime, TimeDelta, Utc};
use domain::{
    ids::{EventId, JointId, MovementId, UserId},
    joints::{
        Event, Fact, UsedQuantities, UsedQuantity,
        event::{RepairWrap, Repaired, WrapLayer, Wrapped},
    },
    setup::{Location, LocationKind, Lot, ProjectSetup},
    stock::{
        Balances, MovementKind, NewMovement, Place, Quantity, changes,
        consumption::{Consumption, FactUse, LayerNeed, consume, unsettled},
    },
};
use proptest::prelude::*;
use rust_decimal::Decimal;
use uuid::Uuid;

const JOINT: JointId = JointId(Uuid::from_u128(1));

fn instant(minute: i64) -> DateTime<Utc> {
    DateTime::UNIX_EPOCH + TimeDelta::minutes(minute)
}

/// The crew `A1` with its place `CREW-1`; lots `A`, `B` and `C` of the material, in the order of
/// their last day, and `Z` of another.
fn setup() -> ProjectSetup {
    let mut setup = ProjectSetup::empty(chrono_tz::UTC);
    for (code, material, last) in [("A", "M", 9), ("B", "M", 10), ("C", "M", 11), ("Z", "N", 1)] {
        let lot = Lot {
            code: code.into(),
            material: material.into(),
            produced_on: None,
            expires_on: chrono::NaiveDate::from_ymd_opt(2030, 1, last),
            quarantines: vec![],
            extensions: vec![],
        };
        setup.lots.insert(code.into(), lot);
    }
    let place = Location {
        code: "CREW-1".into(),
        name: "Crew".into(),
        kind: LocationKind::Crew,
        crew: Some("A1".into()),
    };
    setup.locations.insert(place.code.clone(), place);
    setup
}

fn wrapped(crew: Option<&str>, lots: &[&str], quantities: &[(&str, f64)]) -> Event {
    let used: UsedQuantities =
        quantities.iter().map(|(lot, used)| ((*lot).into(), UsedQuantity(*used))).collect();
    Event::Wrapped(Wrapped {
        layer: WrapLayer::Inner,
        lots: lots.iter().map(ToString::to_string).collect(),
        quantities: used,
        overlap_percent: None,
        crew: crew.map(Into::into),
        applicator: None,
        ambient: None,
        note: None,
    })
}

fn fact(number: u128, supersedes: Option<u128>, event: Event) -> Fact {
    Fact {
        id: EventId(Uuid::from_u128(number)),
        occurred_at: instant(i64::try_from(number).unwrap()),
        recorded_at: instant(1000),
        recorded_by: UserId(Uuid::nil()),
        supersedes: supersedes.map(|it| EventId(Uuid::from_u128(it))),
        event,
    }
}

fn units(number: i64) -> Quantity {
    Quantity::new(Decimal::from(number)).unwrap()
}

/// What `event` took, by place and lot, where the crew has `stock` and the layer takes 10.
fn taken(event: Event, stock: &[(&str, i64)]) -> Vec<(String, String, i64, String)> {
    let (setup, fact) = (setup(), fact(1, None, event));
    let need = Some(LayerNeed { material: "M".into(), quantity: units(10) });
    let used = FactUse { joint: JOINT, fact: &fact, work: fact.event.lot_work().unwrap(), need };
    let held: Balances = stock
        .iter()
        .map(|(lot, held)| (("CREW-1".to_owned(), (*lot).to_owned()), Decimal::from(*held)))
        .collect();
    let Consumption::Taken(movements) = consume(&setup, &used, &held) else { return vec![] };
    let told = |it: NewMovement| {
        let quantity = i64::try_from(it.quantity.value()).unwrap();
        (it.from, it.lot, quantity, it.reason.unwrap())
    };
    movements.into_iter().map(told).collect()
}

fn part(from: &str, lot: &str, quantity: i64, source: &str) -> (String, String, i64, String) {
    (from.into(), lot.into(), quantity, source.into())
}

#[test]
fn what_the_fact_says_is_taken_as_it_says() {
    let says = || wrapped(Some("A1"), &["A", "B"], &[("A", 3.0), ("B", 4.0)]);
    let all = [part("CREW-1", "A", 3, "recorded"), part("CREW-1", "B", 4, "recorded")];
    assert_eq!(taken(says(), &[("A", 5), ("B", 5)]), all);
    let short = [
        part("CREW-1", "A", 1, "recorded"),
        part("unrecorded", "A", 2, "recorded"),
        part("unrecorded", "B", 4, "recorded"),
    ];
    assert_eq!(taken(says(), &[("A", 1)]), short);
}

#[test]
fn what_it_does_not_say_comes_from_the_take_off() {
    let says = || wrapped(Some("A1"), &["C", "A"], &[]);
    let enough = [part("CREW-1", "A", 10, "backflushed")];
    assert_eq!(taken(says(), &[("A", 50), ("C", 50)]), enough, "what expires first goes first");
    let both = [part("CREW-1", "A", 4, "backflushed"), part("CREW-1", "C", 6, "backflushed")];
    assert_eq!(taken(says(), &[("A", 4), ("C", 50)]), both);
    let short = [
        part("CREW-1", "A", 4, "backflushed"),
        part("CREW-1", "C", 1, "backflushed"),
        part("unrecorded", "C", 5, "backflushed"),
    ];
    assert_eq!(taken(says(), &[("A", 4), ("C", 1), ("B", 50)]), short, "B is not named");
    let some = wrapped(Some("A1"), &["A", "B"], &[("B", 7.0)]);
    let rest = [part("CREW-1", "B", 7, "recorded"), part("unrecorded", "A", 3, "backflushed")];
    assert_eq!(taken(some, &[("B", 9)]), rest);
}

#[test]
fn a_crew_without_a_place_uses_what_was_never_booked_to_it() {
    for crew in [None, Some("A2")] {
        let all = [part("unrecorded", "A", 10, "backflushed")];
        assert_eq!(taken(wrapped(crew, &["A"], &[]), &[("A", 50)]), all);
    }
}

#[test]
fn where_no_lot_is_named_the_crew_used_what_it_has() {
    let all = [part("CREW-1", "B", 6, "assumed"), part("CREW-1", "C", 4, "assumed")];
    assert_eq!(taken(wrapped(Some("A1"), &[], &[]), &[("B", 6), ("C", 50), ("Z", 50)]), all);
    assert_eq!(taken(wrapped(Some("A1"), &[], &[]), &[("Z", 50)]), []);
    assert_eq!(taken(wrapped(None, &[], &[]), &[("B", 6)]), []);
}

#[test]
fn nobody_knows_what_a_repair_or_a_strange_lot_took() {
    let repair = Event::Repaired(Repaired {
        repairs: None,
        damaged_area_removed: true,
        cleaned: true,
        primed: true,
        wrap: RepairWrap::FullCircumference,
        lots: vec!["A".into()],
        quantities: BTreeMap::new(),
        crew: None,
        applicator: None,
        ambient: None,
        note: None,
    });
    let (setup, strange) = (setup(), wrapped(Some("A1"), &["Z"], &[]));
    for (event, need) in [(repair, None), (strange, Some(units(10)))] {
        let fact = fact(1, None, event);
        let need = need.map(|quantity| LayerNeed { material: "M".into(), quantity });
        let work = fact.event.lot_work().unwrap();
        let used = FactUse { joint: JOINT, fact: &fact, work, need };
        assert_eq!(consume(&setup, &used, &Balances::new()), Consumption::Unknown);
    }
}

/// Facts of one joint: lots named, a tenth of units said of each or nothing, and the place of an
/// earlier fact that it corrects.
#[derive(Debug, Clone)]
struct Said {
    lots: Vec<usize>,
    tenths: Option<i64>,
    corrects: Option<prop::sample::Index>,
}

fn story() -> impl Strategy<Value = Vec<Fact>> {
    let said = (
        prop::sample::subsequence(vec![0, 1, 2], 1..=3),
        prop::option::of(1..200i64),
        prop::option::of(any::<prop::sample::Index>()),
    )
        .prop_map(|(lots, tenths, corrects)| Said { lots, tenths, corrects });
    prop::collection::vec(said, 1..8).prop_map(|all| {
        let facts = all.into_iter().enumerate().map(|(place, said)| {
            let lots: Vec<&str> = said.lots.iter().map(|it| ["A", "B", "C"][*it]).collect();
            #[expect(clippy::cast_precision_loss, reason = "at most 200")]
            let used = said.tenths.map(|tenths| tenths as f64 / 10.0);
            let quantities: Vec<_> =
                used.into_iter().flat_map(|used| lots.iter().map(move |it| (*it, used))).collect();
            let earlier = said.corrects.filter(|_| place > 0).map(|it| it.index(place));
            let number = |place: usize| 10 + u128::try_from(place).unwrap();
            let event = wrapped(Some("A1"), &lots, &quantities);
            fact(number(place), earlier.map(number), event)
        });
        facts.collect()
    })
}

/// The ledger of one joint, and what the places hold.
#[derive(Default)]
struct Ledger {
    held: Balances,
    posted: Vec<NewMovement>,
}

impl Ledger {
    fn post(&mut self, movements: Vec<NewMovement>) {
        for (place, change) in changes(&movements) {
            let held = self.held.entry(place.clone()).or_default();
            *held += change;
            assert!(!Place::is_physical(&place.0) || *held >= Decimal::ZERO, "{place:?}");
        }
        self.posted.extend(movements);
    }

    /// What the job does.
    fn settle(&mut self, setup: &ProjectSetup, known: &[Fact], due: &HashSet<EventId>) {
        let (reversals, to_take) = unsettled(known, due, &self.posted);
        self.post(reversals);
        for fact in to_take {
            let need = Some(LayerNeed { material: "M".into(), quantity: units(10) });
            let work = fact.event.lot_work().unwrap();
            let used = FactUse { joint: JOINT, fact, work, need };
            if let Consumption::Taken(taken) = consume(setup, &used, &self.held) {
                self.post(taken);
            }
        }
    }

    /// What each fact took in the end.
    fn net(&self) -> BTreeMap<EventId, Decimal> {
        let mut net = BTreeMap::new();
        for it in &self.posted {
            let sum: &mut Decimal = net.entry(it.fact.unwrap()).or_default();
            let back = it.kind == MovementKind::Reverse;
            *sum += if back { -it.quantity.value() } else { it.quantity.value() };
        }
        net.retain(|_, sum| !sum.is_zero());
        net
    }
}

proptest! {
    #[test]
    fn any_order_of_arrival_ends_with_the_same_consumption(
        (facts, order) in story().prop_flat_map(|facts| {
            let order = Just((0..facts.len()).collect::<Vec<_>>()).prop_shuffle();
            (Just(facts), order)
        }),
        stock in prop::collection::vec(0..40i64, 3),
        // After which arrivals the job runs, and how often.
        runs in prop::collection::vec(0..3usize, 8),
    ) {
        let setup = setup();
        let mut ledger = Ledger::default();
        for (lot, held) in ["A", "B", "C"].into_iter().zip(&stock) {
            ledger.held.insert(("CREW-1".into(), lot.into()), Decimal::from(*held));
        }
        let (mut known, mut due) = (Vec::new(), HashSet::new());
        for (place, runs) in order.into_iter().zip(runs) {
            known.push(facts[place].clone());
            due.insert(facts[place].id);
            for _ in 0..runs {
                ledger.settle(&setup, &known, &due);
            }
            if runs == 1 {
                due.clear();
            }
        }
        ledger.settle(&setup, &known, &due);
        let before = ledger.posted.clone();
        ledger.settle(&setup, &known, &facts.iter().map(|it| it.id).collect());
        prop_assert_eq!(&ledger.posted, &before, "done again, nothing is left");

        let superseded: HashSet<EventId> = facts.iter().filter_map(|it| it.supersedes).collect();
        let expected: BTreeMap<EventId, Decimal> = facts
            .iter()
            .filter(|it| !superseded.contains(&it.id))
            .map(|it| {
                let work = it.event.lot_work().unwrap();
                let said: f64 = work.quantities.values().map(|it| it.0).sum();
                let said = said.to_string().parse::<Decimal>().unwrap().round_dp(3);
                let total = if work.quantities.is_empty() { Decimal::TEN } else { said };
                (it.id, total)
            })
            .collect();
        prop_assert_eq!(ledger.net(), expected);
        let ids: HashSet<MovementId> = ledger.posted.iter().map(|it| it.id).collect();
        prop_assert_eq!(ids.len(), ledger.posted.len(), "no id is used twice");
    }
}
