//! Applied cost against an example worked by hand.

use std::f64::consts::PI;

use calc::{
    BackfillKind, Backing, Burial, Candidate, Comparison, CostBasis, CostKind, Fillet, Labour,
    MasticFill, MasticProfile, PrimerCoat, System, SystemCost, SystemProperties, TapeLayer, Trench,
    Wrap, applied_cost, burial_cost,
};
use proptest::prelude::*;
use units::{Density, Percent, SpreadingRate};

use crate::{
    admissibility::{layer_properties, properties, section},
    given::{layer, mm, near, percent, wrap},
};

fn burial() -> Burial {
    Burial {
        trench: Trench {
            bottom_width: mm(1016.0),
            side_slope: 0.0,
            coated_diameter: mm(616.0),
            bed: mm(150.0),
            cover: mm(150.0),
        },
        joint_spacing: mm(12_200.0),
        bulking: percent(15.0),
        imported_price_per_m3: 18.0,
        native_price_per_m3: 6.0,
        armour_price_per_m2: 4.5,
        armour_thickness: mm(8.0),
        armour_lap: percent(10.0),
    }
}

fn basis() -> CostBasis {
    CostBasis {
        section: section(),
        outside_diameter: mm(610.0),
        joints: 1000,
        worker_hour_price: 25.0,
        inspector_hour_price: 35.0,
        burial: Some(burial()),
        price_inadmissible: true,
    }
}

/// A wrap of the example: 5 % waste, and the end lap of 100 mm as a part of a straight turn on
/// the diameter that the tape lies on.
fn tape(material: &str, width: f64, overlap: f64, length: f64, diameter: f64) -> TapeLayer {
    let it = Wrap {
        straight_turns: 2.0 + 100.0 / (PI * diameter),
        waste: percent(5.0),
        ..wrap(610.0, width, overlap, length)
    };
    layer(material, it)
}

/// The same with a thickness, on which the wrap over it comes to lie.
fn inner(mut it: TapeLayer, thickness_mm: f64) -> TapeLayer {
    it.tape_thickness = mm(thickness_mm);
    it
}

fn primer(litres_cover_m2: f64) -> PrimerCoat {
    PrimerCoat {
        material: "primer".to_owned(),
        primed_length: mm(500.0),
        rate: SpreadingRate::from_square_metres_per_litre(litres_cover_m2).unwrap(),
        loss: Percent::ZERO,
    }
}

/// 0.16 kg of mastic as one fillet: 1 mm high, volume π (610 + 2/3) b / 2.
fn mastic() -> MasticFill {
    let run = 160_000.0 / (PI * (610.0 + 2.0 / 3.0) / 2.0);
    let fillet = Fillet { height: mm(1.0), run: mm(run) };
    MasticFill {
        material: "mastic".to_owned(),
        profile: MasticProfile { around: vec![fillet], along: Vec::new() },
        density: Density::from_grams_per_cubic_centimetre(1.0).unwrap(),
        loss: Percent::ZERO,
    }
}

fn work(preparation_hours: f64, wrapping_hours: f64) -> Vec<Labour> {
    let labour = |activity: &str, hours: f64, workers: f64| Labour {
        activity: activity.to_owned(),
        hours,
        workers,
    };
    vec![labour("preparation", preparation_hours, 2.0), labour("wrapping", wrapping_hours, 3.0)]
}

fn candidate(code: &str, system: System, prices: &[f64], labour: Vec<Labour>) -> Candidate {
    Candidate {
        code: code.to_owned(),
        properties: properties(),
        system,
        primer_price_per_l: Some(6.0),
        mastic_price_per_kg: Some(8.0),
        tape_prices_per_m2: prices.to_vec(),
        labour,
        inspection_hours: 0.2,
        consumables: 0.0,
        repairs_per_joint: 0.0,
        repair_price: 0.0,
    }
}

