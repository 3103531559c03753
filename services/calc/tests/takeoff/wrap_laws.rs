//! Laws of the take-off, and its behaviour over everything that is admitted.

use std::f64::consts::PI;

use calc::{FaultKind, WRAP_BOUNDS, Wrap, measured_overlap, wrap_takeoff};
use proptest::prelude::*;
use units::Length;

use crate::given::{metres, mm, overlap, percent, wrap};

fn tape_m(it: &Wrap) -> f64 {
    wrap_takeoff(it).unwrap().tape_m
}

/// Joints as they occur: a band that is wider than the tape.
fn usual() -> impl Strategy<Value = Wrap> {
    let sizes = (20.0..1500.0f64, 20.0..300.0f64, 0.0..90.0f64, 1.0..2000.0f64);
    let rest = (0.0..3.0f64, 0.0..10.0f64, 0.0..4.0f64, 5.0..60.0f64, 0.0..200.0f64, 0.0..20.0f64);
    (sizes, rest).prop_map(|((diameter, width, lap, more), (t, b, turns, roll, splice, waste))| {
        Wrap {
            tape_thickness: mm(t),
            build_below: mm(b),
            straight_turns: turns + 0.1,
            roll_length: metres(roll),
            splice_lap: mm(splice),
            waste: percent(waste),
            ..wrap(diameter, width, lap, width + more)
        }
    })
}

/// A value of a field's whole range, small ones as likely as great ones, the ends among them.
fn anywhere(field: &str) -> impl Strategy<Value = f64> + use<> {
    let bounds = WRAP_BOUNDS.into_iter().find(|it| it.0 == field).unwrap().1;
    let low = bounds.low.max(1e-9);
    prop_oneof![
        1 => Just(bounds.low),
        1 => Just(bounds.high),
        8 => (low.ln()..bounds.high.ln())
            .prop_map(move |it| it.exp().clamp(bounds.low, bounds.high)),
    ]
}

/// Whether there really are some 10^15 of `what`, by the definitions written out once more.
fn beyond_counting(it: &Wrap, what: &str) -> bool {
    let (width, length) = (it.roll_width.as_millimetres(), it.wrapped_length.as_millimetres());
    let advance = 1.0 - it.overlap.as_percent() / 100.0;
    let build =
        2.0 * it.build_below.as_millimetres() + it.tape_thickness.as_millimetres() / advance;
    let turn = PI * (it.outside_diameter.as_millimetres() + build);
    let helix = (turn * turn + (width * advance).powi(2)).sqrt();
    let spiral = (length - width) / (width * advance) * helix;
    let tape = (it.straight_turns * turn + spiral) * (1.0 + it.waste.as_percent() / 100.0);
    let roll = it.roll_length.as_millimetres();
    let number = match what {
        "layers" => 1.0 / advance,
        "joints per roll" => roll / tape,
        "rolls per joint" => tape / (roll - it.splice_lap.as_millimetres()),
        _ => 0.0,
    };
    number > 0.99e15
}

