//! The log, on standard error.

use std::io::{self, IsTerminal};

use tracing_subscriber::EnvFilter;

use crate::cli::{Cli, Command, LogFormat};

/// Starts the log as the command line says.
pub fn start(cli: &Cli) {
    // Commands that answer on the terminal should not be talked over.
    let usual = match cli.command {
        // The queue library tells every turn of its loop.
        Command::Serve(_) | Command::Work(_) => "info,apalis_core=warn",
        _ => "warn",
    };
    let filter = cli.log.as_deref().unwrap_or(usual);
    let (filter, fault) = match EnvFilter::try_new(filter) {
        Ok(filter) => (filter, None),
        Err(fault) => (EnvFilter::new(usual), Some(fault)),
    };
    let log = tracing_subscriber::fmt().with_env_filter(filter).with_writer(io::stderr);
    let terminal = io::stderr().is_terminal();
    match (cli.log_format, terminal) {
        (Some(LogFormat::Json), _) | (None, false) => {
            log.json().flatten_event(true).with_current_span(true).with_span_list(false).init();
        }
        _ => log.with_ansi(terminal).with_target(false).init(),
    }
    if let Some(fault) = fault {
        tracing::warn!(error = %fault, "cannot read the log filter; `{usual}` is used");
    }
}