/// Butyl laminate with an outer wrap; bitumen on polyvinyl chloride; viscoelastic with an outer
/// wrap.
fn three() -> [Candidate; 3] {
    let butyl = System {
        primer: Some(primer(8.0)),
        mastic: Some(mastic()),
        layers: vec![
            inner(tape("butyl", 150.0, 55.0, 500.0, 610.0), 0.8),
            tape("outer", 150.0, 55.0, 560.0, 613.556),
        ],
    };
    let bitumen = System {
        primer: Some(primer(5.0)),
        mastic: Some(mastic()),
        layers: vec![tape("bitumen", 150.0, 55.0, 500.0, 610.0)],
    };
    let viscoelastic = System {
        primer: None,
        mastic: Some(mastic()),
        layers: vec![
            inner(tape("viscoelastic", 200.0, 10.0, 500.0, 610.0), 1.8),
            tape("outer", 150.0, 55.0, 560.0, 614.0),
        ],
    };
    let mut third = candidate("C", viscoelastic, &[38.0, 7.0], work(0.2, 0.4));
    third.mastic_price_per_kg = Some(20.0);
    [
        candidate("A", butyl, &[9.0, 7.0], work(0.3, 0.5)),
        candidate("B", bitumen, &[6.0], work(0.3, 0.35)),
        third,
    ]
}

fn amount(comparison: &Comparison, code: &str, kind: CostKind) -> f64 {
    let it = comparison.admissible.iter().find(|it| it.code == code).unwrap();
    let lines = &it.cost.as_ref().unwrap().joint_lines;
    lines.iter().filter(|it| it.kind == kind).map(|it| it.amount).sum()
}

/// Cost of the tapes by the hand rule of the example: π D' (S + N) + end lap with D' the
/// diameter over the wraps below, an advancing turn counted as π D'.
fn tape_by_hand(candidate: &Candidate, cost: &SystemCost) -> f64 {
    let layers = candidate.system.layers.iter().zip(&cost.takeoff.layers);
    let costs = layers.zip(&candidate.tape_prices_per_m2).map(|((layer, taken), price)| {
        let turns = layer.straight_turns + taken.takeoff.helical_turns;
        let metres = PI * (0.610 + taken.build_below_mm / 500.0) * turns;
        metres * layer.roll_width.as_metres() * 1.05 * price
    });
    costs.sum()
}

#[test]
fn three_systems_on_a_24_inch_joint() {
    // An example worked by hand, prices and hours invented. Its tape is measured under the wrap
    // and around the pipe, the take-off's at the middle of the wrap and along the helix, so the
    // tape is compared by the hand rule and the difference is taken out of the sums.
    let (basis, candidates) = (basis(), three());
    let found = applied_cost(&basis, &candidates).unwrap();
    for (candidate, (primer, mastic, tape, labour, sum)) in candidates.iter().zip([
        (0.72, 1.28, 19.66 + 17.27, 52.50, 98.43),
        (1.15, 1.28, 13.11, 41.25, 63.79),
        (0.0, 3.20, 56.87 + 17.28, 40.00, 124.35),
    ]) {
        let code = candidate.code.as_str();
        near(amount(&found, code, CostKind::Primer), primer, 0.005);
        near(amount(&found, code, CostKind::Mastic), mastic, 0.005);
        near(amount(&found, code, CostKind::Labour), labour, 0.005);
        near(amount(&found, code, CostKind::Inspection), 7.0, 0.005);
        let it = found.admissible.iter().find(|it| it.code == code).unwrap();
        let cost = it.cost.as_ref().unwrap();
        let by_hand = tape_by_hand(candidate, cost);
        near(by_hand, tape, 0.02);
        let more = amount(&found, code, CostKind::Tape) - by_hand;
        assert!((0.0..0.005 * tape).contains(&more), "{more}");
        near(cost.per_joint - more, sum, 0.01);
        near(cost.per_joint_with_imported_padding.unwrap() - more, sum + 159.76, 0.015);
        near(cost.per_joint_with_armour.unwrap() - more, sum + 173.15, 0.015);
        near(cost.per_section, 1000.0 * cost.per_joint, 1e-6);
        let padded = cost.per_section_with_imported_padding.unwrap();
        near(padded, cost.per_section + 1000.0 * 159.756, 10.0);
        let area: f64 = cost.section_quantities.tapes.values().map(|it| it.tape_m2).sum();
        let lines = cost.section_lines.iter().filter(|it| it.kind == CostKind::Tape);
        near(area, lines.map(|it| it.quantity).sum(), 1e-6);
    }
    let order: Vec<_> = found.admissible.iter().map(|it| it.code.as_str()).collect();
    assert_eq!(order, ["B", "A", "C"]);
}

