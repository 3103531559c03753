//! One file per subcommand.

mod backup;
mod calc;
mod completions;
mod config;
mod demo;
mod doctor;
mod export;
mod migrate;
mod openapi;
mod probe;
mod restore;
mod roles;
mod rotate_keys;
mod seal_key;
mod serve;
mod setup_code;
mod verify;
mod work;

use std::process::ExitCode;

use crate::cli::{Cli, Command};

/// Does what `cli` asks for.
pub async fn run(cli: Cli) -> anyhow::Result<ExitCode> {
    let Cli { place, command, .. } = cli;
    match command {
        Command::Serve(args) => serve::run(&place, &args).await?,
        Command::Work(args) => work::run(&place, &args).await?,
        Command::Config(_) => config::run()?,
        Command::Doctor => return doctor::run(&place).await,
        Command::Probe(args) => return probe::run(&args),
        Command::Migrate => migrate::run(&place).await?,
        Command::SetupCode(args) => setup_code::run(&place, &args).await?,
        Command::RotateKeys => rotate_keys::run(&place).await?,
        Command::SealKey(args) => seal_key::run(&place, &args)?,
        Command::Openapi => openapi::run()?,
        Command::Roles => roles::run()?,
        Command::Verify(args) => return verify::run(&place, &args).await,
        Command::Export(args) => export::run(&place, &args).await?,
        Command::Backup(args) => backup::run(&place, &args).await?,
        Command::Restore(args) => return restore::run(&place, &args).await,
        Command::Calc(args) => return calc::run(&args),
        Command::Completions(args) => completions::run(&args)?,
        Command::Demo(args) => demo::run(&place, &args).await?,
    }
    Ok(ExitCode::SUCCESS)
}
