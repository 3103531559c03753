//! What can be written behind `jointward calc`.

use std::{fs, io, path::PathBuf};

use anyhow::{Context, anyhow};
use calculators::Calculator;
use clap::{
    Arg, ArgAction, ArgMatches, Args, Command, FromArgMatches,
    builder::PossibleValuesParser,
    error::{Error, ErrorKind},
    value_parser,
};
use domain::schema::FieldError;
use serde_json::{Map, Value};

use super::field::{Field, fields};

/// What to calculate, and from what.
#[derive(Debug, Clone)]
pub struct CalcArgs {
    /// With which calculator.
    pub calculator: Calculator,
    /// Whether the answer is to be JSON.
    pub json: bool,
    file: Option<PathBuf>,
    given: Vec<(Vec<String>, Value)>,
}

impl CalcArgs {
    /// The request: what is in the file, and over it what the options say.
    pub fn request(&self) -> anyhow::Result<Value> {
        let mut request = match &self.file {
            None => Value::Object(Map::new()),
            Some(file) => read(file)?,
        };
        for (path, value) in &self.given {
            set(&mut request, path, value.clone())?;
        }
        Ok(request)
    }
}

fn read(file: &PathBuf) -> anyhow::Result<Value> {
    let text = if file.as_os_str() == "-" {
        io::read_to_string(io::stdin()).context("could not read standard input")?
    } else {
        let name = file.display();
        fs::read_to_string(file).with_context(|| format!("could not read {name}"))?
    };
    serde_json::from_str(&text).context("what was given by --file is not JSON")
}

fn set(request: &mut Value, path: &[String], value: Value) -> anyhow::Result<()> {
    let Some((first, rest)) = path.split_first() else {
        *request = value;
        return Ok(());
    };
    let object = request.as_object_mut();
    let object = object.ok_or_else(|| anyhow!("--file must give a JSON object"))?;
    let inner = object.entry(first.clone()).or_insert_with(|| Value::Object(Map::new()));
    set(inner, rest, value)
}

/// Every fault, each at its option where it has one.
pub fn faults(calculator: &Calculator, found: &[FieldError]) -> anyhow::Error {
    let (_, fields) = fields(&(calculator.request)());
    let lines = found.iter().map(|fault| {
        let pointer = fault.pointer.trim_start_matches('#');
        let option = fields.iter().find(|field| field.pointer() == pointer);
        let place = match option {
            Some(field) => format!("--{}", field.option()),
            None if pointer.is_empty() => "the request".to_owned(),
            None => pointer.to_owned(),
        };
        format!("\n  {place}: {}", fault.detail)
    });
    let count = match found.len() {
        1 => "1 fault".to_owned(),
        many => format!("{many} faults"),
    };
    anyhow!("{count} in what was asked:{}", lines.collect::<String>())
}

impl Args for CalcArgs {
    fn augment_args(command: Command) -> Command {
        command
            .subcommand_required(true)
            .arg_required_else_help(true)
            .subcommand_value_name("CALCULATOR")
            .subcommand_help_heading("Calculators")
            .subcommands(calculators::ALL.map(subcommand))
    }

    fn augment_args_for_update(command: Command) -> Command {
        Self::augment_args(command)
    }
}

fn subcommand(calculator: Calculator) -> Command {
    let (about, fields) = fields(&(calculator.request)());
    let file = Arg::new("file")
        .long("file")
        .value_name("FILE")
        .value_parser(value_parser!(PathBuf))
        .help("Read the request as JSON, from standard input if it is -; options go over it");
    let json = Arg::new("json")
        .long("json")
        .action(ArgAction::SetTrue)
        .help("Print JSON with every digit instead of a table");
    let short = about.lines().next().unwrap_or_default().trim_end_matches('.').to_owned();
    Command::new(calculator.name)
        .about(short)
        .long_about(about)
        .arg_required_else_help(!fields.is_empty())
        .args(fields.iter().map(option))
        .args([file, json])
}

