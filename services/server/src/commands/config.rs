//! `jointward config`.

use std::{env, fmt::Write};

use clap::{ArgMatches, FromArgMatches};

use crate::{
    cli::{Place, SealArgs},
    seal_key, settings, terminal,
};

/// Options whose values nobody should read over a shoulder.
const SECRET: [&str; 2] = ["database_url", "smtp_url"];

/// Prints every setting of `serve`, its value and where it comes from.
pub fn run() -> anyhow::Result<()> {
    let (command, matches, file) = settings::read(env::args_os().collect())?;
    let Some(sub) = matches.subcommand_matches("config") else { return Ok(()) };
    let options = command.find_subcommand("config").into_iter();
    let options = command.get_arguments().chain(options.flat_map(clap::Command::get_arguments));
    let mut text = String::new();
    for option in options {
        let id = option.get_id().as_str();
        if matches!(id, "help" | "version" | "config") {
            continue;
        }
        let source = settings::source(sub, &file, id);
        writeln!(text, "{id:<26} {:<32} {source}", value(sub, id))?;
    }
    writeln!(text, "{:<26} {}", "seal key fingerprint", fingerprint(sub))?;
    terminal::show(&text)
}

/// The public side of the key, never the key itself.
fn fingerprint(sub: &ArgMatches) -> String {
    let read = || {
        let place = Place::from_arg_matches(sub)?;
        let args = SealArgs::from_arg_matches(sub)?;
        let path = seal_key::path(&place, &args)?;
        path.filter(|it| it.exists()).map(|it| seal_key::read(&it)).transpose()
    };
    match read() {
        Ok(Some(key)) => key.public().fingerprint(),
        Ok(None) => "- (no key)".to_owned(),
        Err(error) => format!("- ({error:#})"),
    }
}

fn value(matches: &ArgMatches, id: &str) -> String {
    let given = matches.try_get_raw(id).ok().flatten();
    let words = given.map(|it| it.map(|word| word.to_string_lossy()).collect::<Vec<_>>());
    match words {
        None => "-".to_owned(),
        Some(_) if SECRET.contains(&id) => "(set, not shown)".to_owned(),
        Some(words) => words.join(", "),
    }
}