proptest! {
    #[test]
    fn tape_rises_with_diameter_length_and_overlap_and_falls_with_width(
        it in usual(), by in 1.001..1.5f64,
    ) {
        let base = tape_m(&it);
        let slack = base * 1e-12;
        let longer = |length: Length| mm(length.as_millimetres() * by);
        let bigger = Wrap { outside_diameter: longer(it.outside_diameter), ..it };
        prop_assert!(tape_m(&bigger) > base);
        let length = Wrap { wrapped_length: longer(it.wrapped_length), ..it };
        prop_assert!(tape_m(&length) > base);
        let more = it.overlap.as_percent() + (99.0 - it.overlap.as_percent()) * (by - 1.0);
        let closer = Wrap { overlap: overlap(more), ..it };
        prop_assert!(tape_m(&closer) > base - slack);
        let width = longer(it.roll_width);
        if width <= it.wrapped_length {
            let wider = Wrap { roll_width: width, ..it };
            prop_assert!(tape_m(&wider) < base);
        }
    }

    #[test]
    fn spiral_tape_is_additive_over_lengths(it in usual(), more in 1.0..3000.0f64) {
        // Two bands that share one tape width wrapped in one go: the spiral of the longer band is
        // the sum of the spirals, the straight turns come once.
        let spiral = |length: f64| {
            let found = wrap_takeoff(&Wrap { wrapped_length: mm(length), ..it }).unwrap();
            found.helical_turns * found.helix_turn_mm
        };
        let (width, length) = (it.roll_width.as_millimetres(), it.wrapped_length.as_millimetres());
        let (one, other, both) = (spiral(length), spiral(width + more), spiral(length + more));
        prop_assert!((one + other - both).abs() < 1e-9 * both.max(1.0));
    }

    #[test]
    fn on_a_long_wrap_the_area_ratio_is_the_mean_number_of_layers(
        diameter in 20.0..1500.0f64, width in 20.0..300.0f64, lap in 0.0..90.0f64,
    ) {
        let found = wrap_takeoff(&wrap(diameter, width, lap, 1e7)).unwrap();
        // A turn that advances along the pipe is longer than the circumference by 1 / cos a.
        let slant = found.pitch_mm.hypot(PI * diameter) / (PI * diameter);
        let ends = 2.0 * width / 1e7 + 2.0 * width * found.layers_mean / 1e7;
        prop_assert!((found.area_ratio - found.layers_mean * slant).abs() <= ends * slant);
    }

    #[test]
    fn the_pitch_gives_the_overlap_back(width in 1.0..1000.0f64, lap in 0.0..99.9f64) {
        let taken = wrap_takeoff(&wrap(500.0, width, lap, width + 10.0)).unwrap();
        let back = measured_overlap(mm(width), mm(taken.pitch_mm), Some(overlap(lap))).unwrap();
        prop_assert!((back.overlap_percent - lap).abs() < 1e-9);
        prop_assert_eq!(back.layers_min, taken.layers_min);
        prop_assert_eq!(back.meets_specified, Some(true));
    }

    #[test]
    fn inches_and_millimetres_give_the_same(it in usual()) {
        let inches = |it: Length| Length::from_inches(it.as_millimetres() / 25.4).unwrap();
        let same = Wrap {
            outside_diameter: inches(it.outside_diameter),
            wrapped_length: inches(it.wrapped_length),
            roll_width: inches(it.roll_width),
            roll_length: inches(it.roll_length),
            ..it
        };
        let (one, other) = (wrap_takeoff(&it).unwrap(), wrap_takeoff(&same).unwrap());
        prop_assert!((one.tape_m - other.tape_m).abs() < 1e-9 * one.tape_m);
        prop_assert_eq!(one.joints_per_roll, other.joints_per_roll);
        prop_assert_eq!(one.rolls_per_joint_whole, other.rolls_per_joint_whole);
    }

    #[test]
    fn rolls_are_the_fewest_that_hold_the_tape(it in usual()) {
        let found = wrap_takeoff(&it).unwrap();
        let (roll, lap) = (it.roll_length.as_metres(), it.splice_lap.as_metres());
        let tape = found.tape_with_waste_m;
        let hold = |rolls: u64| {
            let rolls = f64::from(u32::try_from(rolls).unwrap());
            rolls * roll - (rolls - 1.0).max(0.0) * lap
        };
        let close = 1e-6;
        prop_assert!(hold(found.rolls_per_joint_whole) >= tape - close);
        prop_assert!(hold(found.rolls_per_joint_whole - 1) < tape + close);
        let joints = f64::from(u32::try_from(found.joints_per_roll).unwrap());
        prop_assert!(joints * tape <= roll + close && (joints + 1.0) * tape > roll - close);
        prop_assert!(found.remnant_m >= 0.0);
        if found.joints_per_roll == 0 {
            prop_assert!((hold(found.rolls_per_joint_whole) - tape - found.remnant_m).abs() < close);
        } else {
            prop_assert!((roll - joints * tape - found.remnant_m).abs() < close);
        }
    }

    #[test]
    fn whatever_is_admitted_has_a_finite_answer_or_is_beyond_counting(
        sizes in (
            anywhere("outside_diameter_mm"),
            anywhere("wrapped_length_mm"),
            anywhere("roll_width_mm"),
            anywhere("roll_length_m"),
        ),
        rest in (
            anywhere("tape_thickness_mm"),
            anywhere("build_below_mm"),
            anywhere("straight_turns"),
            anywhere("splice_lap_mm"),
            anywhere("waste_percent"),
        ),
        to_full in -36.0..4.605f64,
    ) {
        let it = Wrap {
            roll_length: metres(sizes.3),
            tape_thickness: mm(rest.0),
            build_below: mm(rest.1),
            straight_turns: rest.2,
            splice_lap: mm(rest.3),
            waste: percent(rest.4),
            ..wrap(sizes.0, sizes.2, (100.0 - to_full.exp()).clamp(0.0, 100.0f64.next_down()), sizes.1)
        };
        match wrap_takeoff(&it) {
            Ok(found) => {
                let numbers = [
                    found.pitch_mm, found.layers_mean, found.share_one_more_percent,
                    found.wrap_diameter_mm, found.helical_turns, found.helix_turn_mm, found.tape_m,
                    found.tape_with_waste_m, found.area_ratio, found.rolls_per_joint_spliced,
                    found.remnant_m,
                ];
                prop_assert!(numbers.iter().all(|it| it.is_finite() && *it >= 0.0), "{found:?}");
                prop_assert!(found.rolls_per_joint_whole >= 1);
                prop_assert!(found.layers_min >= 1);
            }
            Err(error) => for fault in error.faults {
                match fault.kind {
                    FaultKind::TapeWiderThanBand { .. } => {
                        prop_assert!(it.roll_width > it.wrapped_length);
                    }
                    FaultKind::SpliceLapTakesTheRoll { .. } => {
                        prop_assert!(it.splice_lap >= it.roll_length);
                    }
                    FaultKind::Uncountable { what } => {
                        prop_assert!(beyond_counting(&it, what), "{what} {it:?}");
                    }
                    other => prop_assert!(false, "{other}"),
                }
            },
        }
    }
}
