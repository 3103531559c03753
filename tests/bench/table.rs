//! The figures beside those to reach.

use crate::{
    options::Work,
    rounds::{Sample, Shares},
    say,
    storm::Storm,
};

/// A share of what the database does alone with the very statements of the server. The rest goes
/// to HTTP, JSON, judging and the client, all on the same cores.
const RECORD_OF_SAME_SQL: f64 = 0.60;
const READ_OF_SAME_SQL: f64 = 0.30;
const LIST_OF_SAME_SQL: f64 = 0.40;

/// A share of the least that recording a fact can mean: lock, insert, update.
const RECORD_OF_BARE: f64 = 0.40;

/// Of 100 recordings 99 are answered within this, ms.
const RECORD_P99_MS: f64 = 20.0;

/// Facts that batches record while the database does one bare transaction.
const BATCHED_FACTS_OF_BARE: f64 = 2.0;

/// Times as fast as the comparison program with the same statements.
const RECORD_OF_COMPARISON: f64 = 2.0;
const READ_OF_COMPARISON: f64 = 3.0;

/// Most memory of the server under load and while everybody signs in, MB.
const MEMORY_MB: f64 = 100.0;
const STORM_MEMORY_MB: f64 = 200.0;

/// Ratios are asked for where clients keep both cores busy.
const BUSY: u32 = 8;

/// Prints everything.
pub fn print(shares: &Shares, storm: Option<&Storm>) {
    say(format_args!(""));
    say(format_args!(
        "{:<7}{:>8}{:>11}{:>11}{:>10}{:>11}{:>9}{:>9}{:>12}",
        "work",
        "clients",
        "bare/s",
        "same SQL/s",
        "avg ms",
        "HTTP/s",
        "p50 ms",
        "p99 ms",
        "compared/s"
    ));
    for ((work, clients), samples) in &shares.samples {
        let of = |read: fn(&Sample) -> Option<f64>| number(median(samples, read));
        say(format_args!(
            "{:<7}{clients:>8}{:>11}{:>11}{:>10}{:>11}{:>9}{:>9}{:>12}",
            format!("{work:?}").to_lowercase(),
            of(|it| it.bare),
            of(|it| it.same_sql),
            of(|it| it.same_sql.map(|_| it.same_sql_ms)),
            of(|it| Some(it.http)),
            of(|it| Some(it.p50_ms)),
            of(|it| Some(it.p99_ms)),
            of(|it| it.comparison),
        ));
    }
    say(format_args!(""));
    say(format_args!("medians of the ratios of each round"));
    for ((work, clients), samples) in &shares.samples {
        print_ratios(*work, *clients, samples);
    }
    say(format_args!(""));
    check("memory under load, MB", shares.peak_mb, Bound::Under(MEMORY_MB));
    if let Some(storm) = storm {
        check("memory while everybody signs in, MB", storm.peak_mb, Bound::Under(STORM_MEMORY_MB));
        say(format_args!(
            "    {:.0} signed in and {:.0} told to come again each second",
            storm.signed_in, storm.told_to_wait
        ));
    }
}

fn print_ratios(work: Work, clients: u32, samples: &[Sample]) {
    let name = format!("{work:?}").to_lowercase();
    let (of_same_sql, of_comparison) = match work {
        Work::Record => (RECORD_OF_SAME_SQL, RECORD_OF_COMPARISON),
        Work::Read => (READ_OF_SAME_SQL, READ_OF_COMPARISON),
        _ => (LIST_OF_SAME_SQL, READ_OF_COMPARISON),
    };
    let of_bare = if work == Work::Batch { BATCHED_FACTS_OF_BARE } else { RECORD_OF_BARE };
    let wanted = |least| if clients >= BUSY { Bound::AtLeast(least) } else { Bound::None };
    let ratio = |what: &str, read: fn(&Sample) -> Option<f64>, least: f64| {
        if let Some(median) = median(samples, read) {
            let each: Vec<String> =
                samples.iter().filter_map(read).map(|it| format!("{it:.2}")).collect();
            let text = format!("{name}, {clients} clients, of {what} ({})", each.join(" "));
            check(&text, median, wanted(least));
        }
    };
    ratio("same SQL", |it| Some(it.http / it.same_sql?), of_same_sql);
    ratio("bare", |it| Some(it.http / it.bare?), of_bare);
    ratio("the comparison", |it| Some(it.http / it.comparison?), of_comparison);
    if work == Work::Record
        && let Some(p99) = median(samples, |it| Some(it.p99_ms))
    {
        let bound = if clients >= BUSY { Bound::Under(RECORD_P99_MS) } else { Bound::None };
        check(&format!("{name}, {clients} clients, p99, ms"), p99, bound);
    }
}

#[derive(Clone, Copy)]
enum Bound {
    AtLeast(f64),
    Under(f64),
    None,
}

fn check(what: &str, found: f64, bound: Bound) {
    let verdict = match bound {
        Bound::None => String::new(),
        Bound::AtLeast(least) => {
            format!("at least {least:<7}{}", if found >= least { "reached" } else { "NOT reached" })
        }
        Bound::Under(most) => {
            format!("under    {most:<7}{}", if found < most { "reached" } else { "NOT reached" })
        }
    };
    say(format_args!("{what:<62}{found:>8.2}  {verdict}"));
}

fn median(samples: &[Sample], read: fn(&Sample) -> Option<f64>) -> Option<f64> {
    let mut all: Vec<f64> = samples.iter().filter_map(read).collect();
    all.sort_by(f64::total_cmp);
    let middle = all.len() / 2;
    let upper = all.get(middle)?;
    if all.len() % 2 == 1 {
        return Some(*upper);
    }
    Some(f64::midpoint(*all.get(middle - 1)?, *upper))
}

fn number(value: Option<f64>) -> String {
    match value {
        None => "-".to_owned(),
        Some(value) if value >= 100.0 => format!("{value:.0}"),
        Some(value) => format!("{value:.2}"),
    }
}