fn option(field: &Field) -> Arg {
    let heading = if field.required { "Fields" } else { "Optional fields" };
    let option = Arg::new(field.pointer())
        .long(field.option())
        .value_name(if field.text { "TEXT" } else { "NUMBER" })
        .help(field.help.trim_end_matches('.').to_owned())
        .help_heading(heading)
        // A temperature may be under zero.
        .allow_hyphen_values(true);
    if field.values.is_empty() {
        option
    } else {
        option.value_name("CODE").value_parser(PossibleValuesParser::new(field.values.clone()))
    }
}

impl FromArgMatches for CalcArgs {
    fn from_arg_matches(matches: &ArgMatches) -> Result<Self, Error> {
        let chosen = matches.subcommand().and_then(|(name, matches)| {
            let calculator = calculators::ALL.into_iter().find(|it| it.name == name)?;
            Some((calculator, matches))
        });
        let (calculator, matches) = chosen
            .ok_or_else(|| Error::raw(ErrorKind::MissingSubcommand, "name a calculator\n"))?;
        let (_, fields) = fields(&(calculator.request)());
        let given = fields.into_iter().filter_map(|field| {
            let text = matches.get_one::<String>(&field.pointer())?;
            Some((field.path, value(text, field.text)))
        });
        Ok(Self {
            calculator,
            json: matches.get_flag("json"),
            file: matches.get_one("file").cloned(),
            given: given.collect(),
        })
    }

    fn update_from_arg_matches(&mut self, matches: &ArgMatches) -> Result<(), Error> {
        *self = Self::from_arg_matches(matches)?;
        Ok(())
    }
}

/// What is no number stays text, which the schema then refuses with all the other faults.
fn value(text: &str, is_text: bool) -> Value {
    let as_text = || Value::String(text.to_owned());
    if is_text { as_text() } else { serde_json::from_str(text).unwrap_or_else(|_| as_text()) }
}

#[cfg(test)]
mod tests {
    use clap::Parser;
    use serde_json::json;

    use super::*;
    use crate::cli::{Cli, Command as Asked};

    fn parsed(line: &[&str]) -> CalcArgs {
        let cli = Cli::try_parse_from([&["jointward", "calc"], line].concat()).unwrap();
        let Asked::Calc(args) = cli.command else { panic!("another command") };
        args
    }

    #[test]
    fn options_are_the_fields_of_the_request() {
        let line = ["conditions", "--air-c", "-5", "--steel-c=4.5", "--limits-steel-min-c", "3"];
        let args = parsed(&line);
        let expected = json!({ "air_c": -5, "steel_c": 4.5, "limits": { "steel_min_c": 3 } });
        assert_eq!(args.request().unwrap(), expected);
        assert!(!args.json);
    }

    #[test]
    fn every_fault_stands_at_its_option() {
        let args = parsed(&["dew-point", "--air-c", "warm", "--relative-humidity-percent", "0"]);
        let found = (args.calculator.answer)(&args.request().unwrap()).unwrap_err();
        let told = faults(&args.calculator, &found).to_string();
        assert!(told.starts_with("2 faults"), "{told}");
        assert!(told.contains("\n  --air-c: \"warm\" is not of type"), "{told}");
        let range = "--relative-humidity-percent: 0 is out of range: it must be over 0 and at most";
        assert!(told.contains(range), "{told}");
    }

    #[test]
    fn every_scalar_of_every_request_has_an_option_and_lists_have_none() {
        let count = |name: &str| {
            let calculator = calculators::ALL.into_iter().find(|it| it.name == name).unwrap();
            fields(&(calculator.request)()).1.len()
        };
        assert_eq!(count("wrap-takeoff"), 10);
        assert_eq!(count("reorder-point"), 5);
        assert_eq!(count("control-limits"), 1, "the subgroups come from a file");
    }
}
