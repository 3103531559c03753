//! What the command line says.

use std::path::PathBuf;

use clap::{Parser, ValueEnum};

/// What is measured.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, ValueEnum)]
pub enum Work {
    /// One fact in one request.
    Record,
    /// One joint with its gates.
    Read,
    /// A page of 100 joints.
    List,
    /// 500 facts in one request.
    Batch,
    /// Many who sign in at once.
    Storm,
}

/// Measures the server beside its database.
#[derive(Debug, Parser)]
pub struct Options {
    /// Joints in the project.
    #[arg(long, default_value_t = 1_000_000)]
    pub joints: u32,
    /// How many of them are coated, with six facts each; facts are recorded on these.
    #[arg(long, default_value_t = 100_000)]
    pub coated: u32,
    /// Seconds of each measurement.
    #[arg(long, default_value_t = 4)]
    pub seconds: u32,
    /// Rounds.
    #[arg(long, default_value_t = 3)]
    pub rounds: u32,
    /// Clients at once.
    #[arg(long, value_delimiter = ',', default_values_t = [1, 8, 32])]
    pub clients: Vec<u32>,
    /// Only these.
    #[arg(long, value_delimiter = ',', value_enum)]
    pub only: Vec<Work>,
    /// A Python that has what comparison/requirements.txt names: measures that program too.
    #[arg(long, value_name = "PYTHON")]
    pub comparison: Option<PathBuf>,
    /// Another server program than the one built with the bench, such as one built before a change.
    #[arg(long, value_name = "PROGRAM")]
    pub server: Option<PathBuf>,
    /// Prints the statements that the server sends.
    #[arg(long)]
    pub show_sql: bool,
    /// A setting for the private PostgreSQL, such as commit_delay=50.
    #[arg(long = "postgres", value_name = "NAME=VALUE", value_parser = setting)]
    pub settings: Vec<(String, String)>,
    /// Cargo says so.
    #[arg(long, hide = true)]
    bench: bool,
}

impl Options {
    /// The options of this process.
    pub fn read() -> Self {
        let mut options = Self::parse();
        // As many again are for the bare script, and the rest for batches.
        options.coated = options.coated.min(options.joints / 3);
        options
    }

    /// Whether `work` is to be measured.
    pub fn wants(&self, work: Work) -> bool {
        self.only.is_empty() || self.only.contains(&work)
    }
}

fn setting(text: &str) -> Result<(String, String), String> {
    let (name, value) = text.split_once('=').ok_or("write it as name=value")?;
    Ok((name.to_owned(), value.to_owned()))
}
