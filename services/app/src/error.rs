//! Why a use case did not do what was asked.

use domain::{access::Permission, schema::FieldError};
use store::StoreError;

/// Why a use case did not do what was asked. The caller reads all of it but [`Self::Internal`].
#[derive(Debug, thiserror::Error)]
pub enum AppError {
    /// Nobody known is asking.
    #[error("not signed in: {detail}")]
    Unauthenticated {
        /// Stable code.
        code: &'static str,
        /// What is wrong and what would be right.
        detail: String,
    },
    /// There were too many wrong passwords.
    #[error("too many wrong passwords; the next one is looked at in {retry_after}")]
    Throttled {
        /// How long to wait.
        retry_after: chrono::TimeDelta,
    },
    /// The caller may see the thing, but not do this.
    #[error("the permission {permission} is missing")]
    Forbidden {
        /// What the caller's role lacks.
        permission: &'static str,
    },
    /// There is no such thing, as far as the caller may know.
    #[error("there is no {what}")]
    NotFound {
        /// What was looked for.
        what: String,
    },
    /// What was sent is wrong.
    #[error("{} faults in what was sent", .0.len())]
    Invalid(Vec<FieldError>),
    /// The present state disagrees.
    #[error("{detail}")]
    Conflict {
        /// Stable code.
        code: &'static str,
        /// What is in the way and what would help.
        detail: String,
    },
    /// It was there once and is not kept any more.
    #[error("{detail}")]
    Gone {
        /// Stable code.
        code: &'static str,
        /// What is gone and what to do instead.
        detail: String,
    },
    /// The thing has changed since the caller read it.
    #[error("{detail}")]
    PreconditionFailed {
        /// What version was expected and what is there.
        detail: String,
    },
    /// The rules of the work refuse it.
    #[error("{detail}")]
    Refused {
        /// Stable code.
        code: &'static str,
        /// The refusal in one sentence.
        detail: String,
        /// Every reason.
        blocking: serde_json::Value,
    },
    /// A place does not hold what is to leave it.
    #[error("{detail}")]
    NotEnough {
        /// What is left and what was asked for.
        detail: String,
        /// What is left, base units of the material.
        left: f64,
        /// Every place that holds too little.
        blocking: serde_json::Value,
    },
    /// What was sent is right in itself, and something more is needed.
    #[error("{detail}")]
    Unprocessable {
        /// Stable code.
        code: &'static str,
        /// What is needed.
        detail: String,
        /// The field that it belongs into.
        faults: Vec<FieldError>,
    },
    /// Rows of a table that was sent are wrong.
    #[error("{} faults in the table", .0.len())]
    InvalidRows(Vec<domain::register::RowError>),
    /// The same call may succeed in a moment.
    #[error("unavailable: {detail}")]
    Unavailable {
        /// What is missing.
        detail: String,
    },
    /// Others were faster in the database; done again, it may well succeed.
    #[error("lost against other transactions")]
    Contended,
    /// A bug. The text is for the log, never for the caller.
    #[error("internal: {0}")]
    Internal(String),
}

impl AppError {
    /// A permission is missing.
    pub const fn forbidden(permission: Permission) -> Self {
        Self::Forbidden { permission: permission.name() }
    }

    /// There is no `what`.
    pub fn not_found(what: impl Into<String>) -> Self {
        Self::NotFound { what: what.into() }
    }

    /// A bug, with the whole chain of causes.
    pub fn internal(error: &dyn std::error::Error) -> Self {
        Self::Internal(chain(error))
    }

    /// The thing is at version `found`, not at `expected`.
    pub fn stale(expected: i64, found: i64) -> Self {
        let detail = format!("version {expected} was expected, but it is at version {found}");
        Self::PreconditionFailed { detail }
    }
}

impl From<StoreError> for AppError {
    fn from(error: StoreError) -> Self {
        if error.is_contention() {
            return Self::Contended;
        }
        if error.is_unavailable() {
            // The causes go to the log here: the answer does not carry them.
            tracing::warn!(error = chain(&error), "the database is unavailable");
            return Self::Unavailable { detail: "the database did not answer in time".to_owned() };
        }
        Self::internal(&error)
    }
}

/// An error and its causes, each of which says only itself.
pub(crate) fn chain(error: &dyn std::error::Error) -> String {
    let mut text = error.to_string();
    let mut cause = error.source();
    while let Some(error) = cause {
        text.push_str(": ");
        text.push_str(&error.to_string());
        cause = error.source();
    }
    text
}
