//! `jointward completions`.

use clap::CommandFactory;

use crate::{
    cli::{Cli, CompletionsArgs},
    terminal,
};

/// Prints the completions of a shell.
pub fn run(args: &CompletionsArgs) -> anyhow::Result<()> {
    let mut script = Vec::new();
    clap_complete::generate(args.shell, &mut Cli::command(), "jointward", &mut script);
    terminal::show(&String::from_utf8_lossy(&script))
}
