//! The repair rate: what is counted, restated from outside, and the chart over it.

#![expect(clippy::unwrap_used, reason = "a test that cannot go on has failed")]

use std::collections::BTreeSet;

use chrono::{DateTime, NaiveDate, TimeDelta, Utc};
use chrono_tz::Tz;
use domain::{
    condition::Urgency,
    ids::EventId,
    joints::state::LayerRole,
    quality::{
        By, CoatFact, CoatWork, Grouping, Inspected, Inspection, Span, inspections, repair_rates,
        signals_of_crews,
    },
};
use proptest::prelude::*;
use uuid::Uuid;

fn at(minute: i64) -> DateTime<Utc> {
    // Monday, 1 June 2026, 08:00 UTC.
    DateTime::from_timestamp(1_780_300_800, 0).unwrap() + TimeDelta::minutes(minute)
}

fn fact(number: u128, minute: i64, work: CoatWork) -> CoatFact {
    CoatFact {
        id: EventId(Uuid::from_u128(number)),
        occurred_at: at(minute),
        ahead: false,
        supersedes: None,
        work,
    }
}

fn layer(role: LayerRole, crew: &str, lot: &str) -> CoatWork {
    let (crew, applicator) = (Some(crew.to_owned()), Some(format!("P-{crew}")));
    CoatWork::Layer { role, crew, applicator, lots: vec![lot.to_owned()] }
}

/// Facts a minute apart, in that order.
fn story(works: Vec<CoatWork>) -> Vec<CoatFact> {
    works.into_iter().zip(0..).map(|(work, n)| fact(n, i64::try_from(n).unwrap(), work)).collect()
}

fn wrapped() -> Vec<CoatWork> {
    vec![
        CoatWork::Bared,
        layer(LayerRole::Primer, "A", "L-P"),
        layer(LayerRole::InnerWrap, "A", "L-I"),
        layer(LayerRole::OuterWrap, "B", "L-O"),
    ]
}

const PASS: CoatWork = CoatWork::Tested { passed: true };
const FAIL: CoatWork = CoatWork::Tested { passed: false };

fn outcome(then: &[CoatWork]) -> Vec<bool> {
    let works = [wrapped(), then.to_vec()].concat();
    inspections(&story(works)).iter().map(|it| it.nonconforming).collect()
}

#[test]
fn a_coating_counts_once_at_its_first_test() {
    let armour = || layer(LayerRole::Armour, "C", "L-A");
    let again = || layer(LayerRole::OuterWrap, "C", "L-X");
    for (then, expected) in [
        (vec![], vec![]),
        (vec![PASS], vec![false]),
        (vec![FAIL], vec![true]),
        (vec![FAIL, CoatWork::Repaired, PASS], vec![true]),
        // The second test is no second inspection.
        (vec![PASS, FAIL], vec![false]),
        // Repaired before anybody tested it.
        (vec![CoatWork::Repaired, PASS], vec![true]),
        // Damaged by others after it had passed.
        (vec![PASS, CoatWork::Repaired, PASS], vec![false]),
        // Wrapping over what failed, without saying repair, hides nothing.
        (vec![FAIL, again(), PASS], vec![true]),
        (vec![again(), PASS], vec![false]),
        // The armour came later, and with it the test that counts.
        (vec![PASS, armour(), PASS], vec![false]),
        (vec![PASS, armour(), FAIL], vec![true]),
        (vec![FAIL, CoatWork::Repaired, armour(), PASS], vec![true]),
        // Cleaned off and coated anew: two coatings.
        ([vec![FAIL], wrapped(), vec![PASS]].concat(), vec![true, false]),
        ([wrapped(), vec![PASS]].concat(), vec![false]),
    ] {
        assert_eq!(outcome(&then), expected, "{then:?}");
    }
}

