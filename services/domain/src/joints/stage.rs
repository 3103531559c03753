//! The stage a joint is shown in, and the flags beside it. Derived, never set.

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::state::{Coat, JointState, LayerRole, Weld};
use crate::setup::CoatingSystem;

use super::JointKind;

/// How far a joint has come.
#[derive(
    Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, ToSchema,
)]
#[serde(rename_all = "snake_case")]
pub enum Stage {
    /// Welded, not accepted.
    Welded,
    /// The weld is accepted.
    Accepted,
    /// The steel is prepared.
    Prepared,
    /// Primed, or the first layers are on.
    Primed,
    /// Every layer of its system is on.
    Wrapped,
    /// The newest holiday test is valid and passed.
    Tested,
    /// Released for backfill.
    Released,
    /// Under the soil.
    Backfilled,
}

impl Stage {
    /// Every stage, in order.
    pub const ALL: [Self; 8] = [
        Self::Welded,
        Self::Accepted,
        Self::Prepared,
        Self::Primed,
        Self::Wrapped,
        Self::Tested,
        Self::Released,
        Self::Backfilled,
    ];

    /// The name in JSON and SQL.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Welded => "welded",
            Self::Accepted => "accepted",
            Self::Prepared => "prepared",
            Self::Primed => "primed",
            Self::Wrapped => "wrapped",
            Self::Tested => "tested",
            Self::Released => "released",
            Self::Backfilled => "backfilled",
        }
    }

    /// The stage of that name.
    pub fn parse(name: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|stage| stage.name() == name)
    }
}

/// What is shown beside the stage.
#[derive(
    Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, ToSchema,
)]
#[serde(rename_all = "snake_case")]
pub enum Flag {
    /// A hole waits for its repair, or a repair for its test.
    InRepair,
    /// A nonconformance or a contradicted release holds it.
    Blocked,
    /// A release was given that later facts contradict.
    Contradicted,
    /// Under the soil without a release in force.
    BuriedUnreleased,
    /// The weld was cut out.
    CutOut,
}

impl Flag {
    /// The name in JSON and SQL.
    pub const fn name(self) -> &'static str {
        match self {
            Self::InRepair => "in_repair",
            Self::Blocked => "blocked",
            Self::Contradicted => "contradicted",
            Self::BuriedUnreleased => "buried_unreleased",
            Self::CutOut => "cut_out",
        }
    }
}

/// The stage, from the state and from what is known about release and test.
pub fn stage(
    state: &JointState,
    kind: JointKind,
    system: Option<&CoatingSystem>,
    tested: bool,
    released: bool,
) -> Stage {
    if state.buried().is_some() {
        return Stage::Backfilled;
    }
    if matches!(state.weld, Weld::CutOut(_)) {
        return Stage::Welded;
    }
    if released {
        return Stage::Released;
    }
    let complete = complete(&state.coat, kind, system);
    if complete && tested {
        return Stage::Tested;
    }
    if complete {
        return Stage::Wrapped;
    }
    if !state.coat.layers.is_empty() {
        return Stage::Primed;
    }
    if state.coat.prepared.is_some() {
        return Stage::Prepared;
    }
    if matches!(state.weld, Weld::Accepted(_)) { Stage::Accepted } else { Stage::Welded }
}

/// Whether every layer that the joint needs is on.
fn complete(coat: &Coat, kind: JointKind, system: Option<&CoatingSystem>) -> bool {
    let on = |role: LayerRole| coat.layers.iter().any(|layer| layer.role == role);
    match system {
        Some(system) => system.layers_on(kind).all(|layer| on(layer.role)),
        None => on(LayerRole::OuterWrap) || on(LayerRole::InnerWrap),
    }
}
