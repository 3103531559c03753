//! The program `jointward`: the server, its worker, and what its keepers need on the command line.

mod backup;
mod calculation;
mod cli;
mod commands;
mod database;
mod demo;
mod explain;
mod logging;
mod process;
mod seal_key;
mod settings;
mod shutdown;
mod terminal;

use std::process::ExitCode;

// Many small JSON values from many threads: the system allocator is slow at exactly that.
#[global_allocator]
static ALLOCATOR: mimalloc::MiMalloc = mimalloc::MiMalloc;

fn main() -> ExitCode {
    let cli = match settings::parse() {
        Ok(cli) => cli,
        Err(error) => {
            terminal::complain(&error);
            return ExitCode::from(2);
        }
    };
    logging::start(&cli);
    let ended = tokio::runtime::Builder::new_multi_thread()
        .enable_all()
        .build()
        .map_err(anyhow::Error::from)
        .and_then(|runtime| runtime.block_on(commands::run(cli)));
    match ended {
        Ok(code) => code,
        Err(error) => {
            terminal::complain(&error);
            ExitCode::FAILURE
        }
    }
}
