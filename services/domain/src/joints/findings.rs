//! What is wrong with the facts as they stand. Facts stay; findings are told beside them.

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::{
    event::{RepairWrap, TestResult},
    gates::{fresh_until, time},
    recall::LOT_RECALLED,
    state::{Ground, JointState, LayerRole, Mark},
};
use crate::{
    ids::EventId,
    setup::{Assignment, InspectionPlan},
};

/// How bad a finding or a nonconformance is.
#[derive(
    Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, ToSchema,
)]
#[serde(rename_all = "snake_case")]
pub enum Severity {
    /// Noted.
    Minor,
    /// Needs a decision before the joint goes on.
    Major,
    /// Something is under the soil that must not be.
    Critical,
}

impl Severity {
    /// The name in JSON and SQL.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Minor => "minor",
            Self::Major => "major",
            Self::Critical => "critical",
        }
    }

    /// The severity of that name.
    pub fn parse(name: &str) -> Option<Self> {
        [Self::Minor, Self::Major, Self::Critical].into_iter().find(|it| it.name() == name)
    }
}

/// Something wrong with a fact.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct Finding {
    /// Stable code.
    pub code: String,
    /// How bad it is, by the inspection plan.
    pub severity: Severity,
    /// What is wrong, with numbers.
    pub detail: String,
    /// The fact.
    pub event: EventId,
}

/// The codes of findings that no gate reports, with their default severity.
const OWN_CODES: [(&str, Severity); 11] = [
    ("REPAIR_IS_PATCH", Severity::Major),
    ("REPAIR_INCOMPLETE", Severity::Major),
    ("VISUAL_INSPECTION_FAILED", Severity::Major),
    ("BURIED_UNRELEASED", Severity::Critical),
    ("BACKFILLED_TOO_LATE", Severity::Minor),
    ("PASS_WITH_HOLIDAYS", Severity::Minor),
    ("TRAVEL_TOO_FAST", Severity::Major),
    ("AFTER_CUT_OUT", Severity::Minor),
    ("AHEAD_OF_CLOCK", Severity::Minor),
    ("SUPERSEDES_NOTHING", Severity::Minor),
    (LOT_RECALLED, Severity::Major),
];

/// The severity of `code` under `plan`: what a gate reports is minor, for the gate itself blocks.
pub fn severity_of(code: &str, plan: Option<&InspectionPlan>) -> Severity {
    let planned = plan.and_then(|plan| plan.severities.get(code).copied());
    let default =
        || OWN_CODES.iter().find(|(known, _)| *known == code).map(|(_, severity)| *severity);
    planned.or_else(default).unwrap_or(Severity::Minor)
}

/// The findings that come from the facts themselves, not from a gate.
pub fn of_facts(
    state: &JointState,
    assigned: Option<Assignment<'_>>,
    buried_unreleased: bool,
) -> Vec<Finding> {
    let plan = assigned.map(|assigned| assigned.plan);
    let has_primer = assigned.is_some_and(|assigned| {
        assigned.system.layers.iter().any(|layer| layer.role == LayerRole::Primer)
    });
    let mut found = Vec::new();
    let mut add = |mark: Mark, code: &str, detail: String| {
        let severity = severity_of(code, plan);
        found.push(Finding { code: code.to_owned(), severity, detail, event: mark.event });
    };
    for repair in &state.coat.repairs {
        if repair.wrap == RepairWrap::Patch {
            let detail = "the repair is a patch; a repair is wrapped over all round the pipe";
            add(repair.mark, "REPAIR_IS_PATCH", detail.to_owned());
        }
        let skipped: Vec<&str> = [
            (repair.removed, "removal of the damaged coating"),
            (repair.cleaned, "cleaning of the steel"),
            (repair.primed || !has_primer, "priming of the steel"),
        ]
        .into_iter()
        .filter_map(|(done, what)| (!done).then_some(what))
        .collect();
        if !skipped.is_empty() {
            let detail = format!("the repair lacks {}", skipped.join(" and "));
            add(repair.mark, "REPAIR_INCOMPLETE", detail);
        }
    }
    for look in &state.coat.failed_looks {
        let detail = "the visual inspection failed and nothing was repaired since";
        add(*look, "VISUAL_INSPECTION_FAILED", detail.to_owned());
    }
    for test in &state.tests {
        let is_newest = state.newest_test().is_some_and(|newest| newest.mark == test.mark);
        if test.holidays_found.unwrap_or(0) > 0
            && test.stale_since.is_none()
            && test.stated == TestResult::Pass
        {
            let count = test.holidays_found.unwrap_or(0);
            let detail = format!("{count} holidays were found: the test counts as failed");
            add(test.mark, "PASS_WITH_HOLIDAYS", detail);
        }
        if let (Some(speed), Some(plan)) = (test.travel_speed_mm_s, plan)
            && speed > plan.travel_speed_max_mm_s
            && is_newest
            && test.stale_since.is_none()
        {
            let most = plan.travel_speed_max_mm_s;
            let detail = format!("the electrode travelled at {speed} mm/s, the plan allows {most}");
            add(test.mark, "TRAVEL_TOO_FAST", detail);
        }
    }
    for mark in &state.after_cut_out {
        let detail = "the weld had been cut out; the new weld has a joint number of its own";
        add(*mark, "AFTER_CUT_OUT", detail.to_owned());
    }
    for mark in &state.ahead {
        let detail = format!("it is said to have happened at {}, after it was recorded", mark.at);
        add(*mark, "AHEAD_OF_CLOCK", detail);
    }
    for mark in &state.correct_nothing {
        let detail = "it takes the place of an entry that is not known on this joint";
        add(*mark, "SUPERSEDES_NOTHING", detail.to_owned());
    }
    if let (Ground::Buried(mark), Some(plan), Some(test)) =
        (state.ground, plan, state.newest_test().filter(|test| test.passed))
        && mark.at > fresh_until(test, plan.test_valid_h)
    {
        let waited = time(mark.at - test.mark.at);
        let (code, hours) = (&plan.code, plan.test_valid_h);
        let detail = format!("covered {waited} after its holiday test, {code} allows {hours} h");
        add(mark, "BACKFILLED_TOO_LATE", detail);
    }
    if let (true, Ground::Buried(mark)) = (buried_unreleased, state.ground) {
        let detail = "the joint is under the soil without a release in force";
        add(mark, "BURIED_UNRELEASED", detail.to_owned());
    }
    found
}
