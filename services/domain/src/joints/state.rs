//! The state of a joint: the fold of its facts. Applying a fact never refuses.

mod types;

use std::collections::HashSet;

use serde::{Deserialize, Serialize};

use super::{
    event::{Ambient, Event, PeelSpecimen, TestResult, WrapLayer},
    fact::{Fact, in_order},
};
use crate::ids::EventId;

pub use types::{
    Applied, Coat, Damage, DamageFrom, Ground, LayerRole, Mark, Peel, Repair, Test, Weld, Work,
};

/// Everything the facts of one joint say.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct JointState {
    /// The weld.
    pub weld: Weld,
    /// The coating.
    pub coat: Coat,
    /// Every holiday test, in order.
    pub tests: Vec<Test>,
    /// The newest fact that coated or disturbed the joint.
    pub disturbed: Option<Mark>,
    /// Holes without repair.
    pub damages: Vec<Damage>,
    /// Where the pipe lies.
    pub ground: Ground,
    /// Facts after the weld was cut out.
    pub after_cut_out: Vec<Mark>,
    /// Facts recorded before they are said to have happened.
    #[serde(default)]
    pub ahead: Vec<Mark>,
    /// Corrections of what is no fact of this joint, as far as is known.
    #[serde(default)]
    pub correct_nothing: Vec<Mark>,
    /// The newest fact of all.
    pub newest: Option<Mark>,
}

