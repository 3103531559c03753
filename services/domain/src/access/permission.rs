//! What can be asked of a project.

/// One thing that somebody may or may not do in a project.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Permission {
    /// Read joints, facts, releases, set-up, jobs, warnings.
    ReadProject,
    /// Record facts on joints.
    RecordFacts,
    /// Record a fact that supersedes another.
    SupersedeFacts,
    /// Sign and give backfill releases.
    ReleaseForBackfill,
    /// Propose or approve a concession; one of the two who do is a QA manager.
    SignConcessions,
    /// Raise nonconformances and write on them.
    RaiseNonconformances,
    /// Decide on nonconformances and close them.
    ManageNonconformances,
    /// Upload registers.
    ImportRegisters,
    /// Ask for a run of a job.
    RunJobs,
    /// Change sections, line pipe, spreads, crews, coating systems.
    ManageLine,
    /// Change materials, lots, locations and deliveries; approve counts.
    ManageMaterials,
    /// Receive, move, issue, return, scrap and count stock.
    MoveStock,
    /// Put lots in quarantine.
    HoldLots,
    /// Change the inspection plan, people, qualifications, detectors.
    ManageQuality,
    /// Change members and their roles.
    ManageMembers,
    /// Say that a warning is in hand.
    AcknowledgeWarnings,
    /// Change where changes are sent.
    ManageWebhooks,
    /// Take a copy of the whole project.
    ExportProject,
    /// See who took copies.
    ReadAudit,
}

impl Permission {
    /// Every permission, in the order the table prints them.
    pub const ALL: [Self; 19] = [
        Self::ReadProject,
        Self::RecordFacts,
        Self::SupersedeFacts,
        Self::ReleaseForBackfill,
        Self::SignConcessions,
        Self::RaiseNonconformances,
        Self::ManageNonconformances,
        Self::ImportRegisters,
        Self::RunJobs,
        Self::ManageLine,
        Self::ManageMaterials,
        Self::MoveStock,
        Self::HoldLots,
        Self::ManageQuality,
        Self::ManageMembers,
        Self::AcknowledgeWarnings,
        Self::ManageWebhooks,
        Self::ExportProject,
        Self::ReadAudit,
    ];

    /// The name in the printed table and in problems.
    pub const fn name(self) -> &'static str {
        match self {
            Self::ReadProject => "read_project",
            Self::RecordFacts => "record_facts",
            Self::SupersedeFacts => "supersede_facts",
            Self::ReleaseForBackfill => "release_for_backfill",
            Self::SignConcessions => "sign_concessions",
            Self::RaiseNonconformances => "raise_nonconformances",
            Self::ManageNonconformances => "manage_nonconformances",
            Self::ImportRegisters => "import_registers",
            Self::RunJobs => "run_jobs",
            Self::ManageLine => "manage_line",
            Self::ManageMaterials => "manage_materials",
            Self::MoveStock => "move_stock",
            Self::HoldLots => "hold_lots",
            Self::ManageQuality => "manage_quality",
            Self::ManageMembers => "manage_members",
            Self::AcknowledgeWarnings => "acknowledge_warnings",
            Self::ManageWebhooks => "manage_webhooks",
            Self::ExportProject => "export_project",
            Self::ReadAudit => "read_audit",
        }
    }
}
