//! `jointward calc`.

use std::process::ExitCode;

use crate::{
    calculation::{CalcArgs, faults, table},
    terminal,
};

/// The exit code of bad input, the same as that of a bad command line.
const BAD_INPUT: u8 = 2;

/// Calculates and prints; exit code 2 with every fault if what was asked cannot be answered.
pub fn run(args: &CalcArgs) -> anyhow::Result<ExitCode> {
    let request = match args.request() {
        Ok(request) => request,
        Err(error) => {
            terminal::complain(&error);
            return Ok(ExitCode::from(BAD_INPUT));
        }
    };
    match (args.calculator.answer)(&request) {
        Ok(answer) if args.json => terminal::show(&(answer + "\n"))?,
        Ok(answer) => terminal::show(&table(&answer)?)?,
        Err(found) => {
            terminal::complain(&faults(&args.calculator, &found));
            return Ok(ExitCode::from(BAD_INPUT));
        }
    }
    Ok(ExitCode::SUCCESS)
}
