//! What can go wrong with the database.

/// The database failed, or what it holds is not what it should hold.
#[derive(Debug, thiserror::Error)]
pub enum StoreError {
    /// A statement or a connection failed.
    #[error("could not {context}")]
    Database {
        /// What was being done, to be read after "could not".
        context: &'static str,
        /// Why not.
        #[source]
        source: sqlx::Error,
    },
    /// A row that cannot be.
    #[error("row {id} of table {table} is inconsistent: {detail}")]
    Inconsistent {
        /// The table.
        table: &'static str,
        /// The row's key.
        id: String,
        /// What is wrong with it.
        detail: String,
    },
}

/// Turns a failure into an error that says what was being done.
pub fn database(context: &'static str) -> impl FnOnce(sqlx::Error) -> StoreError {
    move |source| StoreError::Database { context, source }
}

impl StoreError {
    /// A row that cannot be.
    pub fn inconsistent(
        table: &'static str,
        id: impl std::fmt::Display,
        detail: impl std::fmt::Display,
    ) -> Self {
        Self::Inconsistent { table, id: id.to_string(), detail: detail.to_string() }
    }

    /// Whether the same call may succeed in a moment: weather, not a bug.
    pub fn is_unavailable(&self) -> bool {
        let Self::Database { source, .. } = self else { return false };
        match source {
            sqlx::Error::PoolTimedOut
            | sqlx::Error::PoolClosed
            | sqlx::Error::WorkerCrashed
            | sqlx::Error::Io(_)
            | sqlx::Error::Tls(_) => true,
            sqlx::Error::Database(error) => error.code().is_some_and(|code| is_weather(&code)),
            _ => false,
        }
    }

    /// Whether the database gave up this transaction in favour of another one.
    pub fn is_contention(&self) -> bool {
        match self {
            Self::Database { source: sqlx::Error::Database(error), .. } => {
                // Serialization failure, deadlock.
                error.code().is_some_and(|code| code == "40001" || code == "40P01")
            }
            _ => false,
        }
    }

    /// The constraint that refused the statement.
    pub fn constraint(&self) -> Option<&str> {
        match self {
            Self::Database { source: sqlx::Error::Database(error), .. } => error.constraint(),
            _ => None,
        }
    }
}

fn is_weather(code: &str) -> bool {
    // Class 08 is lost connections, 53 is missing resources.
    code.starts_with("08")
        || code.starts_with("53")
        || matches!(
            code,
            "55P03" // lock timeout
            | "57014" // statement timeout
            | "57P01" | "57P02" | "57P03" // shutting down, crashed, starting
            | "40001" | "40P01" // serialization failure, deadlock
            | "25006" // read-only: a standby that is about to take over
        )
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_full_pool_is_weather_and_a_missing_row_is_not() {
        assert!(database("wait")(sqlx::Error::PoolTimedOut).is_unavailable());
        assert!(!database("read")(sqlx::Error::RowNotFound).is_unavailable());
        assert!(!StoreError::inconsistent("users", 1, "no name").is_unavailable());
    }

    #[test]
    fn a_lock_timeout_is_weather_and_a_unique_key_is_not() {
        assert!(is_weather("55P03"));
        assert!(!is_weather("23505"));
    }
}
