//! What may happen next on the site of the model.

use std::fmt;

use proptest::{prelude::*, strategy::Union};
use proptest_state_machine::ReferenceStateMachine;

use super::{
    entry::{Change, What, Who},
    likely::{batches, decides, records, releases, sends_again, time_passes, writes},
    site::{JOINTS, Site},
};

/// When something happened, against the time at which it is written down.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum When {
    Now,
    /// So many minutes before: it is late.
    Before(i64),
    /// At the very instant of an earlier entry.
    SameAs(usize),
    /// By a clock that is so many minutes ahead.
    Ahead(i64),
}

/// An entry before it has a number; what it refers to is picked among what is there by then.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Draft {
    pub joint: usize,
    pub when: When,
    pub what: What,
    /// Which entry it takes the place of, also of those that were not sent yet.
    pub correcting: Option<usize>,
}

/// One item of a batch.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Item {
    New(Draft),
    /// An entry that is stored already.
    Again(usize, Change),
    /// The item before this one once more.
    Twin(Change),
    /// A test without its detector.
    Spoilt(usize),
    /// A fact on a joint that is not in the register.
    Nowhere,
}

/// How a release is asked for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum How {
    DryRun,
    Signed,
    WrongPassword,
    /// A fact arrives between what was shown and the signature.
    Overtaken(What),
}

/// One step.
#[derive(Clone, PartialEq, Eq)]
pub enum Step {
    Records {
        by: Who,
        draft: Draft,
    },
    /// Writes it on a tablet without signal.
    Writes(Draft),
    /// The tablets come back: everything that waits is sent, the newest first.
    SendsWhatWaited,
    SendsAgain {
        entry: usize,
        to_the_other_joint: bool,
        change: Change,
    },
    SendsBatch {
        by: Who,
        items: Vec<Item>,
    },
    AsksForRelease {
        by: Who,
        joints: Vec<usize>,
        how: How,
    },
    Decides {
        matter: usize,
        newest: bool,
        proof: usize,
    },
    TimePasses {
        minutes: i64,
    },
}

impl ReferenceStateMachine for Site {
    type State = Self;
    type Transition = Step;

    fn init_state() -> BoxedStrategy<Self> {
        Just(Self::new()).boxed()
    }

    fn transitions(site: &Self) -> BoxedStrategy<Step> {
        let mut ways = vec![(12, records()), (3, writes()), (6, batches()), (8, releases())];
        ways.push((3, time_passes()));
        if !site.entries.is_empty() {
            ways.push((4, sends_again()));
        }
        if !site.unsent.is_empty() {
            ways.push((4, Just(Step::SendsWhatWaited).boxed()));
        }
        if site.open_matters().next().is_some() {
            ways.push((4, decides()));
        }
        for joint in 0..JOINTS {
            ways.push((13, Just(site.helpful(joint)).boxed()));
        }
        Union::new_weighted(ways).boxed()
    }

    fn preconditions(site: &Self, step: &Step) -> bool {
        let any = !site.entries.is_empty();
        let writable = |draft: &Draft| match draft {
            Draft { when: When::SameAs(_), .. } if !any => false,
            Draft { correcting: Some(_), .. } => any || !site.unsent.is_empty(),
            Draft { what, .. } => *what != What::Withdrawn,
        };
        match step {
            Step::Records { draft, .. } | Step::Writes(draft) => writable(draft),
            Step::SendsWhatWaited => !site.unsent.is_empty(),
            Step::SendsAgain { .. } => any,
            Step::SendsBatch { items, .. } => {
                let fits = |item: &Item| match item {
                    Item::New(draft) => writable(draft),
                    Item::Again(..) => any,
                    Item::Twin(_) | Item::Spoilt(_) | Item::Nowhere => true,
                };
                !matches!(items[..], [] | [Item::Twin(_), ..]) && items.iter().all(fits)
            }
            Step::Decides { .. } => any && site.open_matters().next().is_some(),
            Step::AsksForRelease { .. } | Step::TimePasses { .. } => true,
        }
    }

    fn apply(mut site: Self, step: &Step) -> Self {
        site.take(step);
        site
    }
}

/// What is picked is only known on the site: [`Site::story`] tells it. This is the plan.
impl fmt::Debug for Step {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Records { by, draft } => write!(f, "{by:?} records {draft}"),
            Self::Writes(draft) => write!(f, "a tablet without signal keeps {draft}"),
            Self::SendsWhatWaited => write!(f, "the tablets send what waited"),
            Self::SendsAgain { entry, to_the_other_joint, change } => {
                let joint = if *to_the_other_joint { " to the other joint" } else { "" };
                write!(f, "entry ~{entry} is sent again{joint}, changed: {change:?}")
            }
            Self::SendsBatch { by, items } => write!(f, "{by:?} sends a batch {items:?}"),
            Self::AsksForRelease { by, joints, how } => {
                write!(f, "{by:?} asks for the release of {joints:?}: {how:?}")
            }
            Self::Decides { matter, .. } => write!(f, "nonconformance ~{matter} is decided on"),
            Self::TimePasses { minutes } => write!(f, "{minutes} minutes pass"),
        }
    }
}

impl fmt::Display for Draft {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "J-{}: {} ({:?}", self.joint + 1, self.what, self.when)?;
        match self.correcting {
            Some(wrong) => write!(f, ", in place of entry ~{wrong})"),
            None => write!(f, ")"),
        }
    }
}
