//! Steel behind the air: scipy 1.17.1, `scipy.integrate.solve_ivp` (Radau, tolerances 1e-12).

use calc::{OutlookHour, WorkableHoursRule, workable_hours};
use chrono::{DateTime, FixedOffset, TimeDelta};
use units::{RelativeHumidity, Temperature};

use crate::table::{Deviation, Row, Table};

/// 40 days of piecewise-linear air, τ from 0.1 to 20 h, steel starting up to 15 K off the air.
/// Largest difference 2e-13 K.
#[test]
fn it_is_the_solution_of_a_solver_of_differential_equations() {
    let table = Table::read("tests/reference/tables/lag.csv");
    let rows: Vec<_> = table.rows().collect();
    let mut deviation = Deviation::default();
    for day in rows.chunk_by(|a, b| a.text("scenario") == b.text("scenario")) {
        let rule = WorkableHoursRule {
            steel_lag_h: day[0].number("tau_h"),
            steel_start: Some(Temperature::from_celsius(day[0].number("steel_start_c")).unwrap()),
            ..WorkableHoursRule::default()
        };
        let outlook: Vec<_> = day.iter().map(|row| hour(*row)).collect();
        let found = workable_hours(&outlook, &rule).unwrap();
        for (row, found) in day.iter().zip(found.hours) {
            deviation.add(found.steel_c - row.number("steel_c"));
        }
    }
    deviation.tell("steel, K");
    assert!(deviation.count >= 1000);
    assert!(deviation.largest <= 1e-9, "{}", deviation.largest);
}

fn hour(row: Row<'_>) -> OutlookHour {
    let start: DateTime<FixedOffset> = "2027-03-01T00:00:00+01:00".parse().unwrap();
    OutlookHour {
        at: start + TimeDelta::hours(row.text("hour").parse().unwrap()),
        air: Temperature::from_celsius(row.number("air_c")).unwrap(),
        relative_humidity: RelativeHumidity::from_percent(50.0).unwrap(),
        rain_mm: None,
    }
}
