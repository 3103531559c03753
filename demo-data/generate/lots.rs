//! Materials and lots, and which lot a crew opens on which day.

use calc::Limits;
use domain::setup::{Lot, MasticSupply, Material, PrimerSupply, Quarantine, TapeSupply};

use super::{
    calendar::{self, LAST},
    line::System,
};

/// The primer lot that ran out of date, and the last day it could be used.
pub const EXPIRED_LOT: (&str, i64) = ("PB-2311", 20);
/// The inner tape in use on spread B that will soon be out of date, and its last day.
pub const EXPIRING_LOT: (&str, i64) = ("TI-88201", LAST + 7);
/// The outer tape put aside, and from which day.
pub const QUARANTINED_LOT: (&str, i64) = ("TO-5107", 25);

#[derive(Clone, Copy)]
pub enum Stuff {
    Primer,
    Mastic,
    Inner,
    Outer,
    Armour,
}

/// The lot from which spread `spread` takes `stuff` on `day`.
pub fn lot(stuff: Stuff, system: System, spread: &str, day: i64) -> &'static str {
    let first = spread == "A";
    match stuff {
        Stuff::Primer if day < EXPIRED_LOT.1 => EXPIRED_LOT.0,
        Stuff::Primer if first => "PB-2404",
        Stuff::Primer => "PB-2407",
        Stuff::Mastic => "MA-142",
        Stuff::Inner if system == System::Hot => "VE-0917",
        Stuff::Inner if first && day >= 15 => "TI-88230",
        Stuff::Inner if !first && day >= 28 => EXPIRING_LOT.0,
        Stuff::Inner => "TI-88214",
        Stuff::Outer if first && day < QUARANTINED_LOT.1 => QUARANTINED_LOT.0,
        Stuff::Outer if !first && day >= 18 => "TO-5120",
        Stuff::Outer => "TO-5112",
        Stuff::Armour if first => "RM-301",
        Stuff::Armour => "RM-304",
    }
}

/// Limits and times are common practice, no source.
pub fn materials() -> Vec<Material> {
    let tape = || limits(5.0, 50.0);
    vec![
        Material {
            flash_off_min: Some(10),
            open_time_min: Some(480),
            primer: Some(PrimerSupply { coverage_m2_per_l: 8.0, loss_percent: Some(15.0) }),
            // Twelve tins of a litre.
            ..bought((21, 12.0, 14.5), material("PRIMER-B", "Oskerra P2 butyl primer", tape()))
        },
        Material {
            mastic: Some(MasticSupply { density_kg_per_l: 1.3, loss_percent: None }),
            ..bought((21, 10.0, 8.0), material("MASTIC-F", "Oskerra F profiling mastic", tape()))
        },
        Material {
            tape: Some(roll(100.0, 15.0, 0.8)),
            // Cartons of six rolls.
            ..bought(
                (28, 90.0, 0.9),
                material(
                    "TAPE-IN",
                    "Oskerra 80 inner tape, three-ply butyl and polyethylene",
                    tape(),
                ),
            )
        },
        Material {
            tape: Some(roll(100.0, 30.0, 0.4)),
            ..bought((28, 180.0, 0.6), material("TAPE-OUT", "Velmund 40 outer tape", tape()))
        },
        Material {
            tape: Some(roll(150.0, 10.0, 1.8)),
            ..bought(
                (35, 40.0, 5.7),
                material("VISCO", "Velmund V18 viscoelastic tape", limits(-10.0, 60.0)),
            )
        },
        Material {
            tape: Some(roll(150.0, 10.0, 0.5)),
            ..bought(
                (35, 40.0, 3.2),
                material("ROCK-WRAP", "Brastane glass wrap, cured by moisture", tape()),
            )
        },
    ]
}

const fn roll(roll_width_mm: f64, roll_length_m: f64, thickness_mm: f64) -> TapeSupply {
    TapeSupply { roll_width_mm, roll_length_m, thickness_mm, waste_percent: None }
}

fn limits(steel_min_c: f64, steel_max_c: f64) -> Limits {
    Limits {
        steel_min_c: Some(steel_min_c),
        steel_max_c: Some(steel_max_c),
        air_min_c: Some(steel_min_c),
        ..Limits::default()
    }
}

/// Stored from 5 to 40 °C.
fn material(code: &str, name: &str, limits: Limits) -> Material {
    Material {
        limits,
        storage_min_c: Some(5.0),
        storage_max_c: Some(40.0),
        ..Material::named(code, name)
    }
}

/// Days from order to delivery, what comes in one pack, and what a unit costs: all invented.
fn bought((lead_time_days, pack, unit_cost): (u32, f64, f64), material: Material) -> Material {
    Material {
        lead_time_days: Some(f64::from(lead_time_days)),
        safety_days: Some(3.0),
        pack_quantity: Some(pack),
        unit_cost: Some(unit_cost),
        ..material
    }
}

pub fn lots() -> Vec<Lot> {
    let mut put_aside = lot_of(QUARANTINED_LOT.0, "TAPE-OUT", -210, 500);
    put_aside.quarantines.push(Quarantine::of(
        calendar::at(QUARANTINED_LOT.1, 6 * 60 + 30),
        None,
        "rolls stored in the sun; adhesive runs at the edges",
    ));
    vec![
        lot_of(EXPIRED_LOT.0, "PRIMER-B", -345, EXPIRED_LOT.1),
        lot_of("PB-2404", "PRIMER-B", -140, 225),
        lot_of("PB-2407", "PRIMER-B", -60, 305),
        lot_of("MA-142", "MASTIC-F", -120, 610),
        lot_of("TI-88214", "TAPE-IN", -320, 410),
        lot_of("TI-88230", "TAPE-IN", -90, 640),
        lot_of(EXPIRING_LOT.0, "TAPE-IN", -680, EXPIRING_LOT.1),
        put_aside,
        lot_of("TO-5112", "TAPE-OUT", -180, 550),
        lot_of("TO-5120", "TAPE-OUT", -75, 655),
        lot_of("VE-0917", "VISCO", -150, 580),
        lot_of("RM-301", "ROCK-WRAP", -80, 200),
        lot_of("RM-304", "ROCK-WRAP", -45, 235),
    ]
}

fn lot_of(code: &str, material: &str, produced: i64, expires: i64) -> Lot {
    Lot {
        code: code.to_owned(),
        material: material.to_owned(),
        produced_on: Some(calendar::date(produced)),
        expires_on: Some(calendar::date(expires)),
        quarantines: Vec::new(),
        extensions: Vec::new(),
    }
}
