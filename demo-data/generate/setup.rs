//! The set-up items, each kind one file.

use domain::{
    joints::{JointKind, state::LayerRole},
    setup::{
        Backfill, Calibration, CoatingSystem, Crew, Detector, InspectionPlan, Kind, Layer,
        LinePipe, Location, LocationKind, Section, Spread,
    },
};
use serde::Serialize;

use super::{
    calendar,
    line::{Joint, STRETCHES, System},
    lots, plan, users,
};

/// The detector whose calibration ended, and its last day.
pub const LAPSED_DETECTOR: (&str, i64) = ("HD-03", 34);

/// The detector of a spread.
pub const fn detector(spread: &str) -> &'static str {
    if matches!(spread.as_bytes(), b"A") { "HD-01" } else { "HD-02" }
}

pub fn file(kind: Kind, joints: &[Joint]) -> anyhow::Result<String> {
    match kind {
        Kind::LinePipe => json(&line_pipes()),
        Kind::Spread => json(&spreads()),
        Kind::Crew => json(&crews()),
        Kind::Section => json(&sections()),
        Kind::Material => json(&lots::materials()),
        Kind::Lot => json(&lots::lots()),
        Kind::CoatingSystem => json(&systems()),
        Kind::InspectionPlan => json(&[inspection_plan()]),
        Kind::Person => json(&users::people()),
        Kind::Detector => json(&detectors()),
        Kind::Location => json(&locations()),
        Kind::WorkingCalendar => json(&[plan::calendar()]),
        Kind::ProductionPlan => json(&[plan::plan(joints)]),
    }
}

pub fn json<T: Serialize + ?Sized>(value: &T) -> anyhow::Result<String> {
    Ok(serde_json::to_string_pretty(value)? + "\n")
}

/// DN 500 has 508 mm; walls and coating as a gas line of that size may have them: common
/// practice, no source.
fn line_pipes() -> [LinePipe; 2] {
    [("DN500-9.5", 9.53, 2.9), ("DN500-12.7", 12.7, 2.9)].map(|(code, wall_mm, coating)| LinePipe {
        code: code.to_owned(),
        outside_diameter_mm: 508.0,
        wall_mm,
        plant_coating: "three-layer polyethylene".to_owned(),
        plant_coating_thickness_mm: coating,
        cutback_mm: 150.0,
    })
}

fn spreads() -> [Spread; 2] {
    [("A", "Spread A, from the west"), ("B", "Spread B, from the compressor yard")]
        .map(|(code, name)| Spread { code: code.to_owned(), name: name.to_owned() })
}

fn crews() -> [Crew; 4] {
    [("A1", "A"), ("A2", "A"), ("B1", "B"), ("B2", "B")].map(|(code, spread)| Crew {
        code: code.to_owned(),
        name: format!("Coating crew {code}"),
        spread: spread.to_owned(),
    })
}

fn sections() -> Vec<Section> {
    STRETCHES
        .iter()
        .map(|stretch| {
            let hot = stretch.system == System::Hot;
            Section {
                code: stretch.code.to_owned(),
                name: stretch.name.to_owned(),
                kp_from_km: stretch.from_km,
                kp_to_km: stretch.to_km,
                line_pipe: if hot { "DN500-12.7" } else { "DN500-9.5" }.to_owned(),
                coating_system: stretch.system.code().to_owned(),
                spread: Some(stretch.spread.to_owned()),
                inspection_plan: "ITP-1".to_owned(),
                backfill: match stretch.system {
                    System::Plain => Backfill::Screened,
                    System::Rocky => Backfill::Rocky,
                    System::Hot => Backfill::SandPadding,
                },
                design_temperature_c: if hot { 70.0 } else { 40.0 },
            }
        })
        .collect()
}

