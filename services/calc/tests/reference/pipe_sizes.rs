//! Pipe sizes: fluids 1.3.1, `fluids.piping`, the schedules of carbon steel pipe.

use std::collections::{BTreeMap, BTreeSet};

use crate::table::Table;

/// Schedules with an S at the end belong to stainless pipe and are not in the calculations.
fn reference() -> BTreeMap<(String, String), (f64, f64)> {
    let table = Table::read("tests/reference/tables/pipe_sizes.csv");
    let steel =
        |schedule: &str| !schedule.starts_with(char::is_numeric) || !schedule.ends_with('S');
    let rows = table.rows().filter(|row| steel(row.text("schedule")));
    rows.map(|row| {
        let size = row.number("nps").to_string();
        let walls = (row.number("outside_diameter_mm"), row.number("wall_mm"));
        ((size, row.text("schedule").to_owned()), walls)
    })
    .collect()
}

/// The same to the last printed digit, hundredths of a millimetre.
#[test]
fn every_size_and_wall_of_the_reference_is_known() {
    let reference = reference();
    assert!(reference.len() >= 280);
    for ((nps, schedule), (outside_diameter_mm, wall_mm)) in reference {
        let size = calc::pipe_size_by_nps(&nps).unwrap_or_else(|| panic!("no NPS {nps}"));
        let apart = size.outside_diameter_mm - outside_diameter_mm;
        assert!(apart.abs() < 1e-9, "NPS {nps}: {apart}");
        let found = size.wall_mm(&schedule).unwrap_or_else(|| panic!("no {nps} {schedule}"));
        assert!((found - wall_mm).abs() < 1e-9, "NPS {nps} {schedule}: {found} {wall_mm}");
    }
}

#[test]
fn no_wall_is_known_that_the_reference_has_not() {
    let reference = reference();
    let schedules: BTreeSet<_> = reference.keys().map(|(_, schedule)| schedule.as_str()).collect();
    let walls_of = |size: &calc::PipeSize| {
        schedules.iter().filter(|schedule| size.wall_mm(schedule).is_some()).count()
    };
    let known: usize = calc::pipe_sizes().iter().map(walls_of).sum();
    assert_eq!(known, reference.len());
}
