//! Doing it again where the database asks for that.

use std::time::Duration;

/// Pauses before the second and the third attempt; whoever was in the way has gone by then.
const PAUSES_MS: [u64; 2] = [10, 50];

/// Counts the attempts at a transaction that lost against others: a deadlock or a conflict that
/// the database resolved at our cost.
///
/// ```ignore
/// let mut attempts = Attempts::default();
/// loop {
///     match attempt().await {
///         Err(AppError::Contended) if attempts.again().await => {}
///         done => return done,
///     }
/// }
/// ```
#[derive(Debug, Default)]
pub struct Attempts(usize);

impl Attempts {
    /// Waits a moment and says to do it again; after the third attempt the caller is told to come
    /// back.
    pub async fn again(&mut self) -> bool {
        let Some(pause) = PAUSES_MS.get(self.0) else { return false };
        self.0 += 1;
        tracing::debug!("lost against another transaction; once more in {pause} ms");
        tokio::time::sleep(Duration::from_millis(*pause)).await;
        true
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[tokio::test(start_paused = true)]
    async fn there_are_three_attempts() {
        let mut attempts = Attempts::default();
        assert!(attempts.again().await);
        assert!(attempts.again().await);
        assert!(!attempts.again().await);
        assert!(!attempts.again().await);
    }
}
