//! Rolls cut over a sequence of joints.

use calc::{Cutting, Roll, RollCount, Wrap, rolls_for, shortest_useful_remnant, wrap_takeoff};
use proptest::prelude::*;
use units::Length;

use crate::given::{metres, mm, near, percent, wrap};

fn roll(length_m: f64, splice_lap_mm: f64, shortest_mm: f64) -> Roll {
    Roll {
        length: metres(length_m),
        splice_lap: mm(splice_lap_mm),
        shortest_remnant: mm(shortest_mm),
    }
}

fn alike(tape_m: f64, joints: usize, roll: &Roll) -> RollCount {
    rolls_for(std::iter::repeat_n(metres(tape_m), joints), roll).unwrap()
}

#[test]
fn a_thousand_joints_of_24_inches() {
    // Derived by hand: 13.8695 m with 5 % waste is 14 563.0 m, 970.9 rolls of 15 m by length; but
    // one joint takes one roll and leaves scrap, so 1000 unless remnants are joined on.
    let found = alike(13.8695 * 1.05, 1000, &roll(15.0, 0.0, 0.0));
    near(found.tape_m, 14_563.0, 0.05);
    assert_eq!((found.joints, found.whole.rolls, found.spliced.rolls), (1000, 1000, 971));
    // A rest that does not go round the pipe is scrap (common practice, no source): 13 869.5 mm of
    // a 15 m roll leave 1130 mm, less than the circumference of 1916 mm.
    let shortest = shortest_useful_remnant(mm(610.0), mm(0.0)).as_millimetres();
    near(shortest, 1916.372, 0.001);
    let scrapped = alike(13.8695, 1000, &roll(15.0, 0.0, shortest));
    assert_eq!(scrapped.spliced.rolls, 1000);
    near(scrapped.spliced.scrap_m, 999.0 * 1.1305, 0.01);
}

#[test]
fn one_joint_of_48_inches() {
    // Derived by hand: 33 289.9 mm from rolls of 15 m with a lap of 150 mm are 3 rolls with 2
    // splices, gross 33 589.9 mm; from rolls of 30 m 2 rolls with 1 splice.
    let of_15 = alike(33.2899, 1, &roll(15.0, 150.0, 0.0)).whole;
    assert_eq!((of_15.rolls, of_15.splices), (3, 2));
    near(33.2899 + of_15.splice_laps_m, 33.5899, 1e-9);
    let of_30 = alike(33.2899, 1, &roll(30.0, 150.0, 0.0)).whole;
    assert_eq!((of_30.rolls, of_30.splices), (2, 1));
}

#[test]
fn a_hundred_thousand_joints_in_one_pass() {
    // 3 joints of 4.95 m fit a roll of 15 m; spliced the long-run average is l / (R − s).
    let found = alike(4.95, 100_000, &roll(15.0, 150.0, 0.0));
    assert_eq!(found.whole.rolls, 33_334);
    near(f64::from(u32::try_from(found.spliced.rolls).unwrap()), 100_000.0 * 4.95 / 14.85, 1.0);
}

#[test]
fn joints_that_use_a_roll_up_leave_nothing() {
    // 15 m is 50 times 0.3 m, though fifty subtractions of 0.3 do not give 0 in floating point.
    let found = alike(0.3, 5000, &roll(15.0, 100.0, 0.0));
    assert_eq!((found.whole.rolls, found.spliced.rolls, found.spliced.splices), (100, 100, 0));
    near(found.whole.scrap_m, 0.0, 1e-9);
}

#[test]
fn a_lap_as_long_as_the_roll_is_refused() {
    let error = rolls_for([metres(1.0)], &roll(0.15, 150.0, 0.0)).unwrap_err();
    assert_eq!(error.faults.first().unwrap().kind.code(), "SPLICE_LAP_TAKES_THE_ROLL");
    assert_eq!(rolls_for([], &roll(15.0, 0.0, 0.0)).unwrap().whole.rolls, 0);
}

fn count(value: u64) -> f64 {
    f64::from(u32::try_from(value).unwrap())
}

proptest! {
    #[test]
    fn nothing_is_created_or_lost_and_splicing_never_opens_more(
        joints in prop::collection::vec(
            prop_oneof![0.0..1.0f64, 0.5..20.0f64, 10.0..100.0f64, Just(15.0), Just(7.5)],
            0..60,
        ),
        length in prop_oneof![Just(15.0), 1.0..40.0f64],
        lap in prop_oneof![Just(0.0), 0.0..900.0f64],
        shortest in prop_oneof![Just(0.0), 0.0..5000.0f64],
    ) {
        let roll = roll(length, lap, shortest);
        let found = rolls_for(joints.iter().copied().map(metres), &roll).unwrap();
        let tape: f64 = joints.iter().sum();
        prop_assert!((found.tape_m - tape).abs() < 1e-6);
        for Cutting { rolls, splices, splice_laps_m, scrap_m, left_m } in
            [found.whole, found.spliced]
        {
            let opened = count(rolls) * length;
            let accounted = tape + splice_laps_m + scrap_m + left_m;
            prop_assert!((opened - accounted).abs() < 1e-6 * opened.max(1.0));
            prop_assert!((splice_laps_m - count(splices) * lap / 1000.0).abs() < 1e-9);
            prop_assert!(left_m <= length && scrap_m >= 0.0);
        }
        prop_assert!(found.spliced.rolls <= found.whole.rolls);
    }

    #[test]
    fn joints_alike_take_what_the_take_off_of_one_says(
        diameter in 50.0..1300.0f64, length in 200.0..900.0f64, lap in 0.0..70.0f64,
        waste in 0.0..15.0f64, joints in 1..400usize,
    ) {
        let it = Wrap {
            waste: percent(waste), splice_lap: mm(150.0), ..wrap(diameter, 100.0, lap, length)
        };
        let one = wrap_takeoff(&it).unwrap();
        let roll = Roll {
            length: it.roll_length, splice_lap: it.splice_lap, shortest_remnant: Length::ZERO,
        };
        let tape = std::iter::repeat_n(metres(one.tape_with_waste_m), joints);
        let found = rolls_for(tape, &roll).unwrap();
        let joints = u64::try_from(joints).unwrap();
        let whole = match one.joints_per_roll {
            0 => joints * one.rolls_per_joint_whole,
            per_roll => joints.div_ceil(per_roll),
        };
        prop_assert_eq!(found.whole.rolls, whole);
        // A roll loses its lap, or a remnant no longer than that, or nothing.
        let average = count(joints) * one.rolls_per_joint_spliced;
        prop_assert!(count(found.spliced.rolls) >= average * 14.85 / 15.0 - 1e-6);
        prop_assert!(count(found.spliced.rolls) <= average + 1.0);
    }
}
