//! How many joints are to be coated on which day.

use chrono::NaiveDate;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::item::{Item, Kind, Reference};
use crate::schema::{FieldError, Validate};

/// So many joints on each working day of a stretch of time.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct PlanLine {
    /// Code of the spread that coats them.
    pub spread: String,
    /// Code of the section they are in.
    pub section: String,
    /// The first day.
    pub from: NaiveDate,
    /// The last day.
    pub to: NaiveDate,
    /// Joints on each working day.
    #[schema(minimum = 0, maximum = 1000)]
    pub joints_per_day: f64,
}

/// What is to be made. There is one plan, and its code is `current`; every version of it is kept.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct ProductionPlan {
    /// Its lines; those of one spread and section do not overlap.
    #[schema(max_items = 2000)]
    pub lines: Vec<PlanLine>,
}

impl Validate for ProductionPlan {
    fn faults(&self) -> Vec<FieldError> {
        let mut faults = Vec::new();
        for (index, line) in self.lines.iter().enumerate() {
            if line.to < line.from {
                let detail = format!("must not be before from, which is {}", line.from);
                faults.push(FieldError::new(&format!("/lines/{index}/to"), "OUT_OF_RANGE", detail));
                continue;
            }
            let same = |it: &&PlanLine| it.spread == line.spread && it.section == line.section;
            let earlier = self.lines.iter().take(index);
            if let Some(other) =
                earlier.filter(same).find(|other| other.from <= line.to && line.from <= other.to)
            {
                let detail = format!(
                    "spread {} in section {} is planned from {} to {} already",
                    line.spread, line.section, other.from, other.to
                );
                faults.push(FieldError::new(&format!("/lines/{index}/from"), "OVERLAPS", detail));
            }
        }
        faults
    }
}

impl Item for ProductionPlan {
    const KIND: Kind = Kind::ProductionPlan;

    fn code(&self) -> &'static str {
        "current"
    }

    fn references(&self) -> Vec<Reference> {
        let lines = self.lines.iter().enumerate();
        lines
            .flat_map(|(index, line)| {
                let at = |field: &str| format!("/lines/{index}/{field}");
                [
                    Reference::new(at("spread"), Kind::Spread, &line.spread),
                    Reference::new(at("section"), Kind::Section, &line.section),
                ]
            })
            .collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn line(spread: &str, section: &str, from: u32, to: u32) -> PlanLine {
        let on = |day| NaiveDate::from_ymd_opt(2026, 6, day).unwrap();
        PlanLine {
            spread: spread.to_owned(),
            section: section.to_owned(),
            from: on(from),
            to: on(to),
            joints_per_day: 30.0,
        }
    }

    #[test]
    fn lines_of_one_spread_and_section_do_not_overlap() {
        let lines = vec![
            line("A", "S1", 1, 5),
            line("A", "S1", 6, 9),
            line("B", "S1", 3, 4),
            line("A", "S2", 1, 9),
            line("A", "S1", 9, 8),
            line("A", "S1", 5, 5),
        ];
        let faults = ProductionPlan { lines }.faults();
        let found: Vec<(&str, &str)> =
            faults.iter().map(|it| (it.pointer.as_str(), it.code.as_str())).collect();
        let expected = [("#/lines/4/to", "OUT_OF_RANGE"), ("#/lines/5/from", "OVERLAPS")];
        assert_eq!(found, expected);
    }
}