#[test]
fn a_coating_belongs_to_whoever_put_its_outer_wrap_on() {
    let found = inspections(&story([wrapped(), vec![PASS]].concat()));
    let lots = ["L-I", "L-O", "L-P"].map(str::to_owned);
    let expected = Inspection {
        test: EventId(Uuid::from_u128(4)),
        at: at(4),
        nonconforming: false,
        wrapped_at: at(3),
        crew: Some("B".to_owned()),
        applicator: Some("P-B".to_owned()),
        lots: BTreeSet::from(lots),
    };
    assert_eq!(found, [expected]);
    let without_outer = vec![CoatWork::Bared, layer(LayerRole::InnerWrap, "A", "L-I"), FAIL];
    assert_eq!(inspections(&story(without_outer))[0].crew.as_deref(), Some("A"));
    assert_eq!(inspections(&story(vec![CoatWork::Bared, PASS])), []);
}

#[test]
fn what_was_withdrawn_or_proves_nothing_does_not_count() {
    let mut facts = story([wrapped(), vec![FAIL, PASS]].concat());
    let failed = facts[4].id;
    facts[5].supersedes = Some(failed);
    assert!(!inspections(&facts)[0].nonconforming);
    facts[5].supersedes = None;
    facts[4].ahead = true;
    assert!(!inspections(&facts)[0].nonconforming);
}

/// The rule said again, looking back from every test instead of walking along: a test counts where
/// no earlier one of its coating saw the same kinds of layers, and of those the last one.
fn naively(facts: &[CoatFact]) -> Vec<(EventId, bool)> {
    let withdrawn = |id: EventId| facts.iter().any(|it| it.supersedes == Some(id));
    let mut sorted: Vec<&CoatFact> = facts.iter().filter(|it| !withdrawn(it.id)).collect();
    sorted.sort_by_key(|it| it.occurred_at);
    let bared = |it: &&CoatFact| it.work == CoatWork::Bared && !it.ahead;
    sorted.split(bared).filter_map(one_coating).collect()
}

fn one_coating(coating: &[&CoatFact]) -> Option<(EventId, bool)> {
    let result = |it: &CoatFact| match it.work {
        CoatWork::Tested { passed } if !it.ahead => Some(passed),
        _ => None,
    };
    let roles = |until: usize| -> BTreeSet<LayerRole> {
        let layers = coating[..until].iter().filter_map(|it| match it.work {
            CoatWork::Layer { role, .. } => Some(role),
            _ => None,
        });
        layers.collect()
    };
    let wraps = [LayerRole::InnerWrap, LayerRole::OuterWrap, LayerRole::Armour];
    let tests: Vec<usize> = (0..coating.len())
        .filter(|n| result(coating[*n]).is_some())
        .filter(|n| wraps.iter().any(|wrap| roles(*n).contains(wrap)))
        .collect();
    let counts =
        |n: &&usize| !tests.iter().any(|earlier| earlier < *n && roles(*earlier) == roles(**n));
    let counting = *tests.iter().rfind(counts)?;
    let first_pass = coating.iter().position(|it| result(it) == Some(true));
    let before = first_pass.unwrap_or(counting).min(counting);
    let spoiled = coating[..before]
        .iter()
        .any(|it| it.work == CoatWork::Repaired || result(it) == Some(false));
    Some((coating[counting].id, spoiled || result(coating[counting]) == Some(false)))
}

fn any_work() -> impl Strategy<Value = CoatWork> {
    let role = prop::sample::select(vec![
        LayerRole::Primer,
        LayerRole::ProfilingMastic,
        LayerRole::InnerWrap,
        LayerRole::OuterWrap,
        LayerRole::Armour,
    ]);
    prop_oneof![
        1 => Just(CoatWork::Bared),
        4 => (role, "[AB]", "[LM]").prop_map(|(role, crew, lot)| layer(role, &crew, &lot)),
        2 => Just(CoatWork::Repaired),
        3 => any::<bool>().prop_map(|passed| CoatWork::Tested { passed }),
        1 => Just(CoatWork::Other),
    ]
}

/// Facts in any order of arrival, each at a moment of its own, some ahead, some corrections.
fn any_facts() -> impl Strategy<Value = Vec<CoatFact>> {
    let one = (any_work(), prop::bool::weighted(0.1), prop::option::weighted(0.1, 0u128..20));
    prop::collection::vec(one, 0..20)
        .prop_map(|all| {
            let facts = all.into_iter().zip(0u128..).map(|((work, ahead, supersedes), n)| {
                let mut fact = fact(n, i64::try_from(n).unwrap(), work);
                fact.ahead = ahead;
                fact.supersedes = supersedes.map(|it| EventId(Uuid::from_u128(it)));
                fact
            });
            facts.collect::<Vec<_>>()
        })
        .prop_shuffle()
}

