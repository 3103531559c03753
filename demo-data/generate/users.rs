//! Who signs in, and who works on the joints.

use domain::{
    access::Role,
    setup::{Capability, Person, Qualification},
};
use serde::Serialize;

use super::{calendar, line::System};

/// The applicator whose qualifications ended, and their last day.
pub const LAPSED_PERSON: (&str, i64) = ("P-014", 26);

pub const WELD_INSPECTOR: &str = "P-031";

#[derive(Serialize)]
pub struct User {
    pub name: &'static str,
    pub email: &'static str,
    pub role: Role,
    /// The person of the project who signs in as this user.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub person: Option<&'static str>,
}

const fn user(
    name: &'static str,
    email: &'static str,
    role: Role,
    person: Option<&'static str>,
) -> User {
    User { name, email, role, person }
}

pub const USERS: [User; 8] = [
    user("Teodora Vansel", "coordinator@example.invalid", Role::SiteCoordinator, None),
    user("Ruy Calvenda", "materials@example.invalid", Role::MaterialController, None),
    user("Ingrith Solmane", "quality@example.invalid", Role::QaManager, Some("P-001")),
    user("Bastian Orrevik", "inspector@example.invalid", Role::Inspector, Some("P-021")),
    user("Marcela Druvane", "crew-a1@example.invalid", Role::CrewLead, Some("P-011")),
    user("Joakim Feltrane", "crew-b1@example.invalid", Role::CrewLead, Some("P-015")),
    user("Helvi Kastorp", "client@example.invalid", Role::ClientRepresentative, None),
    user("Nuno Arvestal", "admin@example.invalid", Role::Administrator, None),
];

/// The two applicators of a crew.
pub const fn applicators(crew: &str) -> [&'static str; 2] {
    match crew.as_bytes() {
        b"A1" => ["P-011", "P-012"],
        b"A2" => ["P-013", LAPSED_PERSON.0],
        b"B1" => ["P-015", "P-016"],
        _ => ["P-017", "P-018"],
    }
}

/// Who tests on a spread.
pub const fn inspector(spread: &str) -> &'static str {
    if matches!(spread.as_bytes(), b"A") { "P-021" } else { "P-022" }
}

pub fn people() -> Vec<Person> {
    let applicator = Some(Capability::Applicator);
    let inspector = Some(Capability::Inspector);
    [
        ("P-001", "Ingrith Solmane", None),
        ("P-011", "Marcela Druvane", applicator),
        ("P-012", "Otto Brenvall", applicator),
        ("P-013", "Sabela Trindane", applicator),
        (LAPSED_PERSON.0, "Emeric Holstane", applicator),
        ("P-015", "Joakim Feltrane", applicator),
        ("P-016", "Lidia Moravel", applicator),
        ("P-017", "Anselm Quirrane", applicator),
        ("P-018", "Petra Vossumar", applicator),
        ("P-021", "Bastian Orrevik", inspector),
        ("P-022", "Yara Delmonde", inspector),
        (WELD_INSPECTOR, "Casimir Norvane", None),
        ("W-041", "Duarte Helmsane", None),
        ("W-042", "Goran Istvane", None),
        ("W-043", "Fenna Larkost", None),
        ("W-044", "Tiago Umbrell", None),
    ]
    .into_iter()
    .map(|(code, name, capability)| Person {
        code: code.to_owned(),
        name: name.to_owned(),
        user: None,
        qualifications: capability.map(|it| qualifications(code, it)).unwrap_or_default(),
    })
    .collect()
}

fn qualifications(code: &str, capability: Capability) -> Vec<Qualification> {
    let last = if code == LAPSED_PERSON.0 { LAPSED_PERSON.1 } else { 410 };
    System::ALL
        .into_iter()
        .map(|system| Qualification {
            capability,
            coating_system: system.code().to_owned(),
            valid_from: calendar::date(last.min(410) - 730),
            valid_to: calendar::date(last),
        })
        .collect()
}
