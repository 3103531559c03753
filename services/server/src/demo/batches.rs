//! Cuts the facts into what each person sends at once. Pure.

use std::collections::{BTreeMap, HashMap};

use chrono::{DateTime, DurationRound, TimeDelta, Utc};

use super::files::{FactLine, ReleaseLine};

/// The most that one batch holds, as through the API.
const MOST: usize = 500;

/// Phones send once in a while, when there is a network.
const EVERY: TimeDelta = TimeDelta::hours(1);

/// Who sends a fact.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Sender {
    /// The lead of the crews that start in the west.
    CrewA,
    /// The lead of the crews that start in the east.
    CrewB,
    /// The inspector.
    Inspector,
}

impl Sender {
    fn of(line: &FactLine) -> Self {
        // Tests are the inspector's, and so is what puts an entry right: a crew may not do that.
        let names = |field| line.fact.get(field).is_some();
        if names("inspector") || names("supersedes") {
            Self::Inspector
        } else if line.joint.contains("-A-") {
            Self::CrewA
        } else {
            Self::CrewB
        }
    }
}

/// One thing that happens while loading.
#[derive(Debug)]
pub enum Step {
    /// Facts are sent.
    Send {
        /// When.
        at: DateTime<Utc>,
        /// Who.
        sender: Sender,
        /// What.
        lines: Vec<FactLine>,
    },
    /// Joints are released.
    Release(ReleaseLine),
}

impl Step {
    /// When it happens.
    pub fn at(&self) -> DateTime<Utc> {
        match self {
            Self::Send { at, .. } => *at,
            Self::Release(line) => line.at,
        }
    }
}

/// All that happens, in its order: no fact is sent past a release that came before it.
pub fn steps(facts: Vec<FactLine>, releases: Vec<ReleaseLine>) -> Vec<Step> {
    let mut steps = Vec::new();
    let mut releases = releases.into_iter().peekable();
    let mut window: Vec<FactLine> = Vec::new();
    // The file is in the order of sending; a fact that was sent late goes by those before it.
    let mut now = DateTime::<Utc>::MIN_UTC;
    for line in facts {
        let at = now.max(line.occurred_at);
        let another_hour = hour(at) != hour(now);
        if another_hour || window.len() == MOST || releases.peek().is_some_and(|it| it.at < at) {
            steps.extend(sends(std::mem::take(&mut window), now));
        }
        while let Some(release) = releases.next_if(|it| it.at < at) {
            steps.push(Step::Release(release));
        }
        window.push(line);
        now = at;
    }
    steps.extend(sends(window, now));
    steps.extend(releases.map(Step::Release));
    steps
}

fn hour(at: DateTime<Utc>) -> DateTime<Utc> {
    at.duration_trunc(EVERY).unwrap_or(at)
}

/// The facts of one window by sender, those of each joint in their order.
fn sends(window: Vec<FactLine>, at: DateTime<Utc>) -> Vec<Step> {
    // Whenever the sender changes on a joint, the rest of that joint waits for the next round.
    let mut place: HashMap<String, (usize, Sender)> = HashMap::new();
    let mut batches: BTreeMap<(usize, Sender), Vec<FactLine>> = BTreeMap::new();
    for line in window {
        let sender = Sender::of(&line);
        let (round, before) = *place.get(&line.joint).unwrap_or(&(0, sender));
        let round = if before == sender { round } else { round + 1 };
        place.insert(line.joint.clone(), (round, sender));
        batches.entry((round, sender)).or_default().push(line);
    }
    let send = |((_, sender), lines)| Step::Send { at, sender, lines };
    batches.into_iter().map(send).collect()
}

#[cfg(test)]
mod tests {
    use serde_json::json;

    use super::{
        super::{files, shift::Shift},
        *,
    };

    #[test]
    fn every_fact_is_sent_once_in_the_order_of_its_joint_and_between_its_releases() {
        let facts = files::facts(Shift::NONE).unwrap();
        let releases = files::releases(Shift::NONE).unwrap();
        let (mut expected, mut found): (HashMap<_, Vec<_>>, HashMap<_, Vec<_>>) =
            Default::default();
        for line in &facts {
            expected.entry(line.joint.clone()).or_default().push(line.fact["id"].clone());
        }
        let count = releases.len();
        let (mut now, mut released) = (DateTime::<Utc>::MIN_UTC, 0);
        for step in steps(facts, releases) {
            match step {
                Step::Send { at, lines, .. } => {
                    assert!(at >= now && lines.len() <= MOST);
                    now = at;
                    for line in lines {
                        assert!(line.occurred_at <= at);
                        found.entry(line.joint).or_default().push(line.fact["id"].clone());
                    }
                }
                Step::Release(release) => {
                    assert!(release.at >= now);
                    now = release.at;
                    released += 1;
                }
            }
        }
        assert_eq!(found, expected);
        assert_eq!(released, count);
    }

    #[test]
    fn a_change_of_sender_waits_for_the_next_round() {
        let line = |joint: &str, tested: bool| FactLine {
            joint: joint.to_owned(),
            occurred_at: DateTime::UNIX_EPOCH,
            fact: if tested { json!({"inspector": "P-1"}) } else { json!({}) },
        };
        let window = vec![
            line("X-A-1", false),
            line("X-A-1", true),
            line("X-A-2", true),
            line("X-A-1", false),
        ];
        let sent: Vec<(Sender, usize)> = sends(window, DateTime::UNIX_EPOCH)
            .into_iter()
            .filter_map(|step| match step {
                Step::Send { sender, lines, .. } => Some((sender, lines.len())),
                Step::Release(_) => None,
            })
            .collect();
        let (crew, inspector) = (Sender::CrewA, Sender::Inspector);
        assert_eq!(sent, [(crew, 1), (inspector, 1), (inspector, 1), (crew, 1)]);
    }
}
