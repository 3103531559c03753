//! Rolls for a sequence of joints: by scrapping remnants, and by joining them on.

use std::f64::consts::PI;

use units::Length;

use crate::{
    count::{self, TOLERANCE},
    input::{FaultKind, InputError},
};

/// How rolls are cut.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Roll {
    /// Length of a fresh roll; over 0.
    pub length: Length,
    /// Lap where a new roll is joined on; shorter than the roll.
    pub splice_lap: Length,
    /// A remnant shorter than this is not begun on a joint that it does not finish.
    pub shortest_remnant: Length,
}

/// What a sequence of joints takes, cut in both ways in the order given.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct RollCount {
    /// Joints in the sequence.
    pub joints: u64,
    /// Sum of their tape, m.
    pub tape_m: f64,
    /// A joint starts with what is left of a roll only where that finishes it.
    pub whole: Cutting,
    /// Remnants are joined on with the splice lap.
    pub spliced: Cutting,
}

/// What was opened and where it went: rolls · length = tape + splice laps + scrap + left.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct Cutting {
    /// Rolls opened.
    pub rolls: u64,
    /// Rolls joined on within a joint.
    pub splices: u64,
    /// Tape in splice laps, m.
    pub splice_laps_m: f64,
    /// Remnants thrown away, m.
    pub scrap_m: f64,
    /// What is left of the last roll, still usable, m.
    pub left_m: f64,
}

/// The shortest remnant that is worth beginning with: one turn and the splice lap; common
/// practice, no source.
pub fn shortest_useful_remnant(diameter: Length, splice_lap: Length) -> Length {
    let shortest = PI * diameter.as_millimetres() + splice_lap.as_millimetres();
    Length::from_millimetres(shortest).unwrap_or(splice_lap)
}

/// Cuts the tape of one joint after the other (waste included, 0 is skipped) from rolls.
///
/// A joint that a remnant finishes is cut from it. Otherwise the remnant is scrapped and fresh
/// rolls are opened (`whole`), or it is used up and fresh rolls are joined on (`spliced`), which
/// costs a splice lap each. A joint that takes several rolls has splices in both ways. Lengths
/// within 1e-9 of a roll count as equal. One pass over the joints.
pub fn rolls_for(
    joints: impl IntoIterator<Item = Length>,
    roll: &Roll,
) -> Result<RollCount, InputError> {
    let (splice_lap_mm, roll_length_mm) =
        (roll.splice_lap.as_millimetres(), roll.length.as_millimetres());
    if splice_lap_mm >= roll_length_mm {
        let kind = FaultKind::SpliceLapTakesTheRoll { splice_lap_mm, roll_length_mm };
        return Err(InputError::one("splice_lap_mm", kind));
    }
    let cutter = Cutter {
        roll: roll.length.as_metres(),
        lap: roll.splice_lap.as_metres(),
        shortest: roll.shortest_remnant.as_metres(),
    };
    let (mut whole, mut spliced) = (Cutting::default(), Cutting::default());
    let (mut count, mut tape_m) = (0, 0.0);
    for tape in joints.into_iter().map(Length::as_metres) {
        cutter.cut(&mut whole, tape, false)?;
        cutter.cut(&mut spliced, tape, true)?;
        count += 1;
        tape_m += tape;
    }
    Ok(RollCount { joints: count, tape_m, whole, spliced })
}

struct Cutter {
    roll: f64,
    lap: f64,
    shortest: f64,
}

impl Cutter {
    fn cut(&self, so_far: &mut Cutting, tape: f64, splicing: bool) -> Result<(), InputError> {
        let tolerance = TOLERANCE * self.roll;
        if tape <= so_far.left_m + tolerance {
            so_far.left_m = (so_far.left_m - tape).max(0.0);
            return Ok(());
        }
        // A remnant no longer than the lap gives nothing when it is joined.
        let begins_with_remnant = splicing
            && so_far.left_m + tolerance >= self.shortest
            && so_far.left_m > self.lap + tolerance;
        let begin = if begins_with_remnant {
            so_far.left_m
        } else {
            so_far.scrap_m += so_far.left_m;
            so_far.rolls += 1;
            self.roll
        };
        let more = count::ceil(((tape - begin) / (self.roll - self.lap)).max(0.0));
        let more = more.ok_or_else(|| {
            InputError::one("splice_lap_mm", FaultKind::Uncountable { what: "rolls" })
        })?;
        let laps = count::number(more) * self.lap;
        so_far.rolls += more;
        so_far.splices += more;
        so_far.splice_laps_m += laps;
        so_far.left_m = (begin + count::number(more) * self.roll - laps - tape).max(0.0);
        Ok(())
    }
}
