//! Take-off of a whole system, and of many joints.

use calc::{
    Fillet, JointRun, MasticFill, MasticProfile, PrimerCoat, System, TapeKey, Wrap, system_takeoff,
    tally,
};
use proptest::prelude::*;
use units::{Density, Percent, SpreadingRate};

use crate::given::{layer, metres, mm, near, percent, wrap};

/// 24 in with primer, mastic, an inner and an outer wrap at 55 %.
fn system() -> System {
    let edge = Fillet { height: mm(3.0), run: mm(15.0) };
    let cap = Fillet { height: mm(2.0), run: mm(10.0) };
    System {
        primer: Some(PrimerCoat {
            material: "primer".to_owned(),
            primed_length: mm(600.0),
            rate: SpreadingRate::from_square_metres_per_litre(8.0).unwrap(),
            loss: Percent::ZERO,
        }),
        mastic: Some(MasticFill {
            material: "mastic".to_owned(),
            profile: MasticProfile { around: vec![edge, edge, cap, cap], along: Vec::new() },
            density: Density::from_grams_per_cubic_centimetre(1.3).unwrap(),
            loss: Percent::ZERO,
        }),
        layers: vec![
            layer("inner", Wrap { tape_thickness: mm(0.8), ..wrap(610.0, 150.0, 55.0, 500.0) }),
            layer("outer", Wrap { tape_thickness: mm(0.5), ..wrap(610.0, 150.0, 55.0, 560.0) }),
        ],
    }
}

#[test]
fn a_system_of_two_wraps() {
    let found = system_takeoff(mm(610.0), &system()).unwrap();
    // Primer 143.7 mL and mastic 162 g: derived by hand.
    near(found.primer.unwrap().volume.as_litres(), 0.1437, 0.0001);
    near(found.mastic.unwrap().mass.as_kilograms(), 0.162, 0.0005);
    // Build of the inner wrap 2.2222 · 0.8 = 1.7778 mm; the outer wrap at 610 + 2 · 1.7778 +
    // 2.2222 · 0.5 = 614.6667 mm; over it 610 + 2 · 2.2222 · 1.3 = 615.7778 mm. Derived by hand.
    near(found.layers[0].build_below_mm, 0.0, 1e-12);
    near(found.layers[0].takeoff.wrap_diameter_mm, 611.777_78, 1e-5);
    near(found.layers[1].build_below_mm, 1.777_78, 1e-5);
    near(found.layers[1].takeoff.wrap_diameter_mm, 614.666_67, 1e-5);
    near(found.finished_diameter_mm, 615.777_78, 1e-5);
    let outer = &found.layers[1];
    near(outer.tape_with_waste_m2, 0.15 * outer.takeoff.tape_with_waste_m, 1e-12);
}

#[test]
fn faults_name_the_layer() {
    let mut broken = system();
    broken.layers[1].wrapped_length = mm(100.0);
    let error = system_takeoff(mm(610.0), &broken).unwrap_err();
    assert_eq!(error.faults.first().unwrap().field, "layers/1/wrapped_length_mm");
    broken.layers.clear();
    let error = system_takeoff(mm(610.0), &broken).unwrap_err();
    assert_eq!(error.faults.first().unwrap().kind.code(), "EMPTY");
}

fn run(joints: u64) -> JointRun {
    JointRun { outside_diameter: mm(610.0), system: system(), joints }
}

fn key(material: &str) -> TapeKey {
    TapeKey { material: material.to_owned(), roll_width_um: 150_000, roll_length_mm: 15_000 }
}

#[test]
fn a_section_of_a_thousand_joints() {
    let one = system_takeoff(mm(610.0), &system()).unwrap();
    let found = tally(&[run(1000)]).unwrap();
    near(found.primer_l["primer"], 143.7, 0.05);
    near(found.mastic_kg["mastic"], 162.4, 0.2);
    let inner = &found.tapes[&key("inner")];
    near(inner.tape_m, 1000.0 * one.layers[0].takeoff.tape_m, 1e-6);
    near(inner.tape_m2, 1000.0 * one.layers[0].tape_with_waste_m2, 1e-6);
    // 13.8 m a joint from rolls of 15 m: one roll each, the rest is shorter than a turn.
    assert_eq!((inner.rolls.whole.rolls, inner.rolls.spliced.rolls), (1000, 1000));
    // 15.7 m a joint: two rolls; the rest of 14.3 m is worth joining on.
    let outer = &found.tapes[&key("outer")];
    assert_eq!(outer.rolls.whole.rolls, 2000);
    assert!((1040..1200).contains(&outer.rolls.spliced.rolls), "{:?}", outer.rolls);
}

#[test]
fn one_material_in_two_wraps_is_cut_from_the_same_rolls() {
    let mut same = system();
    same.layers[1].material = "inner".to_owned();
    let runs = [JointRun { outside_diameter: mm(610.0), system: same, joints: 10 }];
    let found = tally(&runs).unwrap();
    assert_eq!(found.tapes.len(), 1);
    assert_eq!(found.tapes[&key("inner")].rolls.joints, 20);
}

#[test]
fn two_widths_of_one_material_are_two_things_on_the_shelf() {
    let mut two = system();
    two.layers[1].material = "inner".to_owned();
    two.layers[1].roll_width = mm(100.0);
    two.layers[1].roll_length = metres(30.0);
    let runs = [JointRun { outside_diameter: mm(610.0), system: two, joints: 10 }];
    assert_eq!(tally(&runs).unwrap().tapes.len(), 2);
}

#[test]
fn more_joints_than_any_line_has_are_refused() {
    assert!(tally(&[run(u64::MAX), run(2)]).is_err());
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(32))]

    #[test]
    fn quantities_add_up_over_sections(one in 1..200u64, other in 1..200u64, waste in 0.0..15.0f64) {
        let with_waste = |joints: u64| {
            let mut run = run(joints);
            for layer in &mut run.system.layers {
                layer.waste = percent(waste);
            }
            run
        };
        let both = tally(&[with_waste(one), with_waste(other)]).unwrap();
        let (first, second) = (tally(&[with_waste(one)]).unwrap(), tally(&[with_waste(other)]).unwrap());
        prop_assert_eq!(both.joints, first.joints + second.joints);
        let sum = first.primer_l["primer"] + second.primer_l["primer"];
        prop_assert!((both.primer_l["primer"] - sum).abs() < 1e-9);
        for (key, tape) in &both.tapes {
            let (a, b) = (&first.tapes[key], &second.tapes[key]);
            prop_assert!((tape.tape_m - a.tape_m - b.tape_m).abs() < 1e-6);
            prop_assert!((tape.tape_m2 - a.tape_m2 - b.tape_m2).abs() < 1e-6);
            // Whole rolls do not add up: a rest of one section may serve the other.
            prop_assert!(tape.rolls.spliced.rolls <= a.rolls.spliced.rolls + b.rolls.spliced.rolls);
        }
    }
}
