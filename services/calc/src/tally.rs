//! What many joints take together: quantities that add up, and whole rolls per material.

use std::collections::BTreeMap;

use units::Length;

use crate::{
    input::{FaultKind, InputError},
    rolls::{Roll, RollCount, rolls_for, shortest_useful_remnant},
    system::{System, system_takeoff},
};

/// Joints of one diameter and one system, one after the other.
#[derive(Debug, Clone, PartialEq)]
pub struct JointRun {
    /// Outside diameter of the bare pipe.
    pub outside_diameter: Length,
    /// The coating system.
    pub system: System,
    /// How many.
    pub joints: u64,
}

/// What runs of joints take. Quantities with waste and loss.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Tally {
    /// Joints.
    pub joints: u64,
    /// Primer by material, L.
    pub primer_l: BTreeMap<String, f64>,
    /// Mastic by material, kg.
    pub mastic_kg: BTreeMap<String, f64>,
    /// Tape by material and width.
    pub tapes: BTreeMap<TapeKey, TapeTally>,
}

/// A tape on the shelf: one material in one width and length of roll.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct TapeKey {
    /// Its material.
    pub material: String,
    /// Width, in whole micrometres so that it compares exactly.
    pub roll_width_um: u64,
    /// Length of a roll, in whole millimetres.
    pub roll_length_mm: u64,
}

/// One tape over many joints.
#[derive(Debug, Clone, PartialEq)]
pub struct TapeTally {
    /// With waste, m.
    pub tape_m: f64,
    /// With waste, m².
    pub tape_m2: f64,
    /// Rolls, cut wrap by wrap in the order of the runs.
    pub rolls: RollCount,
}

/// The most joints that are cut one by one.
const MOST_JOINTS: u64 = 100_000;

/// Adds up `runs` and cuts their rolls in the order given: joint by joint, wrap by wrap.
///
/// Where the remnants of one tape serve wraps of different diameters or laps, the longest lap and
/// the longest of the shortest useful remnants (one turn and the lap) hold for all of them.
pub fn tally(runs: &[JointRun]) -> Result<Tally, InputError> {
    let joints = runs.iter().try_fold(0, |sum: u64, it| sum.checked_add(it.joints));
    let Some(joints) = joints.filter(|it| *it <= MOST_JOINTS) else {
        let kind = FaultKind::Inconsistent("must be at most 100000 joints together");
        return Err(InputError::one("joints", kind));
    };
    let mut tally = Tally { joints, ..Tally::default() };
    let mut cuts: BTreeMap<TapeKey, Cuts> = BTreeMap::new();
    for (index, run) in runs.iter().enumerate() {
        let taken = system_takeoff(run.outside_diameter, &run.system)
            .map_err(|error| error.under(&format!("runs/{index}")))?;
        let count = crate::count::number(run.joints);
        if let (Some(coat), Some(primer)) = (&run.system.primer, taken.primer) {
            *tally.primer_l.entry(coat.material.clone()).or_default() +=
                count * primer.volume.as_litres();
        }
        if let (Some(fill), Some(mastic)) = (&run.system.mastic, taken.mastic) {
            *tally.mastic_kg.entry(fill.material.clone()).or_default() +=
                count * mastic.mass.as_kilograms();
        }
        let mut of_one_joint: BTreeMap<TapeKey, Vec<Length>> = BTreeMap::new();
        for (layer, taken) in run.system.layers.iter().zip(&taken.layers) {
            let key = TapeKey::of(&layer.material, layer.roll_width, layer.roll_length)?;
            let tape = Length::from_metres(taken.takeoff.tape_with_waste_m).map_err(|_| {
                let kind = FaultKind::Uncountable { what: "metres of tape" };
                InputError::one(&format!("runs/{index}"), kind)
            })?;
            let wrapped = Length::from_millimetres(taken.takeoff.wrap_diameter_mm);
            let diameter = wrapped.unwrap_or(run.outside_diameter);
            let shortest = shortest_useful_remnant(diameter, layer.splice_lap);
            cuts.entry(key.clone())
                .or_insert_with(|| Cuts::of(layer.roll_width, layer.roll_length))
                .demand(layer.splice_lap, shortest);
            of_one_joint.entry(key).or_default().push(tape);
        }
        for (key, wraps) in of_one_joint {
            if let Some(cuts) = cuts.get_mut(&key) {
                cuts.runs.push((wraps, run.joints));
            }
        }
    }
    for (key, cuts) in cuts {
        let rolls = rolls_for(cuts.pieces(), &cuts.roll)?;
        let tape_m = rolls.tape_m;
        let tape_m2 = tape_m * cuts.width.as_metres();
        tally.tapes.insert(key, TapeTally { tape_m, tape_m2, rolls });
    }
    Ok(tally)
}

impl TapeKey {
    fn of(material: &str, width: Length, length: Length) -> Result<Self, InputError> {
        let whole = |value: f64, field: &str| {
            crate::count::floor(value.round())
                .ok_or_else(|| InputError::one(field, FaultKind::Uncountable { what: "units" }))
        };
        Ok(Self {
            material: material.to_owned(),
            roll_width_um: whole(width.as_micrometres(), "roll_width_mm")?,
            roll_length_mm: whole(length.as_millimetres(), "roll_length_m")?,
        })
    }
}

/// The wraps that one tape is cut for.
struct Cuts {
    width: Length,
    roll: Roll,
    /// The wraps of one joint, and how many such joints follow each other.
    runs: Vec<(Vec<Length>, u64)>,
}

impl Cuts {
    fn of(width: Length, length: Length) -> Self {
        let roll = Roll { length, splice_lap: Length::ZERO, shortest_remnant: Length::ZERO };
        Self { width, roll, runs: Vec::new() }
    }

    fn demand(&mut self, splice_lap: Length, shortest_remnant: Length) {
        let longer = |one: Length, other: Length| if one < other { other } else { one };
        self.roll.splice_lap = longer(self.roll.splice_lap, splice_lap);
        self.roll.shortest_remnant = longer(self.roll.shortest_remnant, shortest_remnant);
    }

    fn pieces(&self) -> impl Iterator<Item = Length> {
        self.runs
            .iter()
            .flat_map(|(wraps, joints)| (0..*joints).flat_map(move |_| wraps.iter().copied()))
    }
}
