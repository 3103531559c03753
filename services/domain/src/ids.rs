//! The registry of identifiers: each its own type, so that no two can be swapped.

use serde::{Deserialize, Serialize};
use uuid::Uuid;

macro_rules! ids {
    ($($(#[$doc:meta])* $name:ident),* $(,)?) => {$(
        $(#[$doc])*
        #[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, utoipa::ToSchema)]
        #[serde(transparent)]
        pub struct $name(pub Uuid);

        impl std::fmt::Display for $name {
            fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
                self.0.fmt(f)
            }
        }

        impl std::str::FromStr for $name {
            type Err = uuid::Error;
            fn from_str(text: &str) -> Result<Self, Self::Err> {
                text.parse().map(Self)
            }
        }

        impl From<Uuid> for $name {
            fn from(id: Uuid) -> Self {
                Self(id)
            }
        }
    )*};
}

ids! {
    /// A signing challenge.
    ChallengeId,
    /// A concession.
    ConcessionId,
    /// A count of stock.
    CountId,
    /// An expected delivery.
    DeliveryId,
    /// A recorded fact; made by the client (UUIDv7).
    EventId,
    /// An uploaded file that a job reads.
    ImportId,
    /// One girth weld and its field coating.
    JointId,
    /// A movement of stock; made by the client (UUIDv7).
    MovementId,
    /// A nonconformance.
    NonconformanceId,
    /// One construction contract: the tenant.
    ProjectId,
    /// A backfill release.
    ReleaseId,
    /// A signed-in device.
    SessionId,
    /// A signature.
    SignatureId,
    /// Somebody who signs in.
    UserId,
}
