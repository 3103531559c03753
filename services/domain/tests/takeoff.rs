//! What the plan will consume, from the set-up.

#![expect(clippy::unwrap_used, reason = "a test that cannot go on has failed")]

use std::f64::consts::PI;

use domain::{
    joints::{JointKind, RegisterEntry, state::LayerRole},
    setup::{Kind, ProjectSetup},
    takeoff::{JointGroup, of_joint, of_many},
};
use proptest::prelude::*;
use serde_json::{Value, json};

/// A line of DN 500, a section with two tapes, one with a tape of which nothing is known.
fn setup() -> ProjectSetup {
    let mut setup = ProjectSetup::empty(chrono_tz::UTC);
    let mut put = |kind: Kind, code: &str, mut body: Value| {
        body["code"] = json!(code);
        setup.insert(kind, code.to_owned(), body).unwrap();
    };
    put(
        Kind::LinePipe,
        "DN500",
        json!({
            "outside_diameter_mm": 508.0, "wall_mm": 9.53, "plant_coating": "polyethylene",
            "plant_coating_thickness_mm": 3.0, "cutback_mm": 150.0,
        }),
    );
    let name = json!({ "name": "A material" });
    put(Kind::Material, "UNKNOWN", name.clone());
    for (code, form, supply) in [
        ("PRIMER", "primer", json!({ "coverage_m2_per_l": 8.0, "loss_percent": 15.0 })),
        ("MASTIC", "mastic", json!({ "density_kg_per_l": 1.3, "loss_percent": 0.0 })),
        (
            "INNER",
            "tape",
            json!({ "roll_width_mm": 100.0, "roll_length_m": 15.0, "thickness_mm": 0.8 }),
        ),
        (
            "OUTER",
            "tape",
            json!({ "roll_width_mm": 100.0, "roll_length_m": 30.0, "thickness_mm": 0.4 }),
        ),
    ] {
        let mut material = name.clone();
        material[form] = supply;
        put(Kind::Material, code, material);
    }
    let layer = |role: &str, material: &str| json!({ "role": role, "material": material, "thickness_mm": 1.0 });
    let mut mastic = layer("profiling_mastic", "MASTIC");
    mastic["only_on"] = json!(["tie_in"]);
    mastic["edge_ramp_mm"] = json!(15.0);
    let full = [
        layer("primer", "PRIMER"),
        mastic,
        layer("inner_wrap", "INNER"),
        layer("outer_wrap", "OUTER"),
    ];
    let partly = [layer("inner_wrap", "INNER"), layer("armour", "UNKNOWN")];
    for (code, layers) in [("FULL", full.to_vec()), ("PARTLY", partly.to_vec())] {
        let system = json!({ "name": "Tape", "surface_grade": "St 3", "layers": layers });
        put(Kind::CoatingSystem, code, system);
    }
    put(Kind::InspectionPlan, "ITP", json!({ "name": "Plan" }));
    for (code, system) in [("S1", "FULL"), ("S2", "PARTLY"), ("S3", "MISSING")] {
        let section = json!({
            "name": "Section", "kp_from_km": 0.0, "kp_to_km": 9.0, "line_pipe": "DN500",
            "coating_system": system, "inspection_plan": "ITP", "backfill": "screened",
            "design_temperature_c": 40.0,
        });
        put(Kind::Section, code, section);
    }
    setup
}

fn group(section: &str, kind: JointKind) -> JointGroup {
    JointGroup { section: section.to_owned(), kind, coating_system: None }
}

fn joint(section: &str, kind: JointKind) -> RegisterEntry {
    RegisterEntry {
        joint_number: "J-1".to_owned(),
        kp_m: 100.0,
        section: section.to_owned(),
        kind,
        coating_system: None,
        pipe_before: None,
        pipe_after: None,
        heat_before: None,
        heat_after: None,
        welder: None,
        welded_on: None,
    }
}

/// Tape on one joint by the definition of the wrap: two straight turns and the helix between, on
/// the diameter at the middle of the tape's own build.
fn tape_m(below_mm: f64, tape_mm: f64) -> f64 {
    let (length, width, overlap) = (2.0 * (150.0 + 50.0), 100.0, 0.55);
    let pitch = width * (1.0 - overlap);
    let turn = PI * (508.0 + 2.0 * below_mm + tape_mm / (1.0 - overlap));
    let turns = (length - width) / pitch;
    1.05 * (2.0 * turn + turns * turn.hypot(pitch)) / 1000.0
}

