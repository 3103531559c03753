//! The requests that are measured.

use std::{
    sync::atomic::{AtomicU32, Ordering},
    time::{SystemTime, UNIX_EPOCH},
};

use harness::{
    fact::{everything, passed_test},
    http::{get, post},
};
use serde_json::{Value, json};
use uuid::{NoContext, Timestamp, Uuid};

use crate::{
    options::Work,
    seed::{World, millimetres_of},
};

/// Facts in a batch.
pub const IN_A_BATCH: u32 = 500;

/// Facts that a joint gets in a batch: a whole coating and its test.
const ON_A_JOINT: u32 = 7;

/// Makes requests.
pub struct Requests<'a> {
    /// The line.
    pub world: &'a World,
    /// Access token of the inspector.
    pub token: String,
    /// The test that is recorded.
    test: Value,
    everything: Vec<Value>,
    /// Joints that were coated by batches.
    batched: &'a AtomicU32,
}

impl<'a> Requests<'a> {
    /// Requests to `world` of whoever has `token`.
    pub fn new(world: &'a World, token: String, batched: &'a AtomicU32) -> Self {
        let everything = everything().into_iter().map(|it| it.0).collect();
        Self { world, token, test: passed_test(60).0, everything, batched }
    }

    /// A request for `work`, different for every number.
    pub fn make(&self, work: Work, random: u64) -> Vec<u8> {
        let among = |most: u32| u32::try_from(random % u64::from(most)).unwrap_or(0) + 1;
        match work {
            Work::Record => self.record(among(self.world.coated), new_id()),
            Work::Read => self.read(among(self.world.coated)),
            Work::List => self.list(among(self.world.joints)),
            Work::Batch | Work::Storm => self.batch(),
        }
    }

    /// Records a test on a joint.
    pub fn record(&self, joint: u32, id: Uuid) -> Vec<u8> {
        let mut fact = self.test.clone();
        fact["id"] = json!(id);
        post(&path(&format!("/joints/{joint}/events")), &self.token, &fact)
    }

    /// Reads a joint.
    pub fn read(&self, joint: u32) -> Vec<u8> {
        get(&path(&format!("/joints/{joint}")), &self.token)
    }

    /// Lists 100 joints from that one on.
    pub fn list(&self, joint: u32) -> Vec<u8> {
        let metres = millimetres_of(joint) / 1000;
        let from = format!("{}.{:03}", metres / 1000, metres % 1000);
        get(&path(&format!("/joints?limit=100&kp_from={from}")), &self.token)
    }

    /// Coats and tests joints that have no facts yet; after the last one it begins again.
    fn batch(&self) -> Vec<u8> {
        let joints = IN_A_BATCH.div_ceil(ON_A_JOINT);
        let World { coated, joints: all, .. } = *self.world;
        let bare = all - 2 * coated;
        let begun = self.batched.fetch_add(joints, Ordering::Relaxed);
        let number = |place: u32| coated + 1 + (begun + place) % bare;
        let facts = (0..joints).flat_map(|place| {
            self.everything.iter().map(move |fact| {
                let mut fact = fact.clone();
                fact["id"] = json!(new_id());
                fact["joint"] = json!(number(place).to_string());
                fact
            })
        });
        let facts: Vec<Value> = facts.take(IN_A_BATCH as usize).collect();
        post(&path("/event-batches"), &self.token, &json!({ "events": facts }))
    }
}

fn path(rest: &str) -> String {
    format!("/v1/projects/NORTH{rest}")
}

/// The status of a good answer.
pub const fn wanted(work: Work) -> u16 {
    match work {
        Work::Record | Work::Storm => 201,
        Work::Read | Work::List => 200,
        Work::Batch => 207,
    }
}

/// A new UUID of version 7.
pub fn new_id() -> Uuid {
    let now = SystemTime::now().duration_since(UNIX_EPOCH).unwrap_or_default();
    Uuid::new_v7(Timestamp::from_unix(NoContext, now.as_secs(), now.subsec_nanos()))
}
