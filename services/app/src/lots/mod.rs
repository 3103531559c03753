//! Lots: where they went, and what is done when one turns out to be bad or keeps longer.

mod extend;
mod hold;
mod materials;
mod recall;
mod trace;

pub use extend::extend;
pub use hold::{Held, hold, lift};
pub use materials::{JointMaterials, LotOfFact, MaterialFact, QuantitySource, materials};
pub use recall::{Recalled, follow_recall};
pub use trace::{LotPlaces, LotStock, LotTrace, TracePage, TracedJoint, TracedUse, trace};

use domain::{schema::FieldError, setup::LotRefusal};

use crate::AppError;

/// A refusal as its caller meets it.
fn refused(code: &str, refusal: &LotRefusal) -> AppError {
    use LotRefusal as R;
    let fault = |pointer, fault| {
        AppError::Invalid(vec![FieldError::new(pointer, fault, refusal.to_string())])
    };
    let conflict = match refusal {
        R::FromAhead { .. } => return fault("/from", "OUT_OF_RANGE"),
        R::NotLonger { .. } | R::BeforeProduction { .. } => {
            return fault("/expires_on", "OUT_OF_RANGE");
        }
        R::AlreadyHeld { .. } => "ALREADY_QUARANTINED",
        R::IdReused => "ID_REUSED",
        R::NotHeld => "NOT_QUARANTINED",
        R::Held { .. } => "LOT_QUARANTINED",
        R::NeverExpires => "NO_SHELF_LIFE",
    };
    AppError::Conflict { code: conflict, detail: format!("lot {code}: {refusal}") }
}
