//! Quarantine, lift and shelf life of a lot: the rules restated from outside.

use chrono::{DateTime, Days, NaiveDate, TimeDelta, Utc};
use domain::{
    ids::UserId,
    setup::{Extend, Hold, Item, Lift, Lot, LotRefusal},
};
use proptest::prelude::*;
use uuid::Uuid;

fn instant(minute: i64) -> DateTime<Utc> {
    DateTime::UNIX_EPOCH + TimeDelta::minutes(minute)
}

fn day(number: u64) -> NaiveDate {
    DateTime::UNIX_EPOCH.date_naive() + Days::new(number)
}

fn lot() -> Lot {
    Lot {
        code: "L".into(),
        material: "M".into(),
        produced_on: Some(day(10)),
        expires_on: Some(day(20)),
        quarantines: vec![],
        extensions: vec![],
    }
}

const BY: UserId = UserId(Uuid::nil());

/// What a quality manager may try, and when.
#[derive(Debug, Clone)]
enum Deed {
    Hold { back: Option<i64> },
    Lift { unfounded: bool },
    Extend { to: u64 },
}

fn deeds() -> impl Strategy<Value = Vec<(i64, Deed)>> {
    let deed = prop_oneof![
        prop::option::of(-5..50i64).prop_map(|back| Deed::Hold { back }),
        any::<bool>().prop_map(|unfounded| Deed::Lift { unfounded }),
        (0..40u64).prop_map(|to| Deed::Extend { to }),
    ];
    prop::collection::vec((1..30i64, deed), 0..12)
}

proptest! {
    /// Whatever is tried: an instant counts as held exactly if an accepted order covers it that no
    /// accepted lift took back or had ended before, and the last day known at an instant is that
    /// of the newest accepted extension before it.
    #[test]
    fn the_history_of_a_lot_says_what_was_accepted(deeds in deeds()) {
        let (mut lot, mut now) = (lot(), 100);
        // From and until in minutes; the last day known from a minute on.
        let mut held: Vec<(i64, Option<i64>)> = vec![];
        let mut last_days: Vec<(i64, NaiveDate)> = vec![(i64::MIN, day(20))];
        for (pause, deed) in deeds {
            now += pause;
            let open = held.iter().any(|(_, until)| until.is_none());
            let last = last_days.last().unwrap().1;
            match deed {
                Deed::Hold { back } => {
                    let from = back.map(|it| instant(now - it));
                    let order = Hold { id: None, from, reason: "bad".into() };
                    let from = now - back.unwrap_or(0);
                    let covered =
                        held.iter().any(|(since, until)| until.is_none() && *since <= from);
                    match lot.held(&order, instant(now), BY) {
                        Ok(Some(after)) => {
                            prop_assert!(from <= now && !covered);
                            held.push((from, None));
                            lot = after;
                        }
                        Ok(None) => prop_assert!(false, "without an id nothing is repeated"),
                        Err(LotRefusal::FromAhead { .. }) => prop_assert!(from > now),
                        Err(LotRefusal::AlreadyHeld { .. }) => prop_assert!(covered),
                        Err(other) => prop_assert!(false, "{other}"),
                    }
                }
                Deed::Lift { unfounded } => {
                    let order = Lift { reason: "good".into(), unfounded };
                    match lot.lifted(&order, instant(now), BY) {
                        Ok(after) => {
                            prop_assert!(open);
                            for (from, until) in held.iter_mut().filter(|it| it.1.is_none()) {
                                *until = Some(if unfounded { *from } else { now });
                            }
                            lot = after;
                        }
                        Err(refusal) => {
                            prop_assert_eq!(refusal, LotRefusal::NotHeld);
                            prop_assert!(!open);
                        }
                    }
                }
                Deed::Extend { to } => {
                    let order = Extend {
                        expires_on: day(to),
                        certificate: now.to_string(),
                        reason: "tested".into(),
                    };
                    match lot.extended(&order, instant(now), BY) {
                        Ok(Some(after)) => {
                            prop_assert!(!open && day(to) > last);
                            last_days.push((now, day(to)));
                            lot = after;
                        }
                        Ok(None) => prop_assert!(false, "every certificate is another one"),
                        Err(LotRefusal::Held { .. }) => prop_assert!(open),
                        Err(LotRefusal::NotLonger { .. }) => prop_assert!(day(to) <= last),
                        Err(LotRefusal::BeforeProduction { .. }) => prop_assert!(to < 10),
                        Err(other) => prop_assert!(false, "{other}"),
                    }
                }
            }
        }
        for minute in 40..now + 10 {
            let expected = held.iter().any(|(from, until)| {
                *from <= minute && until.is_none_or(|until| minute < until)
            });
            prop_assert_eq!(lot.quarantined_at(instant(minute)).is_some(), expected);
            let known = last_days.iter().rfind(|(since, _)| *since <= minute).unwrap().1;
            prop_assert_eq!(lot.last_day_at(instant(minute)), Some(known));
        }
        // Only these operations change it so.
        prop_assert!(lot.changed_elsewhere(Some(&lot)).is_empty());
        let differs = !lot.quarantines.is_empty() || !lot.extensions.is_empty();
        prop_assert_eq!(!lot.changed_elsewhere(Some(&as_delivered())).is_empty(), differs);
    }
}

fn as_delivered() -> Lot {
    lot()
}