#[test]
fn a_joint_takes_what_the_geometry_says_layer_by_layer() {
    let need = of_joint(&setup(), &joint("S1", JointKind::TieIn));
    assert_eq!(need.coating_system.as_deref(), Some("FULL"));
    assert_eq!(need.unknown, []);
    let roles: Vec<LayerRole> = need.layers.iter().map(|it| it.role).collect();
    assert_eq!(
        roles,
        [LayerRole::Primer, LayerRole::ProfilingMastic, LayerRole::InnerWrap, LayerRole::OuterWrap,]
    );

    // π · 0.508 m · 0.4 m / 8 m²/L and 15 % on top: derived by hand.
    let primer = need.layers[0].primer_l.unwrap();
    assert!((primer - PI * 0.508 * 0.4 / 8.0 * 1.15).abs() < 1e-9, "{primer}");
    // Two fillets of 3 mm by 15 mm round 508 mm (Pappus), 1.3 kg/L: derived by hand.
    let fillet_mm3 = PI * (508.0 + 2.0) * (15.0 * 3.0 / 2.0);
    let mastic = need.layers[1].mastic_kg.unwrap();
    assert!((mastic - 2.0 * fillet_mm3 * 1.3e-6).abs() < 1e-9, "{mastic}");
    let inner = need.layers[2].tape_m.unwrap();
    assert!((inner - tape_m(0.0, 0.8)).abs() < 1e-9, "{inner}");
    // The inner tape lies 0.8 mm · 2.2222 thick under the outer one.
    let outer = need.layers[3].tape_m.unwrap();
    assert!((outer - tape_m(0.8 / 0.45, 0.4)).abs() < 1e-9, "{outer}");
    assert_eq!((need.layers[2].layers_min, need.layers[2].rolls), (Some(2), Some(1)));
}

#[test]
fn mastic_is_for_the_joints_that_need_it() {
    let need = of_joint(&setup(), &joint("S1", JointKind::Mainline));
    assert!(need.layers.iter().all(|it| it.role != LayerRole::ProfilingMastic));
}

#[test]
fn what_the_set_up_does_not_tell_is_named_and_not_guessed() {
    let need = of_joint(&setup(), &joint("S2", JointKind::Mainline));
    assert_eq!(need.layers.len(), 1);
    assert_eq!(need.unknown.len(), 1);
    assert_eq!(need.unknown[0].role, Some(LayerRole::Armour));
    assert!(need.unknown[0].detail.contains("UNKNOWN"), "{}", need.unknown[0].detail);

    let need = of_joint(&setup(), &joint("S3", JointKind::Mainline));
    assert!(need.layers.is_empty());
    assert_eq!(need.unknown[0].detail, "coating system MISSING is not known");
}

#[test]
fn joints_of_which_nothing_is_known_are_counted() {
    let groups = [(group("S1", JointKind::Mainline), 3), (group("S3", JointKind::Mainline), 4)];
    let bill = of_many(&setup(), &groups).unwrap();
    assert_eq!((bill.joints, bill.joints_unknown), (7, 4));
    assert_eq!(bill.unknown.len(), 1);
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(64))]

    #[test]
    fn sections_add_up_to_the_project(one in 0..400_u64, two in 0..400_u64, three in 0..400_u64) {
        let setup = setup();
        let groups = [
            (group("S1", JointKind::Mainline), one),
            (group("S1", JointKind::TieIn), two),
            (group("S2", JointKind::Mainline), three),
        ];
        let whole = of_many(&setup, &groups).unwrap();
        let parts: Vec<_> = groups.iter().map(|it| of_many(&setup, std::slice::from_ref(it)).unwrap()).collect();
        for sum in &whole.materials {
            let of_parts = |field: fn(&domain::takeoff::MaterialSum) -> Option<f64>| -> f64 {
                let same = parts.iter().flat_map(|it| &it.materials);
                same.filter(|it| it.material == sum.material).filter_map(field).sum()
            };
            for field in [
                (|it: &domain::takeoff::MaterialSum| it.tape_m) as fn(&_) -> _,
                |it| it.tape_m2,
                |it| it.primer_l,
                |it| it.mastic_kg,
            ] {
                let (all, added) = (field(sum).unwrap_or(0.0), of_parts(field));
                prop_assert!((all - added).abs() <= 1e-9 * added.max(1.0), "{all} {added}");
            }
            // Remnants go from one section to the next, so rolls can only be saved.
            let rolls: u64 = parts
                .iter()
                .flat_map(|it| &it.materials)
                .filter(|it| it.material == sum.material)
                .filter_map(|it| it.rolls_spliced)
                .sum();
            prop_assert!(sum.rolls_spliced.unwrap_or(0) <= rolls);
            if let (Some(spliced), Some(whole)) = (sum.rolls_spliced, sum.rolls_whole) {
                prop_assert!(spliced <= whole);
            }
        }
        prop_assert_eq!(whole.joints, one + two + three);
    }
}
