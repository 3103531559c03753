//! When to stop.

use std::process;

use anyhow::Context;
use tokio::signal::unix::{Signal, SignalKind, signal};

/// The exit code of a process that was interrupted.
const INTERRUPTED: i32 = 130;

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

    /// From now on, whoever asks once more does not want to wait for the orderly end.
    pub fn insist(mut self) {
        tokio::spawn(async move {
            self.asked().await;
            process::exit(INTERRUPTED);
        });
    }
}