/// Build-ups: common practice, no source.
fn systems() -> Vec<CoatingSystem> {
    let primer = || layer(LayerRole::Primer, "PRIMER-B", 0.0, None);
    let mastic = || Layer {
        only_on: vec![JointKind::TieIn, JointKind::Fitting],
        ..layer(LayerRole::ProfilingMastic, "MASTIC-F", 0.0, None)
    };
    let inner = || layer(LayerRole::InnerWrap, "TAPE-IN", 1.6, Some(55.0));
    let outer = || layer(LayerRole::OuterWrap, "TAPE-OUT", 0.8, Some(55.0));
    let armour = layer(LayerRole::Armour, "ROCK-WRAP", 1.0, Some(50.0));
    let viscoelastic = layer(LayerRole::InnerWrap, "VISCO", 1.8, Some(10.0));
    vec![
        system(
            System::Plain,
            "Butyl tape, two wraps",
            2.2,
            vec![primer(), mastic(), inner(), outer()],
        ),
        system(
            System::Rocky,
            "Butyl tape, two wraps and glass wrap for rock",
            3.1,
            vec![primer(), mastic(), inner(), outer(), armour],
        ),
        system(
            System::Hot,
            "Viscoelastic tape and outer wrap, for hot pipe",
            2.4,
            vec![viscoelastic, outer()],
        ),
    ]
}

fn system(system: System, name: &str, least_mm: f64, layers: Vec<Layer>) -> CoatingSystem {
    CoatingSystem {
        code: system.code().to_owned(),
        name: name.to_owned(),
        surface_grade: "St 3".to_owned(),
        thickness_min_mm: Some(least_mm),
        layers,
    }
}

fn layer(role: LayerRole, material: &str, thickness_mm: f64, overlap: Option<f64>) -> Layer {
    let mastic = role == LayerRole::ProfilingMastic;
    Layer {
        overlap_min_percent: overlap,
        // The weld cap and its ramp: an assumption of the scenario.
        edge_ramp_mm: mastic.then_some(15.0),
        weld_cap_mm: mastic.then_some(2.0),
        weld_ramp_mm: mastic.then_some(10.0),
        ..Layer::of(role, material, thickness_mm)
    }
}

fn inspection_plan() -> InspectionPlan {
    InspectionPlan {
        name: "Field coating inspection plan".to_owned(),
        ..InspectionPlan::with_defaults("ITP-1")
    }
}

fn detectors() -> Vec<Detector> {
    [
        ("HD-01", "Spread A", 260),
        ("HD-02", "Spread B", 190),
        (LAPSED_DETECTOR.0, "Spare", LAPSED_DETECTOR.1),
    ]
    .into_iter()
    .map(|(code, name, last)| Detector {
        code: code.to_owned(),
        name: format!("Holiday detector, {}", name.to_lowercase()),
        calibrations: vec![Calibration {
            certificate: format!("K-{}", 7_000 + last),
            valid_from: calendar::date(last - 364),
            valid_to: calendar::date(last),
        }],
    })
    .collect()
}

/// A yard, a container on each spread, and what each crew has with it.
fn locations() -> Vec<Location> {
    let place = |code: &str, name: &str, kind, crew: Option<&str>| Location {
        code: code.to_owned(),
        name: name.to_owned(),
        kind,
        crew: crew.map(str::to_owned),
    };
    let stores = [
        ("YARD", "Pipe yard, coating store", LocationKind::Yard),
        ("BOX-A", "Container on spread A", LocationKind::Container),
        ("BOX-B", "Container on spread B", LocationKind::Container),
    ];
    let stores = stores.map(|(code, name, kind)| place(code, name, kind, None));
    let crews = crews().map(|crew| {
        let (code, name) = (format!("CREW-{}", crew.code), format!("With crew {}", crew.code));
        place(&code, &name, LocationKind::Crew, Some(&crew.code))
    });
    stores.into_iter().chain(crews).collect()
}

/// What a whole coat of a system measures and the voltage that its test needs.
pub fn nominal(system: System) -> (f64, f64) {
    let thickness: f64 = systems()
        .iter()
        .filter(|it| it.code == system.code())
        .flat_map(|it| &it.layers)
        .map(|layer| layer.thickness_mm)
        .sum();
    // 5 kV and 5 kV more per mm, at most 20 kV: the plan's rule.
    (thickness, (5.0 + 5.0 * thickness).min(20.0))
}
