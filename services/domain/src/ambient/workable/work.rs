//! What is done at a spread: which sections with which system.

use std::collections::{BTreeMap, BTreeSet};

use calc::{HEAT_TRANSFER_W_PER_M2_K, steel_lag_of_wall_h};
use chrono::NaiveDate;
use units::Length;

use crate::setup::{CoatingSystem, InspectionPlan, ProjectSetup, Section};

/// The sections of one spread that use one coating system.
///
/// Of several sections the thickest wall and the tightest plan count: what is workable is workable
/// in each of them. Joints that are registered with another system than their section's are not
/// looked at.
#[derive(Debug, Clone)]
pub struct Work<'a> {
    /// Code of the spread.
    pub spread: &'a str,
    /// The system.
    pub system: &'a CoatingSystem,
    /// The sections, by code.
    pub sections: Vec<&'a Section>,
}

/// What is done where, by spread and system. A section belongs to the spread it names and to those
/// that the production plan sends there.
pub fn work(setup: &ProjectSetup) -> Vec<Work<'_>> {
    let own = setup.sections.values().filter_map(|it| Some((it.spread.as_deref()?, it)));
    let planned = setup
        .production_plan
        .lines
        .iter()
        .filter_map(|line| Some((line.spread.as_str(), setup.sections.get(&line.section)?)));
    let mut found: BTreeMap<(&str, &str), BTreeMap<&str, &Section>> = BTreeMap::new();
    for (spread, section) in own.chain(planned) {
        let sections = found.entry((spread, &section.coating_system)).or_default();
        sections.insert(&section.code, section);
    }
    let works = found.into_iter().filter_map(|((spread, system), sections)| {
        let system = setup.systems.get(system)?;
        Some(Work { spread, system, sections: sections.into_values().collect() })
    });
    works.collect()
}

impl<'a> Work<'a> {
    /// The inspection plans of its sections, by code.
    pub fn plans(&self, setup: &'a ProjectSetup) -> Vec<&'a InspectionPlan> {
        let codes: BTreeSet<&str> =
            self.sections.iter().map(|it| it.inspection_plan.as_str()).collect();
        codes.into_iter().filter_map(|code| setup.plans.get(code)).collect()
    }

    /// Lag of the steel behind the air, h, of the thickest wall among its sections.
    pub fn steel_lag_h(&self, setup: &ProjectSetup) -> f64 {
        let pipes = self.sections.iter().filter_map(|it| setup.line_pipes.get(&it.line_pipe));
        let lags = pipes.filter_map(|pipe| {
            let wall = Length::from_millimetres(pipe.wall_mm).ok()?;
            steel_lag_of_wall_h(wall, HEAT_TRANSFER_W_PER_M2_K)
        });
        lags.fold(0.0, f64::max)
    }

    /// Joints that the plan has for the day `on`, working or not; none where no line names it.
    pub fn planned_joints(&self, setup: &ProjectSetup, on: NaiveDate) -> Option<f64> {
        let mine = |section: &str| self.sections.iter().any(|it| it.code == section);
        let lines = setup.production_plan.lines.iter().filter(|line| {
            line.spread == self.spread && mine(&line.section) && line.from <= on && on <= line.to
        });
        lines.map(|line| line.joints_per_day).reduce(|sum, joints| sum + joints)
    }
}
