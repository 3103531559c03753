//! One quantity of one lot that moves.

use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::Quantity;
use crate::ids::{CountId, DeliveryId, EventId, JointId, MovementId};

/// What kind of movement.
#[derive(
    Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, ToSchema,
)]
#[serde(rename_all = "snake_case")]
pub enum MovementKind {
    /// From the supplier.
    Receive,
    /// From one location to another.
    Transfer,
    /// To a crew, for use.
    Issue,
    /// Back from a crew.
    Return,
    /// Onto a joint.
    Consume,
    /// Thrown away.
    Scrap,
    /// Put right after a count.
    Count,
    /// Another movement the other way round.
    Reverse,
}

impl MovementKind {
    /// Every kind.
    pub const ALL: [Self; 8] = [
        Self::Receive,
        Self::Transfer,
        Self::Issue,
        Self::Return,
        Self::Consume,
        Self::Scrap,
        Self::Count,
        Self::Reverse,
    ];

    /// The name in JSON and SQL.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Receive => "receive",
            Self::Transfer => "transfer",
            Self::Issue => "issue",
            Self::Return => "return",
            Self::Consume => "consume",
            Self::Scrap => "scrap",
            Self::Count => "count",
            Self::Reverse => "reverse",
        }
    }

    /// The kind of that name.
    pub fn parse(name: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|kind| kind.name() == name)
    }
}

/// A movement that is about to be recorded.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct NewMovement {
    /// Id.
    pub id: MovementId,
    /// Kind.
    pub kind: MovementKind,
    /// Code of the lot.
    pub lot: String,
    /// How much.
    pub quantity: Quantity,
    /// Code of the place it leaves.
    pub from: String,
    /// Code of the place it reaches.
    pub to: String,
    /// The joint it went onto.
    pub joint: Option<JointId>,
    /// The fact that used it.
    pub fact: Option<EventId>,
    /// The delivery it came with.
    pub delivery: Option<DeliveryId>,
    /// The count that it follows.
    pub count: Option<CountId>,
    /// The movement that it undoes.
    pub reverses: Option<MovementId>,
    /// Why.
    pub reason: Option<String>,
    /// Another lot should have been used first.
    pub chosen_against_order: bool,
    /// When it happened.
    pub occurred_at: DateTime<Utc>,
}

impl NewMovement {
    /// A movement with nothing beside what moves, from where and to where.
    pub fn plain(
        (id, kind): (MovementId, MovementKind),
        (lot, quantity): (&str, Quantity),
        (from, to): (&str, &str),
        occurred_at: DateTime<Utc>,
    ) -> Self {
        Self {
            id,
            kind,
            lot: lot.to_owned(),
            quantity,
            from: from.to_owned(),
            to: to.to_owned(),
            joint: None,
            fact: None,
            delivery: None,
            count: None,
            reverses: None,
            reason: None,
            chosen_against_order: false,
            occurred_at,
        }
    }
}

/// Why a movement cannot be undone.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum NotReversible {
    /// It undoes another one itself.
    #[error("it reverses another movement itself: record what moves instead")]
    IsReversal,
    /// A count says what is there; the next count says it better.
    #[error("it follows a count: count again")]
    IsCount,
}

/// The opposite of `movement`. That it is recorded once is for the store to hold.
pub fn reversal(
    movement: &NewMovement,
    id: MovementId,
    reason: Option<String>,
    occurred_at: DateTime<Utc>,
) -> Result<NewMovement, NotReversible> {
    match movement.kind {
        MovementKind::Reverse => return Err(NotReversible::IsReversal),
        MovementKind::Count => return Err(NotReversible::IsCount),
        _ => {}
    }
    Ok(NewMovement {
        id,
        kind: MovementKind::Reverse,
        from: movement.to.clone(),
        to: movement.from.clone(),
        reverses: Some(movement.id),
        reason,
        chosen_against_order: false,
        occurred_at,
        ..movement.clone()
    })
}
