//! Which systems suit a section.

use calc::{
    BackfillKind, Backing, Backing as B, LayerProperties, ReasonCode, ReasonCode as C,
    SectionNeeds, StressClass, Suitability, SurfaceGrade, SystemProperties, admissibility,
};
use proptest::prelude::*;

use crate::given::celsius;

pub fn section() -> SectionNeeds {
    SectionNeeds {
        design_temperature: celsius(45.0),
        lowest_temperature: Some(celsius(-5.0)),
        plant_coating: Some("three-layer polyethylene".to_owned()),
        surface_grade: Some(SurfaceGrade::St3),
        backfill: BackfillKind::SandPadding,
        stress_class: Some(StressClass::B),
    }
}

pub fn layer_properties(material: &str, backing: Backing, to_celsius: f64) -> LayerProperties {
    LayerProperties {
        material: material.to_owned(),
        backing: Some(backing),
        operating_min: Some(celsius(-20.0)),
        operating_max: Some(celsius(to_celsius)),
        needs_primer: Some(true),
        armour: false,
    }
}

pub fn properties() -> SystemProperties {
    SystemProperties {
        layers: vec![
            layer_properties("inner", Backing::Polyethylene, 60.0),
            layer_properties("outer", Backing::Polyethylene, 50.0),
        ],
        primer: true,
        surface_grade: Some(SurfaceGrade::St2),
        plant_coatings: Some(vec!["Three-layer polyethylene".to_owned(), "epoxy".to_owned()]),
        stress_class: Some(StressClass::C),
    }
}

fn codes(section: &SectionNeeds, system: &SystemProperties) -> Vec<ReasonCode> {
    admissibility(section, system).reasons.into_iter().map(|it| it.code).collect()
}

#[test]
fn a_system_of_which_everything_is_known_and_holds_is_admissible() {
    let found = admissibility(&section(), &properties());
    assert_eq!(found.reasons, []);
    assert_eq!(found.suitability(), Suitability::Admissible);
}

#[test]
fn every_reason_is_named_at_once() {
    let asked = SectionNeeds {
        design_temperature: celsius(65.0),
        lowest_temperature: Some(celsius(-30.0)),
        plant_coating: Some("coal tar".to_owned()),
        surface_grade: Some(SurfaceGrade::St2),
        backfill: BackfillKind::Rocky,
        stress_class: Some(StressClass::C),
    };
    let mut system = properties();
    system.layers[0].backing = Some(Backing::PolyvinylChloride);
    system.primer = false;
    system.surface_grade = Some(SurfaceGrade::Sa2Half);
    system.stress_class = Some(StressClass::A);
    assert_eq!(
        codes(&asked, &system),
        [
            C::TooHot,
            C::TooCold,
            C::TooHot,
            C::TooCold,
            C::PrimerMissing,
            C::BackingsDoNotLaminate,
            C::PlantCoatingIncompatible,
            C::SurfaceGradeTooLow,
            C::ArmourMissing,
            C::StressClassTooLow,
        ]
    );
    let judged = admissibility(&asked, &system);
    assert_eq!(judged.suitability(), Suitability::Inadmissible);
    assert_eq!(
        judged.reasons.first().unwrap().detail,
        "design temperature 65 °C; inner is good to 60 °C"
    );
}

#[test]
fn exactly_on_a_limit_suits() {
    let asked = SectionNeeds {
        design_temperature: celsius(50.0),
        lowest_temperature: Some(celsius(-20.0)),
        surface_grade: Some(SurfaceGrade::St2),
        stress_class: Some(StressClass::C),
        ..section()
    };
    assert_eq!(codes(&asked, &properties()), []);
}

