//! Tape for one joint: arc lengths by quadrature (scipy 1.17.1), layers by counting bands in exact
//! fractions, rolls by cutting and joining one after the other.

use calc::{Wrap, WrapTakeoff, wrap_takeoff};
use units::{Length, Overlap, Percent};

use crate::table::{Deviation, Row, Table};

/// 400 wraps on NPS 2 to 48, tape 30 to 300 mm wide, overlap 0 to 85.5 %.
///
/// The relative bound of 1e-8 is that of the quadrature, whose derivative is taken by differences.
/// Largest difference 5e-10.
#[test]
fn it_is_what_quadrature_counting_and_cutting_give() {
    let mut deviation = Deviation::default();
    for row in Table::read("tests/reference/tables/wrap_takeoff.csv").rows() {
        let found = wrap_takeoff(&wrap(row)).unwrap();
        for (column, value) in lengths_and_shares(&found) {
            let expected = row.number(column);
            deviation.add((value - expected) / expected.abs().max(1.0));
            assert!(deviation.largest <= 1e-8, "{column}: {value} {expected}");
        }
        for (column, value) in [
            ("layers_min", found.layers_min),
            ("joints_per_roll", found.joints_per_roll),
            ("rolls_per_joint_whole", found.rolls_per_joint_whole),
        ] {
            assert_eq!(value, row.count(column), "{column}: {wrap:?}", wrap = wrap(row));
        }
    }
    deviation.tell("wrap take-off, relative over 1");
    assert!(deviation.count >= 300 * 10);
}

/// 2000 joints cut in a row, every remnant joined on. The very first roll has no lap, so a roll of
/// the two thousandth part is the bound.
#[test]
fn the_spliced_average_is_that_of_a_long_row_of_joints() {
    let mut deviation = Deviation::default();
    for row in Table::read("tests/reference/tables/wrap_takeoff.csv").rows() {
        let found = wrap_takeoff(&wrap(row)).unwrap();
        deviation.add(found.rolls_per_joint_spliced - row.number("rolls_per_joint_spliced"));
    }
    deviation.tell("rolls per joint, spliced");
    assert!(deviation.count >= 300);
    assert!(deviation.largest <= 1.0 / 2000.0, "{}", deviation.largest);
}

fn lengths_and_shares(found: &WrapTakeoff) -> [(&'static str, f64); 10] {
    [
        ("pitch_mm", found.pitch_mm),
        ("layers_mean", found.layers_mean),
        ("share_one_more_percent", found.share_one_more_percent),
        ("wrap_diameter_mm", found.wrap_diameter_mm),
        ("helical_turns", found.helical_turns),
        ("helix_turn_mm", found.helix_turn_mm),
        ("tape_m", found.tape_m),
        ("tape_with_waste_m", found.tape_with_waste_m),
        ("area_ratio", found.area_ratio),
        ("remnant_m", found.remnant_m),
    ]
}

fn wrap(row: Row<'_>) -> Wrap {
    let length = |column| Length::from_millimetres(row.number(column)).unwrap();
    Wrap {
        outside_diameter: length("outside_diameter_mm"),
        wrapped_length: length("wrapped_length_mm"),
        roll_width: length("roll_width_mm"),
        roll_length: Length::from_metres(row.number("roll_length_m")).unwrap(),
        overlap: Overlap::from_percent(row.number("overlap_percent")).unwrap(),
        tape_thickness: length("tape_thickness_mm"),
        build_below: length("build_below_mm"),
        straight_turns: row.number("straight_turns"),
        splice_lap: length("splice_lap_mm"),
        waste: Percent::from_percent(row.number("waste_percent")).unwrap(),
    }
}
