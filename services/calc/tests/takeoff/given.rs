//! Short words for the inputs of the tests.

use calc::{TapeLayer, Wrap};
use units::{Length, Overlap, Percent, Temperature};

pub fn mm(value: f64) -> Length {
    Length::from_millimetres(value).unwrap()
}

pub fn metres(value: f64) -> Length {
    Length::from_metres(value).unwrap()
}

pub fn percent(value: f64) -> Percent {
    Percent::from_percent(value).unwrap()
}

pub fn overlap(value: f64) -> Overlap {
    Overlap::from_percent(value).unwrap()
}

pub fn celsius(value: f64) -> Temperature {
    Temperature::from_celsius(value).unwrap()
}

/// Diameter, width and length in mm, overlap in %; two straight turns, a roll of 15 m, nothing
/// else.
pub fn wrap(diameter: f64, width: f64, overlap_percent: f64, length: f64) -> Wrap {
    Wrap {
        outside_diameter: mm(diameter),
        wrapped_length: mm(length),
        roll_width: mm(width),
        roll_length: metres(15.0),
        overlap: overlap(overlap_percent),
        tape_thickness: mm(0.0),
        build_below: mm(0.0),
        straight_turns: 2.0,
        splice_lap: mm(0.0),
        waste: Percent::ZERO,
    }
}

/// The same as a layer of a system.
pub fn layer(material: &str, it: Wrap) -> TapeLayer {
    TapeLayer {
        material: material.to_owned(),
        wrapped_length: it.wrapped_length,
        roll_width: it.roll_width,
        roll_length: it.roll_length,
        overlap: it.overlap,
        tape_thickness: it.tape_thickness,
        straight_turns: it.straight_turns,
        splice_lap: it.splice_lap,
        waste: it.waste,
    }
}

pub fn near(found: f64, expected: f64, tolerance: f64) {
    assert!((found - expected).abs() <= tolerance, "{found} is not {expected} ± {tolerance}");
}
