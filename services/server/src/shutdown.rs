//! When to stop.

use std::{process, time::Duration};

use anyhow::Context;
use cluster::Stopper;
use tokio::signal::unix::{Signal, SignalKind, signal};

/// The exit code of a process that was interrupted.
const INTERRUPTED: i32 = 130;

/// Within this, a second signal means the same as the first.
const ONE_WISH: Duration = Duration::from_secs(1);

/// The signals that ask the process to stop.
pub struct Shutdown {
    interrupt: Signal,
    terminate: Signal,
}

impl Shutdown {
    /// Listens from now on; without it, a signal would end the process at once.
    pub fn listen() -> anyhow::Result<Self> {
        let on = |kind| signal(kind).context("could not listen to signals");
        let (interrupt, terminate) = (on(SignalKind::interrupt())?, on(SignalKind::terminate())?);
        Ok(Self { interrupt, terminate })
    }

    /// Waits until the process is asked to stop.
    pub async fn asked(&mut self) {
        tokio::select! {
            _ = self.interrupt.recv() => {}
            _ = self.terminate.recv() => {}
        }
    }

    /// After a moment, whoever asks once more does not want to wait for the orderly end; a private
    /// PostgreSQL is told to stop then, and is not left behind.
    pub fn insist(self, private: Option<Stopper>) {
        tokio::spawn(async move {
            // Some supervisors signal the process and then its group: one wish, told twice.
            tokio::time::sleep(ONE_WISH).await;
            drop(self);
            if let Ok(mut again) = Self::listen() {
                again.asked().await;
                private.iter().for_each(Stopper::tell);
                process::exit(INTERRUPTED);
            }
        });
    }
}
