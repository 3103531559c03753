//! Errors of the use cases, told with everything that HTTP would say.

use anyhow::anyhow;
use app::AppError;

/// Turns `error` into one that names every fault of what was sent, and every reason of a refusal.
pub fn explain(error: AppError) -> anyhow::Error {
    match error {
        AppError::Invalid(faults) => {
            let lines: Vec<String> =
                faults.iter().map(|it| format!("{} {}", it.pointer, it.detail)).collect();
            anyhow!("{}", lines.join("; "))
        }
        AppError::Refused { detail, blocking, .. } => anyhow!("{detail}: {blocking}"),
        AppError::InvalidRows(faults) => {
            let line = |it: &domain::register::RowError| {
                format!("row {} {}: {}", it.row, it.column, it.detail)
            };
            anyhow!("{}", faults.iter().map(line).collect::<Vec<_>>().join("; "))
        }
        error => error.into(),
    }
}
