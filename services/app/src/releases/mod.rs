//! Backfill releases: a permission, signed with a fresh proof of identity.

mod certificate;
mod challenge;
mod give;
mod show;
mod subject;

pub use challenge::{ChallengeView, challenge};
pub use give::{Ask, JointAnswer, dry_run, give};
pub use show::{ReleaseView, show};
pub use subject::Named;

pub use crate::signing::Signing;
