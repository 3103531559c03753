//! Every course of one joint up to a bounded length, over the real decisions.

use std::{
    fmt,
    hash::{Hash, Hasher},
    sync::LazyLock,
};

use chrono::{DateTime, TimeDelta, Utc};
use domain::{
    ids::ReleaseId,
    joints::{
        Assessment, Event, Fact, JointState, Outside, RegisterEntry,
        assess::{ReleaseInForce, assess},
        event::WrapLayer,
        release::{Decision, contradictions, release},
    },
    setup::ProjectSetup,
};
use stateright::{Checker, HasDiscoveries, Model, Property};
use uuid::Uuid;

use crate::{
    builder::{
        QA_MANAGER, accepted, at, backfilled, damage, entry, fact, failed, passed, prepared,
        rejected, repaired, setup, user, withdrawn, wrapped,
    },
    properties::naive,
};

/// What somebody can do next.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
enum Act {
    Accept,
    Reject,
    Prepare,
    WrapInner,
    WrapOuter,
    Pass,
    Fail,
    Damage,
    Repair,
    /// A damage that was seen before the newest test and is recorded after it.
    LateDamage,
    /// The newest test was recorded in error.
    WithdrawTest,
    Release,
    Backfill,
}

const ACTS: [Act; 13] = [
    Act::Accept,
    Act::Reject,
    Act::Prepare,
    Act::WrapInner,
    Act::WrapOuter,
    Act::Pass,
    Act::Fail,
    Act::Damage,
    Act::Repair,
    Act::LateDamage,
    Act::WithdrawTest,
    Act::Release,
    Act::Backfill,
];

/// One course: what was recorded, and what became of the release.
#[derive(Clone)]
struct Course {
    facts: Vec<Fact>,
    acts: Vec<Act>,
    release: Option<ReleaseInForce>,
    contradicted: bool,
}

impl fmt::Debug for Course {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{:?}, released: {}", self.acts, self.release.is_some())
    }
}

// The acts decide everything else.
impl Hash for Course {
    fn hash<H: Hasher>(&self, hasher: &mut H) {
        self.acts.hash(hasher);
    }
}

impl PartialEq for Course {
    fn eq(&self, other: &Self) -> bool {
        self.acts == other.acts
    }
}

static SETUP: LazyLock<ProjectSetup> = LazyLock::new(|| {
    let mut setup = setup();
    // The primer is no act of the model: a system of two tapes shows the same in shorter courses.
    setup.systems.get_mut("CT").unwrap().layers.drain(..2);
    setup
});

static ENTRY: LazyLock<RegisterEntry> = LazyLock::new(entry);

/// The model; without its step of contradiction it must be found out.
struct Life {
    starts_at: &'static [Act],
    longest: usize,
    contradicts: bool,
}

fn now() -> DateTime<Utc> {
    at("2026-06-01T20:00:00Z")
}

fn outside(course: &Course) -> Outside {
    let (release, contradicted) = (course.release.clone(), course.contradicted);
    Outside { release, contradicted, ..Outside::default() }
}

fn judged(course: &Course) -> (JointState, Assessment) {
    let state = JointState::fold(&course.facts);
    let judged = assess(&state, &ENTRY, &SETUP, &outside(course), now());
    (state, judged)
}

fn newest_test(course: &Course) -> Option<&Fact> {
    let withdrawn = |it: &Fact| course.facts.iter().any(|fact| fact.supersedes == Some(it.id));
    let tests = course.facts.iter().filter(|it| matches!(it.event, Event::HolidayTested(_)));
    tests.filter(|it| !withdrawn(it)).max_by_key(|it| it.occurred_at)
}

fn recorded(course: &Course, act: Act) -> Option<Fact> {
    let number = course.acts.len() as u128 + 1;
    let clock = at("2026-06-01T08:00:00Z") + TimeDelta::minutes(10 * i64::try_from(number).ok()?);
    let event = match act {
        Act::Accept => accepted(),
        Act::Reject => rejected(),
        Act::Prepare => prepared(),
        Act::WrapInner => wrapped(WrapLayer::Inner),
        Act::WrapOuter => wrapped(WrapLayer::Outer),
        Act::Pass => passed(),
        Act::Fail => failed(),
        Act::Damage => damage(),
        Act::Repair => repaired(None),
        Act::LateDamage => {
            let before = newest_test(course)?.occurred_at - TimeDelta::minutes(5);
            return Some(fact(number, before, damage()));
        }
        Act::WithdrawTest => {
            let mistaken = newest_test(course)?.id;
            let entry = fact(number, clock, withdrawn());
            return Some(Fact { supersedes: Some(mistaken), ..entry });
        }
        Act::Backfill => backfilled(),
        Act::Release => return None,
    };
    Some(fact(number, clock, event))
}