#[test]
fn padding_against_armour() {
    // Worked by hand, prices invented: 8.875 m³ × 18 = 159.76; 53.25 + 26.645 m² × 4.5 = 173.15.
    let found = burial_cost(&burial()).unwrap();
    near(found.padding.in_place_m3_per_m, 0.6326, 0.000_06);
    near(found.imported_padding.lines[0].quantity, 8.875, 0.001);
    near(found.imported_padding.per_joint, 159.76, 0.01);
    near(found.armour.lines[0].amount, 53.25, 0.01);
    near(found.armour.lines[1].quantity, 26.645, 0.001);
    near(found.armour.per_joint, 173.15, 0.01);
    // At the break-even price both cost the same: 173.15 / 8.875 = 19.51.
    near(found.break_even_imported_price_per_m3, 19.51, 0.005);
    let price = found.break_even_imported_price_per_m3;
    let even = burial_cost(&Burial { imported_price_per_m3: price, ..burial() }).unwrap();
    near(even.imported_padding.per_joint, even.armour.per_joint, 1e-9);
}

#[test]
fn what_does_not_suit_is_not_ranked_however_cheap() {
    let [mut cheapest_for_cold_pipe, mut unknown, good] = three();
    cheapest_for_cold_pipe.properties.layers =
        vec![layer_properties("bitumen", Backing::PolyvinylChloride, 30.0)];
    cheapest_for_cold_pipe.labour.clear();
    unknown.properties = SystemProperties { plant_coatings: None, ..unknown.properties };
    let candidates = [cheapest_for_cold_pipe, unknown, good];
    let found = applied_cost(&basis(), &candidates).unwrap();
    let codes = |list: &[calc::Compared]| -> Vec<String> {
        list.iter().map(|it| it.code.clone()).collect()
    };
    assert_eq!(codes(&found.admissible), ["C"]);
    assert_eq!(codes(&found.unverified), ["B"]);
    assert_eq!(codes(&found.inadmissible), ["A"]);
    let refused = found.inadmissible.first().unwrap();
    assert!(refused.cost.is_some() && !refused.admissibility.reasons.is_empty());

    let unpriced = CostBasis { price_inadmissible: false, ..basis() };
    let found = applied_cost(&unpriced, &candidates).unwrap();
    assert!(found.inadmissible.first().unwrap().cost.is_none());
}

#[test]
fn rocky_ground_leaves_only_what_has_armour() {
    let rocky = calc::SectionNeeds { backfill: BackfillKind::Rocky, ..section() };
    let [a, mut b, c] = three();
    let mut mesh = layer_properties("mesh", Backing::Fabric, 80.0);
    mesh.armour = true;
    b.properties.layers.push(mesh);
    let found = applied_cost(&CostBasis { section: rocky, ..basis() }, &[a, b, c]).unwrap();
    assert_eq!(found.admissible.len(), 1);
    assert_eq!(found.inadmissible.len(), 2);
}

#[test]
fn a_material_without_its_price_is_a_fault_and_no_zero() {
    let [mut a, b, c] = three();
    a.primer_price_per_l = None;
    a.tape_prices_per_m2.pop();
    let error = applied_cost(&basis(), &[a, b, c]).unwrap_err();
    let fields: Vec<_> = error.faults.iter().map(|it| it.field.as_str()).collect();
    let expected = ["candidates/0/primer_price_per_l", "candidates/0/tape_prices_per_m2/1"];
    assert_eq!(fields, expected);
    assert!(applied_cost(&basis(), &[]).is_err());
    let error = applied_cost(&CostBasis { joints: 0, ..basis() }, &three()).unwrap_err();
    assert_eq!(error.faults.first().unwrap().field, "joints");
}

proptest! {
    #[test]
    fn expected_repairs_can_turn_the_order(repairs in 0.0..1.0f64, price in 0.0..200.0f64) {
        let [a, mut b, c] = three();
        b.repairs_per_joint = repairs;
        b.repair_price = price;
        let found = applied_cost(&basis(), &[a, b, c]).unwrap();
        let per_joint = |code: &str| {
            let it = found.admissible.iter().find(|it| it.code == code).unwrap();
            it.cost.as_ref().unwrap().per_joint
        };
        let repair = amount(&found, "B", CostKind::Repair);
        prop_assert!((repair - repairs * price).abs() < 1e-9);
        prop_assert_eq!(
            found.admissible.first().unwrap().code == "B",
            per_joint("B") < per_joint("A")
        );
        for it in &found.admissible {
            let cost = it.cost.as_ref().unwrap();
            let sum: f64 = cost.joint_lines.iter().map(|line| line.quantity * line.unit_price).sum();
            prop_assert!((cost.per_joint - sum).abs() < 1e-9);
        }
    }
}
