//! Settings: the command line, then the environment, then a file, then what is usual.

use std::{env, ffi::OsString, fs, path::PathBuf};

use anyhow::{Context, bail};
use clap::{ArgMatches, Command, CommandFactory, FromArgMatches, parser::ValueSource};
use toml::{Table, Value};

use crate::cli::Cli;

/// What was asked for on the command line, with the settings of the file that it names.
pub fn parse() -> anyhow::Result<Cli> {
    let (_, matches, _) = read(env::args_os().collect())?;
    Cli::from_arg_matches(&matches).map_err(|error| error.exit())
}

/// The options, what they are set to, and the file with settings.
pub fn read(line: Vec<OsString>) -> anyhow::Result<(Command, ArgMatches, Table)> {
    let file = match named(&line) {
        Some(path) => load(&path)?,
        None => Table::new(),
    };
    let command = with_defaults(Cli::command(), &file)?;
    let mut unknown: Vec<&str> = file.keys().map(String::as_str).collect();
    unknown.retain(|key| !knows(&command, key));
    if !unknown.is_empty() {
        bail!("the file with settings names what is no option: {}", unknown.join(", "));
    }
    let matches = command.clone().get_matches_from(line);
    Ok((command, matches, file))
}

/// Where the value of the option `id` comes from.
pub fn source(matches: &ArgMatches, file: &Table, id: &str) -> &'static str {
    match matches.value_source(id) {
        Some(ValueSource::CommandLine) => "command line",
        Some(ValueSource::EnvVariable) => "environment",
        _ if file.contains_key(id) => "file",
        _ => "default",
    }
}

/// The file is needed before the line can be read as a whole.
fn named(line: &[OsString]) -> Option<PathBuf> {
    let mut words = line.iter().skip(1).map(|it| it.to_string_lossy());
    while let Some(word) = words.next() {
        if word == "--config" {
            return words.next().map(|it| PathBuf::from(it.as_ref()));
        }
        if let Some(path) = word.strip_prefix("--config=") {
            return Some(PathBuf::from(path));
        }
    }
    env::var_os("JOINTWARD_CONFIG").filter(|it| !it.is_empty()).map(PathBuf::from)
}

fn load(path: &PathBuf) -> anyhow::Result<Table> {
    let text = fs::read_to_string(path)
        .with_context(|| format!("could not read the file with settings {}", path.display()))?;
    text.parse().with_context(|| format!("{} is no TOML", path.display()))
}

fn with_defaults(command: Command, file: &Table) -> anyhow::Result<Command> {
    let mut wrong = None;
    let mut command = command.mut_args(|arg| {
        let Some(value) = file.get(arg.get_id().as_str()) else { return arg };
        match words(value) {
            Some(words) => arg.default_values(words),
            None => {
                wrong = Some(arg.get_id().to_string());
                arg
            }
        }
    });
    if let Some(id) = wrong {
        bail!("`{id}` in the file with settings must be a text, a number, true, false or a list");
    }
    let names: Vec<String> = command.get_subcommands().map(|it| it.get_name().to_owned()).collect();
    for name in names {
        let mut failed = None;
        command = command.mut_subcommand(name, |sub| {
            let kept = sub.clone();
            with_defaults(sub, file).unwrap_or_else(|error| {
                failed = Some(error);
                kept
            })
        });
        if let Some(error) = failed {
            return Err(error);
        }
    }
    Ok(command)
}

fn words(value: &Value) -> Option<Vec<String>> {
    match value {
        Value::String(text) => Some(vec![text.clone()]),
        Value::Integer(number) => Some(vec![number.to_string()]),
        Value::Boolean(flag) => Some(vec![flag.to_string()]),
        Value::Array(items) => {
            items.iter().map(words).collect::<Option<Vec<_>>>().map(|it| it.concat())
        }
        _ => None,
    }
}

fn knows(command: &Command, id: &str) -> bool {
    command.get_arguments().any(|arg| arg.get_id() == id)
        || command.get_subcommands().any(|sub| knows(sub, id))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::cli::Command as Asked;

    fn check(file: &str, line: &[&str]) -> Cli {
        let command = with_defaults(Cli::command(), &file.parse().unwrap()).unwrap();
        Cli::from_arg_matches(&command.get_matches_from(line)).unwrap()
    }

    #[test]
    fn a_file_says_what_the_line_does_not() {
        let file = "listen = '0.0.0.0:80'\nno_worker = true\ntrusted_proxies = ['10.0.0.1']\n\
                    calculations_per_minute = 5";
        let Asked::Serve(args) = check(file, &["jointward", "serve"]).command else { panic!() };
        assert_eq!(args.listen.to_string(), "0.0.0.0:80");
        assert!(args.no_worker);
        assert_eq!(args.trusted_proxies, ["10.0.0.1".parse::<std::net::IpAddr>().unwrap()]);
        let line = ["jointward", "serve", "--calculations-per-minute", "7"];
        let Asked::Serve(args) = check(file, &line).command else { panic!() };
        assert_eq!(args.calculations_per_minute, 7);
    }

    #[test]
    fn a_table_is_no_setting() {
        let file = "[listen]\nport = 80".parse().unwrap();
        assert!(with_defaults(Cli::command(), &file).is_err());
        assert!(!knows(&Cli::command(), "lisen") && knows(&Cli::command(), "listen"));
    }
}
