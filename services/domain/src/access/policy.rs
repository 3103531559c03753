//! The table role × permission. It is printed to `api-spec/roles.txt`.

use std::fmt::Write as _;

use super::{Permission, Role};

/// Whether a member in `role` may do what `permission` names.
pub const fn allows(role: Role, permission: Permission) -> bool {
    use Permission as P;
    use Role as R;
    match permission {
        P::ReadProject => true,
        P::RecordFacts => {
            matches!(role, R::SiteCoordinator | R::QaManager | R::Inspector | R::CrewLead)
        }
        // A correction can undo a failed test or a damage: whoever wraps does not decide that.
        P::SupersedeFacts => matches!(role, R::SiteCoordinator | R::QaManager | R::Inspector),
        P::ReleaseForBackfill | P::ManageNonconformances => matches!(role, R::QaManager),
        P::SignConcessions => {
            matches!(role, R::SiteCoordinator | R::QaManager | R::Inspector)
        }
        P::RaiseNonconformances => matches!(role, R::QaManager | R::Inspector),
        P::ImportRegisters | P::RunJobs | P::ManageLine => {
            matches!(role, R::SiteCoordinator | R::Administrator)
        }
        P::ManageMaterials => matches!(role, R::MaterialController | R::Administrator),
        P::MoveStock => {
            matches!(role, R::MaterialController | R::SiteCoordinator | R::CrewLead)
        }
        P::HoldLots => matches!(role, R::MaterialController | R::QaManager),
        P::ManageQuality => matches!(role, R::QaManager | R::Administrator),
        P::ManageMembers | P::ManageWebhooks => matches!(role, R::Administrator),
        // The client may hold what was built for them, whoever keeps the server.
        P::ExportProject => {
            matches!(role, R::QaManager | R::ClientRepresentative | R::Administrator)
        }
        P::ReadAudit => matches!(role, R::QaManager | R::Administrator),
        // Whoever only looks on has nothing in hand.
        P::AcknowledgeWarnings => !matches!(role, R::ClientRepresentative),
    }
}

/// The whole table as text, one permission a line.
pub fn table() -> String {
    let width = Permission::ALL.iter().map(|p| p.name().len()).max().unwrap_or(0);
    let mut text = format!("{:width$}", "");
    for role in Role::ALL {
        text.push_str("  ");
        text.push_str(role.name());
    }
    text.push('\n');
    for permission in Permission::ALL {
        let mut line = format!("{:width$}", permission.name());
        for role in Role::ALL {
            let mark = if allows(role, permission) { "yes" } else { "-" };
            // Writing to a text cannot fail.
            let _ = write!(line, "  {mark:<0$}", role.name().len());
        }
        text.push_str(line.trim_end());
        text.push('\n');
    }
    text
}