proptest! {
    #[test]
    fn the_counting_is_the_rule(facts in any_facts()) {
        let found: Vec<_> =
            inspections(&facts).into_iter().map(|it| (it.test, it.nonconforming)).collect();
        prop_assert_eq!(found, naively(&facts));
        // Sent twice, it is there once.
        let twice = [facts.clone(), facts.clone()].concat();
        prop_assert_eq!(inspections(&twice), inspections(&facts));
    }

    /// Every inspected joint is in one subgroup of its crew, every subgroup lies within its days.
    #[test]
    fn nothing_is_lost_between_joints_and_chart(
        tested in prop::collection::vec((0i64..60, 0u8..3, any::<bool>()), 0..200),
    ) {
        let inspected: Vec<Inspected> = tested
            .iter()
            .map(|(day, crew, bad)| tested_on(*day, &crew.to_string(), *bad))
            .collect();
        let span = Span { from: day(5), to: day(40) };
        let rates = repair_rates(&inspected, By::Crew, Tz::UTC, span).unwrap();
        let within = tested.iter().filter(|it| (5..=40).contains(&it.0));
        for rate in &rates {
            let crew = rate.of.clone().unwrap();
            let of_crew = within.clone().filter(|it| it.1.to_string() == crew);
            let bad = of_crew.clone().filter(|it| it.2).count();
            let all = of_crew.count();
            prop_assert_eq!((rate.inspected, rate.nonconforming), (all as u64, bad as u64));
            prop_assert_eq!(rate.points.iter().map(|it| it.inspected).sum::<u64>(), all as u64);
            for pair in rate.points.windows(2) {
                prop_assert!(pair[0].to < pair[1].from);
            }
            for point in &rate.points {
                prop_assert!(span.from <= point.from && point.to <= span.to);
                if point.grouping == Grouping::Day {
                    prop_assert!(point.inspected >= 5 && point.from == point.to);
                }
            }
        }
        let total: u64 = rates.iter().map(|it| it.inspected).sum();
        prop_assert_eq!(total, within.count() as u64);
    }
}

fn day(number: i64) -> NaiveDate {
    at(number * 24 * 60).date_naive()
}

fn tested_on(number: i64, crew: &str, nonconforming: bool) -> Inspected {
    let at = at(number * 24 * 60);
    let crew = Some(crew.to_owned());
    let (applicator, lots) = (None, BTreeSet::new());
    let test = EventId(Uuid::nil());
    let inspection = Inspection { test, at, nonconforming, wrapped_at: at, crew, applicator, lots };
    Inspected { inspection, system: None }
}

fn tested(number: i64, crew: &str, inspected: u32, nonconforming: u32) -> Vec<Inspected> {
    (0..inspected).map(|n| tested_on(number, crew, n < nonconforming)).collect()
}

/// The wafers of the NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.3.2 (30 of them, 50 chips
/// each; centre 0.2313, limits 0.0524 and 0.4102; data and results read second-hand), as joints of
/// 30 days.
#[test]
fn the_chart_of_the_handbook() {
    const MISREGISTERED: [u32; 30] = [
        12, 15, 8, 10, 4, 7, 16, 9, 14, 10, 5, 6, 17, 12, 22, 8, 10, 5, 13, 11, 20, 18, 24, 15, 9,
        12, 7, 13, 9, 6,
    ];
    let days = MISREGISTERED.iter().zip(0..).flat_map(|(bad, n)| tested(n, "A", 50, *bad));
    let inspected: Vec<Inspected> = days.collect();
    let span = Span { from: day(0), to: day(29) };
    let rates = repair_rates(&inspected, By::Crew, Tz::UTC, span).unwrap();
    assert_eq!((rates[0].inspected, rates[0].nonconforming), (1500, 347));
    assert!((rates[0].p_bar - 0.2313).abs() < 5e-5, "{}", rates[0].p_bar);
    for point in &rates[0].points {
        assert!((point.lower - 0.0524).abs() < 1e-4 && (point.upper - 0.4102).abs() < 1e-4);
        assert_eq!((point.grouping, point.inspected), (Grouping::Day, 50));
    }
    // Samples 15 (22 of 50) and 23 (24 of 50) are over 0.4102.
    let out: Vec<usize> = (0..30).filter(|n| rates[0].points[*n].signal).collect();
    assert_eq!(out, [14, 22]);
}

