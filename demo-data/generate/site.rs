//! The site: what was recorded, what was signed, and what the story wants to show.

use std::collections::BTreeMap;

use chrono::{DateTime, Utc};
use domain::{ids::EventId, joints::Event};
use serde::Serialize;
use uuid::Builder;

use super::{
    burial,
    calendar::{self, LAST, LAST_MINUTE},
    coating,
    line::Joint,
    rng::Rng,
    story::Story,
    testing, welding,
};

/// One line of `facts.ndjson`: a fact as a client sends it, and the joint it belongs to.
#[derive(Serialize)]
pub struct Line {
    pub joint: String,
    pub id: EventId,
    pub occurred_at: DateTime<Utc>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub supersedes: Option<EventId>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub reason: Option<String>,
    #[serde(flatten)]
    pub event: Event,
    /// When it was sent; the file is in this order.
    #[serde(skip)]
    pub sent_at: DateTime<Utc>,
}

/// One line of `releases.ndjson`: what the QA manager signed in one go.
#[derive(Serialize)]
pub struct Release {
    pub at: DateTime<Utc>,
    pub joints: Vec<String>,
}

/// What came out of one joint's coating.
pub struct Coated {
    pub day: i64,
    pub crew: &'static str,
    /// Nothing in it shuts a gate.
    pub clean: bool,
}

#[derive(Default)]
pub struct Site {
    pub facts: Vec<Line>,
    /// Joints to release by evening and spread.
    evenings: BTreeMap<(i64, &'static str), Vec<String>>,
    pub story: Story,
}

impl Site {
    /// Six weeks of work on `joints`.
    pub fn work(joints: &[Joint]) -> Self {
        let mut site = Self::default();
        for joint in joints {
            site.joint(joint);
        }
        site.facts.sort_by_key(|fact| (fact.sent_at, fact.id));
        site.story.last_fact_at = site.facts.iter().map(|fact| fact.sent_at).max();
        site
    }

    fn joint(&mut self, joint: &Joint) {
        if !welding::weld(self, joint) {
            return;
        }
        let Some(coated) = coating::coat(self, joint) else { return };
        if let Some(passed) = testing::test(self, joint, &coated) {
            burial::bury(self, joint, &coated, passed);
        }
    }

    /// Records what happened at `minute` of `day`, unless the story ends before.
    pub fn record(
        &mut self,
        joint: &Joint,
        day: i64,
        minute: i64,
        event: Event,
    ) -> Option<EventId> {
        self.record_as(joint, (day, minute), event, None)
    }

    /// As [`Self::record`], in the place of another entry.
    pub fn record_as(
        &mut self,
        joint: &Joint,
        (day, minute): (i64, i64),
        event: Event,
        corrects: Option<(EventId, &str)>,
    ) -> Option<EventId> {
        if (day, minute) > (LAST, LAST_MINUTE) {
            return None;
        }
        let mut rng = Rng::of(&[9, u64::try_from(self.facts.len()).unwrap_or(0)]);
        let seconds = chrono::TimeDelta::seconds(rng.whole(0, 59));
        let occurred_at = calendar::at(day, minute) + seconds;
        let millis = u64::try_from(occurred_at.timestamp_millis()).unwrap_or(0);
        let id = EventId(Builder::from_unix_timestamp_millis(millis, &rng.bytes()).into_uuid());
        self.facts.push(Line {
            joint: joint.number.clone(),
            id,
            occurred_at,
            supersedes: corrects.map(|it| it.0),
            reason: corrects.map(|it| it.1.to_owned()),
            event,
            sent_at: occurred_at,
        });
        Some(id)
    }

    /// The newest entry reaches the server only at `minute` of `day`.
    pub fn sent_late(&mut self, day: i64, minute: i64) {
        if let Some(fact) = self.facts.last_mut() {
            fact.sent_at = calendar::at(day, minute);
            self.story.late_facts.push(fact.id);
        }
    }

    /// The QA manager releases it in the evening of `day`; the story ends before the last one.
    pub fn release(&mut self, joint: &Joint, day: i64) {
        if day < LAST {
            self.evenings.entry((day, joint.spread)).or_default().push(joint.number.clone());
        }
    }

    pub fn releases(&self) -> Vec<Release> {
        self.evenings
            .iter()
            .map(|((day, spread), joints)| Release {
                at: calendar::at(*day, if *spread == "A" { 18 * 60 + 20 } else { 18 * 60 + 40 }),
                joints: joints.clone(),
            })
            .collect()
    }
}
