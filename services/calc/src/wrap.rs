//! Take-off of one spiral wrap on one joint.

use std::f64::consts::PI;

use units::{Length, Overlap, Percent};

use crate::{
    count,
    input::{Bounds, FaultKind, Faults, InputError},
};

/// One tape wrapped as a spiral on a pipe, with straight turns at the ends.
///
/// Ranges as in [`WRAP_BOUNDS`]; also width ≤ wrapped length, and splice lap < roll length.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Wrap {
    /// Outside diameter of the bare pipe, D.
    pub outside_diameter: Length,
    /// Between the outer edges of the wrap, both laps onto the plant coating included, L.
    pub wrapped_length: Length,
    /// Width of the tape, w.
    pub roll_width: Length,
    /// Length of a roll, R.
    pub roll_length: Length,
    /// Overlap, o.
    pub overlap: Overlap,
    /// Thickness of the tape, t.
    pub tape_thickness: Length,
    /// Radial thickness that is already on the steel, b.
    pub build_below: Length,
    /// Full turns without advance, both ends together, S. Two is common practice, no source; a
    /// published guide specification begins "with one complete wrap".
    pub straight_turns: f64,
    /// Lap where a new roll is joined on, s.
    pub splice_lap: Length,
    /// Waste on top of the geometric length. 5 to 10 % is common practice, no source.
    pub waste: Percent,
}

/// What one wrap takes. Unrounded.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct WrapTakeoff {
    /// Axial advance of a turn, p = w (1 − o), mm.
    pub pitch_mm: f64,
    /// Mean number of layers, m = 1 / (1 − o).
    pub layers_mean: f64,
    /// Fewest layers anywhere between the ends: floor(m), where m within 1e-9 of a whole number
    /// is that number.
    pub layers_min: u64,
    /// Share of the surface with one layer more, %.
    pub share_one_more_percent: f64,
    /// Diameter at the middle of the tape's own build, d = D + 2b + m t, mm.
    pub wrap_diameter_mm: f64,
    /// Turns that advance, N = (L − w) / p.
    pub helical_turns: f64,
    /// Tape in one advancing turn, h = √((π d)² + p²), mm.
    pub helix_turn_mm: f64,
    /// Tape without waste, S π d + N h, m.
    pub tape_m: f64,
    /// Tape with waste, m.
    pub tape_with_waste_m: f64,
    /// Area of the tape (without waste) over the area that is wrapped, π D L; tends to the mean
    /// number of layers on a long wrap.
    pub area_ratio: f64,
    /// Whole joints from one roll, the rest scrapped; 0 where a joint takes more than a roll.
    pub joints_per_roll: u64,
    /// Rolls opened for one joint where remnants are scrapped.
    pub rolls_per_joint_whole: u64,
    /// Long-run average of rolls for a joint where every remnant is joined on.
    pub rolls_per_joint_spliced: f64,
    /// What is left of the opened rolls, m.
    pub remnant_m: f64,
}

/// The admitted ranges by the names of the fields, wider than anything that is wrapped: from a
/// wire to a storage tank.
///
/// The overlap is from 0 to under 100 % by its type.
pub const WRAP_BOUNDS: [(&str, Bounds); 9] = [
    ("outside_diameter_mm", Bounds::new(1.0, 20_000.0, "mm")),
    ("wrapped_length_mm", Bounds::new(1.0, 1e7, "mm")),
    ("roll_width_mm", Bounds::new(1.0, 1e7, "mm")),
    ("roll_length_m", Bounds::new(0.01, 10_000.0, "m")),
    ("tape_thickness_mm", Bounds::new(0.0, 1000.0, "mm")),
    ("build_below_mm", Bounds::new(0.0, 1000.0, "mm")),
    ("straight_turns", Bounds::new(0.0, 1000.0, "turns")),
    ("splice_lap_mm", Bounds::new(0.0, 1e7, "mm")),
    ("waste_percent", Bounds::new(0.0, 1000.0, "%")),
];

