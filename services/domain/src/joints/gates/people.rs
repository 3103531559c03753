//! Qualified applicators and inspectors.

use super::{Reasons, View};
use crate::{
    joints::state::Mark,
    setup::{Capability, Person},
};

/// Everybody who coated or tested was qualified that day for that system.
pub(super) fn people(view: &View<'_>) -> Reasons {
    let mut reasons = Reasons::default();
    for work in &view.state.coat.works {
        let recorder = || view.setup.person_of(work.recorded_by).map(|it| it.code.as_str());
        let named = work.applicator.as_deref().or_else(recorder);
        if let Some(code) = named {
            check(view, code, Capability::Applicator, work.mark, &mut reasons);
        } else {
            let detail = format!("no applicator is named for the {}", work.what);
            reasons.shut("APPLICATOR_NOT_NAMED", detail, &[work.mark]);
        }
    }
    if let Some(test) = view.state.newest_test() {
        if let Some(code) = &test.inspector {
            check(view, code, Capability::Inspector, test.mark, &mut reasons);
        } else {
            let detail = "no inspector is named for the holiday test";
            reasons.shut("INSPECTOR_NOT_NAMED", detail, &[test.mark]);
        }
    }
    reasons
}

fn check(view: &View<'_>, code: &str, needed: Capability, mark: Mark, reasons: &mut Reasons) {
    let Some(person): Option<&Person> = view.setup.people.get(code) else {
        reasons.shut("PERSON_UNKNOWN", format!("person {code} is not known"), &[mark]);
        return;
    };
    let (Some(assigned), day) = (view.assigned, view.setup.day(mark.at)) else { return };
    if !person.qualified(needed, &assigned.system.code, day) {
        let role = match needed {
            Capability::Applicator => "applicator",
            Capability::Inspector => "inspector",
        };
        let system = &assigned.system.code;
        let detail = format!("{code} was not qualified as {role} of system {system} on {day}");
        reasons.shut("NOT_QUALIFIED", detail, &[mark]);
    }
}
