//! What is written for whoever typed the command.

use std::io::{self, Write};

use anyhow::Context;

/// Writes `text` to standard output.
pub fn show(text: &str) -> anyhow::Result<()> {
    let mut out = io::stdout().lock();
    match out.write_all(text.as_bytes()).and_then(|()| out.flush()) {
        // `jointward openapi | head` is no failure.
        Err(error) if error.kind() == io::ErrorKind::BrokenPipe => Ok(()),
        written => written.context("could not write to standard output"),
    }
}

/// Writes an error and its causes to standard error.
pub fn complain(error: &anyhow::Error) {
    let mut out = io::stderr().lock();
    // There is nobody left to tell when this fails.
    let _ = writeln!(out, "error: {error}");
    for cause in error.chain().skip(1) {
        let _ = writeln!(out, "  because: {cause}");
    }
}