impl JointState {
    /// Folds facts, whatever their order of arrival.
    pub fn fold<'a>(facts: impl IntoIterator<Item = &'a Fact> + Clone) -> Self {
        let mut state = Self::default();
        let known: HashSet<EventId> = facts.clone().into_iter().map(|fact| fact.id).collect();
        for fact in in_order(facts) {
            state.apply(fact);
            if fact.supersedes.is_some_and(|id| !known.contains(&id)) {
                let mark = Mark { event: fact.id, at: fact.occurred_at };
                state.correct_nothing.push(mark);
            }
        }
        state
    }

    /// The newest holiday test.
    pub fn newest_test(&self) -> Option<&Test> {
        self.tests.last()
    }

    /// When it was covered, if it lies covered now.
    pub fn buried(&self) -> Option<Mark> {
        match self.ground {
            Ground::Buried(mark) => Some(mark),
            _ => None,
        }
    }

    /// Applies the next fact in the order of the field. Total: history is always readable.
    pub fn apply(&mut self, fact: &Fact) {
        let mark = Mark { event: fact.id, at: fact.occurred_at };
        let corrects = matches!(fact.event, Event::Superseded(_));
        if matches!(self.weld, Weld::CutOut(_)) && !corrects {
            self.after_cut_out.push(mark);
        }
        self.newest = Some(mark);
        if fact.is_ahead() {
            self.ahead.push(mark);
        }
        if fact.event.disturbs() {
            self.disturb(mark);
        }
        self.apply_event(fact, mark);
    }

    fn disturb(&mut self, mark: Mark) {
        self.disturbed = Some(mark);
        for test in self.tests.iter_mut().filter(|test| test.stale_since.is_none()) {
            test.stale_since = Some(mark);
        }
    }

    #[expect(clippy::too_many_lines, reason = "one arm for each kind of fact")]
    fn apply_event(&mut self, fact: &Fact, mark: Mark) {
        match &fact.event {
            Event::Welded(_) => self.weld_is(Weld::AwaitsAcceptance),
            // A fact that was recorded before it is said to have happened opens nothing: nobody
            // knows what came after it. What it spoils, it spoils.
            Event::WeldAccepted(_) | Event::Excavated(_) if fact.is_ahead() => {}
            Event::WeldAccepted(_) => self.weld_is(Weld::Accepted(mark)),
            Event::WeldRejected(_) => self.weld_is(Weld::Rejected(mark)),
            Event::WeldRepaired(_) => {
                self.weld_is(Weld::AwaitsAcceptance);
                self.strip(fact);
            }
            Event::CutOut(_) => self.weld = Weld::CutOut(mark),
            Event::SurfacePrepared(done) => {
                self.strip(fact);
                if !fact.is_ahead() {
                    self.coat.prepared = Some((mark, done.grade.clone()));
                }
                self.work(
                    fact,
                    "preparation",
                    done.applicator.as_ref(),
                    done.crew.as_ref(),
                    &[],
                    None,
                    done.ambient.as_ref(),
                );
            }
            Event::Primed(done) => {
                self.layer(LayerRole::Primer, mark, &done.lots, None);
                self.work(
                    fact,
                    "priming",
                    done.applicator.as_ref(),
                    done.crew.as_ref(),
                    &done.lots,
                    Some(LayerRole::Primer),
                    done.ambient.as_ref(),
                );
            }
            Event::Profiled(done) => {
                let role = LayerRole::ProfilingMastic;
                self.layer(role, mark, &done.lots, None);
                self.work(
                    fact,
                    "profiling",
                    done.applicator.as_ref(),
                    done.crew.as_ref(),
                    &done.lots,
                    Some(role),
                    done.ambient.as_ref(),
                );
            }
            Event::Wrapped(done) => {
                let role = role_of(done.layer);
                self.layer(role, mark, &done.lots, done.overlap_percent);
                self.work(
                    fact,
                    role.words(),
                    done.applicator.as_ref(),
                    done.crew.as_ref(),
                    &done.lots,
                    Some(role),
                    done.ambient.as_ref(),
                );
            }
            Event::Repaired(done) => {
                if !fact.is_ahead() {
                    self.damages
                        .retain(|damage| done.repairs.is_some_and(|it| it != damage.mark.event));
                    self.coat.failed_looks.clear();
                }
                self.coat.repairs.push(Repair {
                    mark,
                    wrap: done.wrap,
                    removed: done.damaged_area_removed,
                    cleaned: done.cleaned,
                    primed: done.primed,
                });
                self.work(
                    fact,
                    "repair",
                    done.applicator.as_ref(),
                    done.crew.as_ref(),
                    &done.lots,
                    None,
                    done.ambient.as_ref(),
                );
            }
            Event::HolidayTested(done) => {
                if done.leaves_holidays() {
                    self.damages.push(Damage { mark, from: DamageFrom::Holidays });
                }
                self.tests.push(Test {
                    mark,
                    passed: done.passed(),
                    stated: done.result,
                    voltage_kv: done.voltage_kv,
                    detector: done.detector.clone(),
                    inspector: done.inspector.clone(),
                    travel_speed_mm_s: done.travel_speed_mm_s,
                    holidays_found: done.holidays_found,
                    ambient: done.ambient.clone(),
                    stale_since: None,
                });
            }
            Event::DamageFound(_) => self.damages.push(Damage { mark, from: DamageFrom::Found }),
            Event::PeelTested(done) => {
                if done.specimen == PeelSpecimen::Joint {
                    self.damages.push(Damage { mark, from: DamageFrom::PeelStrip });
                }
                let passed = done.result == TestResult::Pass;
                if !(passed && fact.is_ahead()) {
                    let force_n_per_mm = done.force_n_per_mm;
                    self.coat.peels.push(Peel { mark, passed, force_n_per_mm });
                }
            }
            Event::ThicknessMeasured(done) => {
                let newest = self.coat.thicknesses.last();
                let hides = newest.is_some_and(|(_, newest)| done.thickness_mm >= *newest);
                if !(hides && fact.is_ahead()) {
                    self.coat.thicknesses.push((mark, done.thickness_mm));
                }
            }
            Event::VisuallyInspected(done) => match done.result {
                TestResult::Pass if fact.is_ahead() => {}
                TestResult::Pass => self.coat.failed_looks.clear(),
                TestResult::Fail => self.coat.failed_looks.push(mark),
            },
            // What is covered is only uncovered by digging: a lowering that was written down with
            // too late a time must not hide that the joint is buried.
            Event::Lowered(_) if self.buried().is_some() => {}
            Event::Lowered(_) => self.ground = Ground::Lowered(mark),
            Event::Backfilled(_) => self.ground = Ground::Buried(mark),
            Event::Excavated(_) => self.ground = Ground::Excavated(mark),
            Event::Superseded(_) => {}
        }
    }

    fn weld_is(&mut self, weld: Weld) {
        if !matches!(self.weld, Weld::CutOut(_)) {
            self.weld = weld;
        }
    }

    /// Bare steel again: the old coating and its holes are gone, its tests stay as history.
    fn strip(&mut self, fact: &Fact) {
        if !fact.is_ahead() {
            self.coat = Coat::default();
            self.damages.clear();
        }
    }

    fn layer(
        &mut self,
        role: LayerRole,
        mark: Mark,
        lots: &[String],
        overlap_percent: Option<f64>,
    ) {
        self.coat.thicknesses.clear();
        self.coat.layers.push(Applied { role, mark, lots: lots.to_vec(), overlap_percent });
    }

    #[expect(clippy::too_many_arguments, reason = "the fields that five kinds of facts share")]
    fn work(
        &mut self,
        fact: &Fact,
        what: &str,
        applicator: Option<&String>,
        crew: Option<&String>,
        lots: &[String],
        layer: Option<LayerRole>,
        ambient: Option<&Ambient>,
    ) {
        self.coat.works.push(Work {
            mark: Mark { event: fact.id, at: fact.occurred_at },
            what: what.to_owned(),
            applicator: applicator.cloned(),
            recorded_by: fact.recorded_by,
            crew: crew.cloned(),
            lots: lots.to_vec(),
            layer,
            ambient: ambient.cloned(),
        });
    }
}

pub(crate) const fn role_of(layer: WrapLayer) -> LayerRole {
    match layer {
        WrapLayer::Inner => LayerRole::InnerWrap,
        WrapLayer::Outer => LayerRole::OuterWrap,
        WrapLayer::Armour => LayerRole::Armour,
    }
}