#[test]
fn polyvinyl_chloride_does_not_laminate_to_polyethylene_either_way() {
    // Common practice, no source.
    let pair = |below: Option<Backing>, above: Option<Backing>| {
        let mut system = properties();
        system.layers[0].backing = below;
        system.layers[1].backing = above;
        codes(&section(), &system)
    };
    let refused = [ReasonCode::BackingsDoNotLaminate];
    assert_eq!(pair(Some(B::PolyvinylChloride), Some(B::Polyethylene)), refused);
    assert_eq!(pair(Some(B::Polyethylene), Some(B::PolyvinylChloride)), refused);
    assert_eq!(pair(Some(B::PolyvinylChloride), Some(B::PolyvinylChloride)), []);
    assert_eq!(pair(Some(B::Polyethylene), Some(B::Fabric)), []);
    // A pair nobody has told about is not passed.
    let unknown = [ReasonCode::BackingUnknown];
    assert_eq!(pair(Some(B::Polypropylene), Some(B::Polyethylene)), unknown);
    assert_eq!(pair(None, Some(B::Polyethylene)), unknown);
}

#[test]
fn armour_among_stones() {
    let rocky = SectionNeeds { backfill: BackfillKind::Rocky, ..section() };
    let mut system = properties();
    assert_eq!(codes(&rocky, &system), [ReasonCode::ArmourMissing]);
    let mut mesh = layer_properties("mesh", Backing::Fabric, 80.0);
    mesh.armour = true;
    system.layers.push(mesh);
    assert_eq!(codes(&rocky, &system), []);
}

#[test]
fn what_is_not_known_is_said_and_never_passed() {
    let nothing = SystemProperties {
        layers: vec![LayerProperties {
            material: "tape".to_owned(),
            backing: None,
            operating_min: None,
            operating_max: None,
            needs_primer: None,
            armour: false,
        }],
        primer: false,
        surface_grade: None,
        plant_coatings: None,
        stress_class: None,
    };
    let expected = [
        C::OperatingLimitsUnknown,
        C::OperatingLimitsUnknown,
        C::PrimerNeedUnknown,
        C::PlantCoatingUnknown,
        C::SurfaceGradeUnknown,
        C::StressClassUnknown,
    ];
    assert_eq!(codes(&section(), &nothing), expected);
    assert_eq!(admissibility(&section(), &nothing).suitability(), Suitability::Unverified);
    let no_layers = SystemProperties { layers: Vec::new(), ..properties() };
    assert_eq!(codes(&section(), &no_layers), [C::LayersUnknown]);
}

#[test]
fn grades_are_read_as_people_write_them() {
    for grade in SurfaceGrade::ALL {
        assert_eq!(SurfaceGrade::parse(grade.name()), Some(grade));
    }
    for text in ["Sa 2 1/2", "SA2.5", "sa 2½"] {
        assert_eq!(SurfaceGrade::parse(text), Some(SurfaceGrade::Sa2Half), "{text}");
    }
    // There is no St 1 (ISO 8501-1; from memory, unverified).
    assert_eq!(SurfaceGrade::parse("St 1"), None);
    assert!(SurfaceGrade::ALL.windows(2).all(|pair| pair[0] < pair[1]));
}

proptest! {
    #[test]
    fn forgetting_a_fact_never_makes_a_system_admissible(
        design in -10.0..90.0f64, forget in 0..8u8, grade in 0..5usize, rocky: bool,
    ) {
        let asked = SectionNeeds {
            design_temperature: celsius(design),
            lowest_temperature: Some(celsius(design.min(0.0))),
            surface_grade: SurfaceGrade::ALL.get(grade).copied(),
            backfill: if rocky { BackfillKind::Rocky } else { BackfillKind::Screened },
            ..section()
        };
        let mut less = (asked.clone(), properties());
        match forget {
            0 => less.0.plant_coating = None,
            1 => less.0.surface_grade = None,
            2 => less.1.surface_grade = None,
            3 => less.1.plant_coatings = None,
            4 => less.1.stress_class = None,
            5 => less.1.layers[0].operating_max = None,
            6 => less.1.layers[0].operating_min = None,
            _ => less.1.layers[1].backing = None,
        }
        prop_assert_ne!(admissibility(&less.0, &less.1).suitability(), Suitability::Admissible);
    }
}
