//! The gates of the backfill release. Each is open, or shut with every reason at once.

mod clocks;
mod conditions;
mod layers;
mod measurements;
mod people;
mod test;

use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

pub(crate) use clocks::time;
pub(in crate::joints) use clocks::times_of;
pub use conditions::moments;
pub(in crate::joints) use test::fresh_until;
pub use test::required_voltage;

use super::{
    JointState, RegisterEntry,
    assess::{OpenNonconformance, Outside},
    concession::Waiver,
    state::{DamageFrom, Mark, Weld},
};
use crate::{
    ambient::StationReading,
    ids::{ConcessionId, EventId},
    setup::{Assignment, ProjectSetup},
};

/// The gates, in the order they are told.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum GateKind {
    /// The weld is accepted and not rejected since.
    Weld,
    /// Every layer of the assigned system, in order.
    Layers,
    /// A valid passed holiday test after everything that coated or disturbed the joint.
    HolidayTest,
    /// No open damage.
    Damage,
    /// No nonconformance open at blocking severity.
    Nonconformances,
    /// Lots known, in date and not quarantined when used.
    Materials,
    /// Qualified people.
    People,
    /// Conditions read and within the limits.
    Conditions,
    /// Overlap as specified.
    Overlap,
    /// Thickness as specified.
    Thickness,
    /// Peel tests passed.
    PeelTests,
    /// The passed test is young enough.
    Freshness,
}

impl GateKind {
    /// Whether a concession can open it. The holiday test never.
    pub const fn waivable(self) -> bool {
        !matches!(
            self,
            Self::Weld | Self::Layers | Self::HolidayTest | Self::Damage | Self::Freshness
        )
    }

    /// The gates that say what lies there.
    pub const fn is_about_the_joint(self) -> bool {
        matches!(self, Self::Weld | Self::Layers | Self::HolidayTest | Self::Damage)
    }

    /// The gates whose shutting by a fact contradicts a release that was given: with that fact it
    /// would not have been. Time and the decisions of people contradict nothing.
    pub const fn contradicts(self) -> bool {
        !matches!(self, Self::Nonconformances | Self::Freshness)
    }
}

/// Why a gate is shut.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct Reason {
    /// Stable code.
    pub code: String,
    /// The plain reason, with numbers.
    pub detail: String,
    /// The facts looked at.
    pub evidence: Vec<EventId>,
}

/// One gate: open when it has no reason.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct Gate {
    /// Which.
    pub gate: GateKind,
    /// Whether it is open.
    pub open: bool,
    /// Whether a concession can open it.
    pub waivable: bool,
    /// Every reason it is shut for.
    pub reasons: Vec<Reason>,
    /// The reasons that it is not shut for, and the concessions that waive them.
    #[serde(default)]
    pub waived_by: Vec<WaivedBy>,
}

/// A reason that does not shut its gate.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct WaivedBy {
    /// The concession in force that waives it.
    pub concession: ConcessionId,
    /// The reason.
    pub reason: Reason,
}

impl Gate {
    /// The gate with those of its reasons set aside that `waivers` name, exactly as they are. Those
    /// of a gate that no concession opens stay, whatever is named.
    fn waived(mut self, waivers: &[Waiver]) -> Self {
        if !self.gate.waivable() || waivers.is_empty() {
            return self;
        }
        for reason in std::mem::take(&mut self.reasons) {
            let names = |it: &&Waiver| it.waived.gate == self.gate && it.waived.reason == reason;
            match waivers.iter().find(names) {
                Some(it) => self.waived_by.push(WaivedBy { concession: it.concession, reason }),
                None => self.reasons.push(reason),
            }
        }
        self.open = self.reasons.is_empty();
        self
    }
}

/// Collects the reasons of one gate.
#[derive(Debug, Default)]
struct Reasons(Vec<Reason>);