#[test]
fn a_day_of_few_joints_makes_its_week_one_point() {
    let mut inspected = Vec::new();
    // The first of June 2026 was a Monday (by the calendar).
    for (number, joints) in [(0, 12), (1, 12), (2, 4), (7, 12), (8, 12), (14, 12)] {
        inspected.extend(tested(number, "A", joints, 1));
    }
    let span = Span { from: day(1), to: day(20) };
    let rates = repair_rates(&inspected, By::Crew, Tz::UTC, span).unwrap();
    let shown: Vec<_> =
        rates[0].points.iter().map(|it| (it.from, it.to, it.grouping, it.inspected)).collect();
    let expected = [
        (day(1), day(6), Grouping::Week, 16),
        (day(7), day(7), Grouping::Day, 12),
        (day(8), day(8), Grouping::Day, 12),
        (day(14), day(14), Grouping::Day, 12),
    ];
    assert_eq!(shown, expected);
}

#[test]
fn a_shift_is_told_by_the_hour_on_site() {
    let mut early = tested_on(0, "A", false);
    // 03:59 and 04:00 UTC are 05:59 and 06:00 in Vienna in June.
    early.inspection.wrapped_at = at(-241);
    let mut late = early.clone();
    late.inspection.wrapped_at = at(-240);
    let span = Span { from: day(-1), to: day(1) };
    let rates = repair_rates(&[early, late], By::Shift, Tz::Europe__Vienna, span).unwrap();
    let of: Vec<_> = rates.iter().map(|it| (it.of.as_deref().unwrap(), it.inspected)).collect();
    assert_eq!(of, [("day", 1), ("night", 1)]);
}

#[test]
fn a_crew_over_its_limit_lately_is_to_be_looked_at() {
    // p̄ = 9/240 = 0.0375; 12 joints: 0.0375 + 3 √(0.0375 · 0.9625/12) = 0.2020, by hand: 4 of 12
    // are over it, 1 of 12 is not.
    let days = |bad: [u32; 20]| {
        let each = bad.into_iter().zip(0..);
        let inspected: Vec<_> = each.flat_map(|(bad, n)| tested(n, "A", 12, bad)).collect();
        let span = Span { from: day(0), to: day(19) };
        repair_rates(&inspected, By::Crew, Tz::UTC, span).unwrap()
    };
    let mut bad = [0; 20];
    (bad[2], bad[6], bad[10], bad[12], bad[16], bad[17]) = (1, 1, 1, 1, 1, 4);
    let rates = days(bad);
    assert!((rates[0].p_bar - 0.0375).abs() < 1e-12);
    let seen = signals_of_crews(&rates, day(19));
    assert_eq!((seen.len(), seen[0].urgency), (1, Urgency::Notice));
    assert_eq!((seen[0].kind, seen[0].subject.as_str()), ("repair_rate_signal", "A"));
    for word in ["12 joints", "4 needed a repair", "33.3 %", "20.2 %", "9 of 240"] {
        assert!(seen[0].detail.contains(word), "{word} in {}", seen[0].detail);
    }
    // A week later it is over.
    assert_eq!(signals_of_crews(&rates, day(23)).len(), 1);
    assert_eq!(signals_of_crews(&rates, day(24)), []);
    bad[18] = 6;
    let seen = signals_of_crews(&days(bad), day(19));
    assert_eq!((seen.len(), seen[0].urgency), (1, Urgency::Urgent));
    // Better than chance is no trouble.
    let mut good = [12; 20];
    good[19] = 0;
    assert!(days(good)[0].signal);
    assert_eq!(signals_of_crews(&days(good), day(19)), []);
}