impl Life {
    fn step(&self, last: &Course, act: Act) -> Option<Course> {
        let mut next = last.clone();
        next.acts.push(act);
        if act == Act::Release {
            let (state, judged) = judged(last);
            let answer = release(&state, &judged, last.release.as_ref(), user(QA_MANAGER), &SETUP);
            let Decision::Granted { holiday_test } = answer else { return None };
            let id = ReleaseId(Uuid::from_u128(100 + next.acts.len() as u128));
            next.release = Some(ReleaseInForce {
                id,
                holiday_test,
                released_at: now(),
                signer: user(QA_MANAGER),
            });
            next.contradicted = false;
            return Some(next);
        }
        next.facts.push(recorded(last, act)?);
        if self.contradicts && last.release.is_some() {
            let ((_, before), (_, after)) = (judged(last), judged(&next));
            if !contradictions(&before, &after).is_empty() {
                next.release = None;
                next.contradicted = true;
            }
        }
        Some(next)
    }
}

impl Model for Life {
    type State = Course;
    type Action = Act;

    fn init_states(&self) -> Vec<Course> {
        let nothing = Course { facts: vec![], acts: vec![], release: None, contradicted: false };
        let start = self.starts_at.iter().fold(nothing, |course, act| {
            let next = self.step(&course, *act);
            next.unwrap_or(course)
        });
        vec![start]
    }

    fn actions(&self, course: &Course, actions: &mut Vec<Act>) {
        if course.acts.len() < self.longest {
            actions.extend(ACTS);
        }
    }

    fn next_state(&self, last: &Course, act: Act) -> Option<Course> {
        self.step(last, act)
    }

    fn properties(&self) -> Vec<Property<Self>> {
        vec![
            Property::always(SOUND, |_, course: &Course| {
                course.release.is_none()
                    || naive::holiday_test(&course.facts, &SETUP, &ENTRY)
                        && naive::damage(&course.facts)
                        && naive::weld(&course.facts)
                        && naive::layers(&course.facts, &SETUP, &ENTRY)
            }),
            Property::sometimes("a release is in force", |_, course: &Course| {
                course.release.is_some()
            }),
            Property::sometimes("a release was contradicted", |_, course: &Course| {
                course.contradicted
            }),
            Property::sometimes("a released joint is under the soil", |_, course: &Course| {
                course.release.is_some() && course.acts.contains(&Act::Backfill)
            }),
        ]
    }
}

const SOUND: &str = "no release in force without a valid passed test after the last disturbance";

/// A coated joint whose acceptance is still to come.
const COATED: &[Act] = &[Act::Prepare, Act::WrapInner, Act::WrapOuter];
/// A released joint.
const RELEASED: &[Act] =
    &[Act::Accept, Act::Prepare, Act::WrapInner, Act::WrapOuter, Act::Pass, Act::Release];

#[test]
fn no_course_from_bare_steel_leaves_a_release_without_its_test() {
    // Nothing but the straight course reaches a release within so few acts, so the search begins
    // on coated steel; what goes before it is searched without a release in the next test.
    let model = Life { starts_at: COATED, longest: COATED.len() + 5, contradicts: true };
    let checker = model.checker().threads(2).spawn_bfs().join();
    checker.assert_properties();
}

#[test]
fn no_course_after_a_release_leaves_it_in_force_without_its_test() {
    let model = Life { starts_at: RELEASED, longest: RELEASED.len() + 5, contradicts: true };
    let checker = model.checker().threads(2).spawn_bfs().join();
    checker.assert_properties();
}

#[test]
fn without_the_step_of_contradiction_a_counterexample_is_found() {
    let model = Life { starts_at: RELEASED, longest: RELEASED.len() + 1, contradicts: false };
    let checker = model.checker().finish_when(HasDiscoveries::AnyFailures).spawn_bfs().join();
    let acts = checker.assert_any_discovery(SOUND).into_actions();
    assert_eq!(acts.len(), 1, "{acts:?}");
}
