//! Where stock can be.

use super::MovementKind;
use crate::{
    schema::FieldError,
    setup::{LocationKind, ProjectSetup},
};

/// The places that are always there and hold nothing that could be touched: codes that no
/// location may have.
pub const RESERVED: [&str; 5] = ["supplier", "joint", "scrap", "adjustment", "unrecorded"];

/// A place.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Place {
    /// Where stock comes from.
    Supplier,
    /// What is on the pipe.
    Joint,
    /// What was thrown away.
    Scrap,
    /// What a count found more or less than the book.
    Adjustment,
    /// What was used without having been booked to the crew.
    Unrecorded,
    /// A location of the project.
    Physical(LocationKind),
}

impl Place {
    /// The place of that code; none where the project has no such location.
    pub fn find(code: &str, setup: &ProjectSetup) -> Option<Self> {
        Some(match code {
            "supplier" => Self::Supplier,
            "joint" => Self::Joint,
            "scrap" => Self::Scrap,
            "adjustment" => Self::Adjustment,
            "unrecorded" => Self::Unrecorded,
            code => Self::Physical(setup.locations.get(code)?.kind),
        })
    }

    /// Whether it can run out.
    pub fn is_physical(code: &str) -> bool {
        !RESERVED.contains(&code)
    }
}

/// Where a movement of `kind` cannot go from or to; empty where both places are right.
pub fn misplaced(
    kind: MovementKind,
    from: &str,
    to: &str,
    setup: &ProjectSetup,
) -> Vec<FieldError> {
    use LocationKind::Crew;
    use MovementKind as Kind;
    use Place::{Adjustment, Joint, Physical, Scrap, Supplier, Unrecorded};
    let mut faults = Vec::new();
    let mut look = |pointer: &str, code: &str, right: &dyn Fn(Place) -> bool, wanted: &str| {
        let fault = match Place::find(code, setup) {
            None => ("UNKNOWN_REFERENCE", format!("there is no location `{code}`")),
            Some(place) if !right(place) => {
                ("WRONG_PLACE", format!("`{code}` does not fit: it must be {wanted}"))
            }
            Some(_) => return,
        };
        faults.push(FieldError::new(pointer, fault.0, fault.1));
    };
    let physical = |place| matches!(place, Physical(_));
    let crew = |place| matches!(place, Physical(Crew));
    let store = |place| matches!(place, Physical(kind) if kind != Crew);
    let anywhere = "a location of the project";
    match kind {
        Kind::Receive => {
            look("/from", from, &|it| it == Supplier, "the supplier");
            look("/to", to, &physical, anywhere);
        }
        Kind::Transfer => {
            look("/from", from, &physical, anywhere);
            // What goes to a crew is handed out by an issue, which looks at dates and quarantine.
            look("/to", to, &store, "a yard or a container");
        }
        Kind::Issue => {
            look("/from", from, &physical, anywhere);
            look("/to", to, &crew, "the location of a crew");
        }
        Kind::Return => {
            look("/from", from, &crew, "the location of a crew");
            look("/to", to, &store, "a yard or a container");
        }
        Kind::Consume => {
            look("/from", from, &|it| it == Unrecorded || physical(it), anywhere);
            look("/to", to, &|it| it == Joint, "the joint");
        }
        Kind::Scrap => {
            look("/from", from, &physical, anywhere);
            look("/to", to, &|it| it == Scrap, "the scrap");
        }
        Kind::Count => {
            let counted = |it| it == Adjustment || physical(it);
            look("/from", from, &counted, anywhere);
            look("/to", to, &counted, anywhere);
        }
        // Whatever was, the other way round.
        Kind::Reverse => {}
    }
    if from == to {
        faults.push(FieldError::new("/to", "SAME_PLACE", "must be another place than `from`"));
    }
    faults
}
