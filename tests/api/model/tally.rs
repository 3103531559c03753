//! What the cases of a run came to: a run that releases nothing proves nothing.

use std::{
    collections::BTreeMap,
    sync::{Mutex, PoisonError},
};

use super::site::{Call, Site, Verdict};

static TALLY: Mutex<BTreeMap<&str, usize>> = Mutex::new(BTreeMap::new());

fn add(what: &'static str, count: usize) {
    *TALLY.lock().unwrap_or_else(PoisonError::into_inner).entry(what).or_default() += count;
}

/// Counts a step and what came of it.
pub fn step(calls: &[Call]) {
    add("steps", 1);
    for call in calls {
        if let Call::Release { verdicts, .. } = call {
            let refused = |it: &&Verdict| matches!(it, Verdict::Refused(_));
            add("refusals", verdicts.iter().filter(refused).count());
        }
    }
}

/// Counts a case that agreed to its end.
pub fn case(site: &Site) {
    add("cases", 1);
    add("facts", site.entries.len());
    add("corrections", site.entries.iter().filter(|it| it.supersedes.is_some()).count());
    add("releases", site.releases.len());
    add("contradictions", site.releases.iter().filter(|it| it.contradicted).count());
    let of_code = |code| site.matters.iter().filter(move |it| it.code == code);
    add("buried unreleased", of_code("BURIED_UNRELEASED").count());
    add("nonconformances", site.matters.len());
    add("decided", site.matters.iter().filter(|it| it.status == "closed").count());
}

/// How often something was counted.
pub fn of(what: &str) -> usize {
    TALLY.lock().unwrap_or_else(PoisonError::into_inner).get(what).copied().unwrap_or(0)
}

/// Everything that was counted.
pub fn words() -> String {
    let tally = TALLY.lock().unwrap_or_else(PoisonError::into_inner);
    let words: Vec<String> = tally.iter().map(|(what, count)| format!("{count} {what}")).collect();
    words.join(", ")
}
