//! Overlap from a measured pitch, necking, contact pressure.

use calc::{
    contact_pressure, measured_overlap, neck_down_that_loses_the_double_layer,
    overlap_after_neck_down, width_after_stretch,
};
use units::Force;

use crate::given::{mm, near, overlap, percent};

#[test]
fn half_the_width_and_a_quarter_inch_on_4_inch_tape() {
    // A county's application sheet (second-hand): overlap 2.25 in of 4 in, 56.25 %, two layers.
    let found = measured_overlap(mm(101.6), mm(101.6 - 57.15), None).unwrap();
    near(found.overlap_percent, 56.25, 1e-9);
    assert_eq!((found.layers_min, found.meets_specified), (2, None));
}

#[test]
fn exactly_the_specified_overlap_passes() {
    // 100 (1 − 45/100), 100 (1 − 22.5/50), 100 (1 − 67.5/150) are 55: derived by hand.
    for width in [50.0, 75.0, 100.0, 150.0, 200.0, 230.0, 300.0] {
        let check = |pitch: f64| {
            let found = measured_overlap(mm(width), mm(pitch), Some(overlap(55.0))).unwrap();
            (found.meets_specified.unwrap(), found.layers_min)
        };
        assert_eq!(check(width * 0.45), (true, 2), "{width}");
        assert_eq!(check(width * 0.45 + 0.1), (false, 2), "{width}");
        assert_eq!(check(width / 2.0), (false, 2), "{width}");
        assert_eq!(check(width / 2.0 + 0.1), (false, 1), "{width}");
        assert_eq!(check(width / 3.0), (true, 3), "{width}");
    }
}

#[test]
fn a_gap_is_an_answer() {
    let found = measured_overlap(mm(100.0), mm(104.0), Some(overlap(0.0))).unwrap();
    near(found.overlap_percent, -4.0, 1e-9);
    assert_eq!((found.layers_min, found.meets_specified), (0, Some(false)));
    near(found.layers_mean, 100.0 / 104.0, 1e-12);
    // Edge to edge is no gap.
    let touching = measured_overlap(mm(100.0), mm(100.0), Some(overlap(0.0))).unwrap();
    assert_eq!((touching.layers_min, touching.meets_specified), (1, Some(true)));
    assert!(measured_overlap(mm(100.0), mm(0.0), None).is_err());
}

#[test]
fn the_double_layer_is_lost_over_10_percent_neck_down_at_55_percent() {
    // k > 2o − 1: 10 % at 55 %, 0 % at 50 %, 20 % at 60 %. Derived by hand.
    let limit = |set: f64| neck_down_that_loses_the_double_layer(overlap(set));
    near(limit(55.0).unwrap(), 10.0, 1e-9);
    near(limit(50.0).unwrap(), 0.0, 1e-9);
    near(limit(60.0).unwrap(), 20.0, 1e-9);
    assert_eq!(limit(49.9), None);

    let after = |down: f64| overlap_after_neck_down(overlap(55.0), percent(down), None).unwrap();
    for (down, layers) in [(0.0, 2), (9.0, 2), (10.0, 2), (11.0, 1)] {
        assert_eq!(after(down).layers_min, layers, "{down} %");
    }
    for (down, expected) in
        [(1.0, 54.5), (2.0, 54.1), (3.0, 53.6), (5.0, 52.6), (10.0, 50.0), (12.0, 48.9)]
    {
        near(after(down).overlap_percent, expected, 0.05);
    }
}

#[test]
fn a_stretched_strip_is_narrower() {
    // w / √(1 + e): 0.990 w at 2 %, 0.953 w at 10 %; mechanics from memory, unverified.
    near(width_after_stretch(mm(100.0), percent(2.0)).as_millimetres(), 99.0, 0.05);
    near(width_after_stretch(mm(100.0), percent(10.0)).as_millimetres(), 95.3, 0.05);
    // Incompressible: length, width and thickness shrink so that the volume stays.
    let (stretch, width) = (0.37, width_after_stretch(mm(80.0), percent(37.0)).as_millimetres());
    let thinner = width / 80.0;
    near((1.0 + stretch) * width / 80.0 * thinner, 1.0, 1e-12);
}

#[test]
fn pressure_under_a_band() {
    // p = n T / (w r), table derived by hand from the formula of thin rings.
    for (tension, width, diameter, one, two, mean) in [
        (50.0, 50.0, 114.3, 17.50, 35.00, 38.88),
        (100.0, 100.0, 219.1, 9.128, 18.26, 20.28),
        (100.0, 100.0, 323.8, 6.177, 12.35, 13.73),
        (150.0, 150.0, 610.0, 3.279, 6.557, 7.286),
        (150.0, 150.0, 1219.0, 1.641, 3.281, 3.646),
    ] {
        let check = |layers: f64, expected: f64| {
            let force = Force::from_newtons(tension).unwrap();
            let found = contact_pressure(force, mm(width), mm(diameter), layers).unwrap();
            near(found.as_kilopascals(), expected, 0.0005 * expected);
        };
        check(1.0, one);
        check(2.0, two);
        check(1.0 / 0.45, mean);
    }
    let force = Force::from_newtons(100.0).unwrap();
    assert!(contact_pressure(force, mm(0.0), mm(100.0), 1.0).is_err());
    assert!(contact_pressure(force, mm(100.0), mm(100.0), f64::NAN).is_err());
}