impl Reasons {
    fn shut(&mut self, code: &str, detail: impl Into<String>, evidence: &[Mark]) {
        self.0.push(Reason {
            code: code.to_owned(),
            detail: detail.into(),
            evidence: evidence.iter().map(|mark| mark.event).collect(),
        });
    }

    fn and(mut self, other: Self) -> Self {
        self.0.extend(other.0);
        self
    }

    fn into_gate(self, gate: GateKind) -> Gate {
        Gate {
            gate,
            open: self.0.is_empty(),
            waivable: gate.waivable(),
            reasons: self.0,
            waived_by: Vec::new(),
        }
    }
}

/// What every gate looks at.
struct View<'a> {
    state: &'a JointState,
    entry: &'a RegisterEntry,
    setup: &'a ProjectSetup,
    assigned: Option<Assignment<'a>>,
    readings: &'a [StationReading],
}

/// Every gate of a joint at `now`.
pub fn all(
    state: &JointState,
    entry: &RegisterEntry,
    setup: &ProjectSetup,
    outside: &Outside,
    now: DateTime<Utc>,
) -> Vec<Gate> {
    let view = View {
        state,
        entry,
        setup,
        assigned: setup.assignment(entry),
        readings: &outside.readings,
    };
    let gates = vec![
        weld(state).into_gate(GateKind::Weld),
        layers::layers(&view).into_gate(GateKind::Layers),
        test::holiday_test(&view).into_gate(GateKind::HolidayTest),
        damage(state).into_gate(GateKind::Damage),
        nonconformances(&view, outside).into_gate(GateKind::Nonconformances),
        layers::materials(&view).into_gate(GateKind::Materials),
        people::people(&view).into_gate(GateKind::People),
        conditions::conditions(&view).and(clocks::clocks(&view)).into_gate(GateKind::Conditions),
        measurements::overlap(&view).into_gate(GateKind::Overlap),
        measurements::thickness(&view).into_gate(GateKind::Thickness),
        measurements::peel_tests(&view).into_gate(GateKind::PeelTests),
        test::freshness(&view, now).into_gate(GateKind::Freshness),
    ];
    gates.into_iter().map(|gate| gate.waived(&outside.waivers)).collect()
}

fn weld(state: &JointState) -> Reasons {
    let mut reasons = Reasons::default();
    match state.weld {
        Weld::Accepted(_) => {}
        Weld::AwaitsAcceptance => {
            reasons.shut("WELD_NOT_ACCEPTED", "the weld is not accepted", &[]);
        }
        Weld::Rejected(mark) => reasons.shut("WELD_REJECTED", "the weld is rejected", &[mark]),
        Weld::CutOut(mark) => reasons.shut("CUT_OUT", "the weld was cut out", &[mark]),
    }
    reasons
}

fn damage(state: &JointState) -> Reasons {
    let mut reasons = Reasons::default();
    for damage in &state.damages {
        let (code, detail) = match damage.from {
            DamageFrom::Found => ("DAMAGE_OPEN", "a damage is not repaired"),
            DamageFrom::Holidays => {
                ("HOLIDAYS_OPEN", "the holidays of a failed test are not repaired")
            }
            DamageFrom::PeelStrip => {
                ("PEEL_STRIP_OPEN", "the strip of a peel test is not repaired")
            }
        };
        reasons.shut(code, detail, &[damage.mark]);
    }
    reasons
}

fn nonconformances(view: &View<'_>, outside: &Outside) -> Reasons {
    let mut reasons = Reasons::default();
    let blocks = |it: &&OpenNonconformance| {
        it.severity >= outside.blocking_from && it.scope.covers(view.state, view.entry)
    };
    for open in outside.nonconformances.iter().filter(blocks) {
        let severity = open.severity.name();
        let detail =
            format!("nonconformance {} ({severity}) is open: {}", open.number, open.nature);
        reasons.shut("NONCONFORMANCE_OPEN", detail, &[]);
    }
    reasons
}