/// The take-off of one wrap.
///
/// l = S π d + N √((π d)² + p²) with N = (L − w) / p and p = w (1 − o): geometry of the unrolled
/// cylinder, derived by hand and held against a count of cells in the tests. Tape of overlap o
/// covers 1 / (1 − o) times the area of the pipe, never 1 + o.
pub fn wrap_takeoff(wrap: &Wrap) -> Result<WrapTakeoff, InputError> {
    look_over(wrap)?;
    let (diameter, length) =
        (wrap.outside_diameter.as_millimetres(), wrap.wrapped_length.as_millimetres());
    let width = wrap.roll_width.as_millimetres();

    let pitch = width * wrap.overlap.advance_fraction();
    let layers = Layers::of(1.0 / wrap.overlap.advance_fraction(), "overlap_percent")?;
    let wrap_diameter = diameter
        + 2.0 * wrap.build_below.as_millimetres()
        + layers.mean * wrap.tape_thickness.as_millimetres();
    let straight_turn = PI * wrap_diameter;
    let helix_turn = straight_turn.hypot(pitch);
    let helical_turns = ((length - width) / pitch).max(0.0);
    let tape_m = (wrap.straight_turns * straight_turn + helical_turns * helix_turn) / 1000.0;
    let tape_with_waste_m = wrap.waste.on_top_of(tape_m);

    let roll = wrap.roll_length.as_metres();
    let rolls = rolls_for_one(tape_with_waste_m, roll, wrap.splice_lap.as_metres())?;
    Ok(WrapTakeoff {
        pitch_mm: pitch,
        layers_mean: layers.mean,
        layers_min: layers.min,
        share_one_more_percent: layers.share_one_more_percent,
        wrap_diameter_mm: wrap_diameter,
        helical_turns,
        helix_turn_mm: helix_turn,
        tape_m,
        tape_with_waste_m,
        area_ratio: width * (tape_m * 1000.0) / (PI * diameter * length),
        joints_per_roll: rolls.joints_per_roll,
        rolls_per_joint_whole: rolls.whole,
        rolls_per_joint_spliced: rolls.spliced,
        remnant_m: rolls.remnant_m,
    })
}

fn look_over(wrap: &Wrap) -> Result<(), InputError> {
    let values = [
        wrap.outside_diameter.as_millimetres(),
        wrap.wrapped_length.as_millimetres(),
        wrap.roll_width.as_millimetres(),
        wrap.roll_length.as_metres(),
        wrap.tape_thickness.as_millimetres(),
        wrap.build_below.as_millimetres(),
        wrap.straight_turns,
        wrap.splice_lap.as_millimetres(),
        wrap.waste.as_percent(),
    ];
    let mut faults = Faults::default();
    for ((field, bounds), value) in WRAP_BOUNDS.into_iter().zip(values) {
        faults.range(field, value, bounds);
    }
    let (width_mm, wrapped_length_mm) =
        (wrap.roll_width.as_millimetres(), wrap.wrapped_length.as_millimetres());
    if !count::at_most(width_mm, wrapped_length_mm) {
        faults
            .add("wrapped_length_mm", FaultKind::TapeWiderThanBand { width_mm, wrapped_length_mm });
    }
    let (splice_lap_mm, roll_length_mm) =
        (wrap.splice_lap.as_millimetres(), wrap.roll_length.as_millimetres());
    if splice_lap_mm >= roll_length_mm {
        faults.add(
            "splice_lap_mm",
            FaultKind::SpliceLapTakesTheRoll { splice_lap_mm, roll_length_mm },
        );
    }
    faults.check()
}

/// How many layers lie on the surface between the ends.
pub(crate) struct Layers {
    pub(crate) mean: f64,
    pub(crate) min: u64,
    pub(crate) share_one_more_percent: f64,
}

impl Layers {
    /// From their mean; `field` is to blame where they cannot be counted.
    pub(crate) fn of(mean: f64, field: &str) -> Result<Self, InputError> {
        let min = count::floor(mean).ok_or_else(|| uncountable(field, "layers"))?;
        // A mean that is as good as whole may lie a rounding under it.
        let more = (mean - count::number(min)).max(0.0);
        Ok(Self { mean, min, share_one_more_percent: 100.0 * more })
    }
}

struct Rolls {
    joints_per_roll: u64,
    whole: u64,
    spliced: f64,
    remnant_m: f64,
}

fn rolls_for_one(tape: f64, roll: f64, splice: f64) -> Result<Rolls, InputError> {
    // Without straight turns on a band as wide as the tape there is no tape at all.
    let joints_per_roll = count::floor(roll / tape)
        .ok_or_else(|| uncountable("straight_turns", "joints per roll"))?;
    let whole = if joints_per_roll >= 1 {
        Some(1)
    } else {
        count::ceil((tape - roll) / (roll - splice)).map(|more| 1 + more)
    };
    let whole = whole.ok_or_else(|| uncountable("overlap_percent", "rolls per joint"))?;
    let rest = if joints_per_roll >= 1 {
        roll - count::number(joints_per_roll) * tape
    } else {
        count::number(whole) * roll - count::number(whole - 1) * splice - tape
    };
    Ok(Rolls { joints_per_roll, whole, spliced: tape / (roll - splice), remnant_m: rest.max(0.0) })
}

fn uncountable(field: &str, what: &'static str) -> InputError {
    InputError::one(field, FaultKind::Uncountable { what })
}
