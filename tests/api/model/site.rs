//! The model's site: two joints, what was written down, what was released, and what every step
//! has to be answered.
//!
//! A time in the field is taken as it is written, also one ahead of the server's clock.

use std::collections::BTreeSet;

use super::{
    entry::{Change, Entry, Test, What, Who},
    rules::{Facts, Reason, contradicts},
    step::{Draft, How, Item, Step, When},
};

/// Joints of the model.
pub const JOINTS: usize = 2;

/// The minute at which the harness's clock stands first.
const FIRST_MINUTE: i64 = 600;

/// A release that was given.
#[derive(Debug, Clone)]
pub struct Release {
    pub joint: usize,
    pub test: u32,
    pub at: i64,
    pub by: Who,
    pub contradicted: bool,
}

/// A nonconformance.
#[derive(Debug, Clone)]
pub struct Matter {
    pub joint: usize,
    pub code: &'static str,
    pub entry: u32,
    pub critical: bool,
    pub opened: i64,
    pub status: &'static str,
}

/// The answer to an ask for release, joint by joint.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Verdict {
    Granted,
    AlreadyReleased,
    Refused(BTreeSet<Reason>),
}

/// What is asked of the server, and what it has to answer.
#[derive(Debug, Clone)]
pub enum Call {
    Waits(i64),
    Records { by: Who, entry: Entry, joint: usize, change: Change, status: u16, late: bool },
    Sends { by: Who, items: Vec<Sent>, statuses: Vec<u16> },
    Release { by: Who, joints: Vec<usize>, how: How, verdicts: Vec<Verdict> },
    Overtaken { by: Who, joint: usize, entry: Entry },
    Decides { code: &'static str, entry: u32, proof: u32, status: u16 },
}

/// An item of a batch as it is sent.
#[derive(Debug, Clone)]
pub enum Sent {
    Entry(Entry, Change),
    Spoilt(Entry),
    Nowhere(Entry),
}

/// The state of the model.
#[derive(Debug, Clone)]
pub struct Site {
    /// Minute of the first day.
    pub now: i64,
    next: u32,
    /// Stored, in the order of arrival.
    pub entries: Vec<Entry>,
    /// On tablets without signal.
    pub unsent: Vec<Entry>,
    pub releases: Vec<Release>,
    pub matters: Vec<Matter>,
    /// The calls of the newest step.
    pub calls: Vec<Call>,
    /// What happened so far, in trade words.
    pub story: Vec<String>,
}

impl Site {
    pub fn new() -> Self {
        Self {
            now: FIRST_MINUTE,
            next: 1,
            entries: Vec::new(),
            unsent: Vec::new(),
            releases: Vec::new(),
            matters: Vec::new(),
            calls: Vec::new(),
            story: Vec::new(),
        }
    }

    pub fn facts(&self, joint: usize) -> Facts<'_> {
        Facts::of(&self.entries, joint)
    }

    /// The release in force.
    pub fn in_force(&self, joint: usize) -> Option<&Release> {
        self.releases.iter().find(|it| it.joint == joint && !it.contradicted)
    }

    /// A release was contradicted, and none is in force.
    pub fn contradicted(&self, joint: usize) -> bool {
        self.in_force(joint).is_none() && self.releases.iter().any(|it| it.joint == joint)
    }

    pub fn open_matters(&self) -> impl Iterator<Item = &Matter> {
        self.matters.iter().filter(|it| it.status == "open")
    }

    fn held(&self, joint: usize) -> bool {
        self.open_matters().any(|it| it.joint == joint)
    }

    /// Everything that stands against a release but the signer.
    pub fn shut(&self, joint: usize) -> BTreeSet<Reason> {
        let mut shut = self.facts(joint).shut(self.now);
        if self.held(joint) {
            shut.insert(("nonconformances", "NONCONFORMANCE_OPEN"));
        }
        shut
    }

    /// The flags beside the stage.
    pub fn flags(&self, joint: usize) -> Vec<&'static str> {
        let (facts, contradicted) = (self.facts(joint), self.contradicted(joint));
        let unreleased = facts.buried().is_some() && self.in_force(joint).is_none();
        let flags = [
            ("in_repair", facts.in_repair()),
            ("blocked", contradicted || self.held(joint)),
            ("contradicted", contradicted),
            ("buried_unreleased", unreleased),
            ("cut_out", facts.cut_out()),
        ];
        flags.into_iter().filter(|(_, is)| *is).map(|(flag, _)| flag).collect()
    }

    /// What a release of `joint` by `signer` has to be answered.
    fn verdict(&self, joint: usize, signer: Who) -> Verdict {
        let facts = self.facts(joint);
        let mut against = self.shut(joint);
        if facts.applied_by(signer) {
            against.insert(("release", "APPLICATOR_CANNOT_RELEASE"));
        }
        if against.is_empty() && self.in_force(joint).is_some() {
            return Verdict::AlreadyReleased;
        }
        if facts.buried().is_some() {
            against.insert(("release", "ALREADY_BACKFILLED"));
        }
        if against.is_empty() { Verdict::Granted } else { Verdict::Refused(against) }
    }

    /// Takes a step; every one of them takes a minute.
    pub fn take(&mut self, step: &Step) {
        self.calls.clear();
        let minutes = if let Step::TimePasses { minutes } = step { *minutes } else { 1 };
        self.now += minutes;
        self.calls.push(Call::Waits(minutes));
        match step {
            Step::Records { by, draft } => self.records(*by, draft),
            Step::Writes(draft) => {
                let entry = self.entry(Who::Inspector, draft);
                self.tell(&format!("kept on a tablet without signal: {}", words(&entry)));
                self.unsent.push(entry);
            }
            Step::SendsWhatWaited => {
                let waited = std::mem::take(&mut self.unsent);
                let sent = waited.into_iter().rev().map(|it| Sent::Entry(it, Change::Nothing));
                self.sends(Who::Inspector, sent.collect());
            }
            Step::SendsAgain { entry, to_the_other_joint, change } => {
                let entry = *picked(&self.entries, *entry);
                let joint = (entry.joint + usize::from(*to_the_other_joint)) % JOINTS;
                let status = self.arrives(Who::Inspector, entry, joint, *change);
                let (by, late) = (Who::Inspector, false);
                let changed = again(*change);
                self.tell(&format!("sent again to J-{}: {}{changed}", joint + 1, words(&entry)));
                self.calls.push(Call::Records { by, entry, joint, change: *change, status, late });
            }
            Step::SendsBatch { by, items } => {
                let sent = self.batch(*by, items);
                self.sends(*by, sent);
            }
            Step::AsksForRelease { by, joints, how } => self.asks_for_release(*by, joints, *how),
            Step::Decides { matter, newest, proof } => self.decides(*matter, *newest, *proof),
            Step::TimePasses { .. } => self.tell(&format!("{minutes} minutes passed")),
        }
    }

    fn tell(&mut self, what: &str) {
        self.story.push(format!("{} {what}", clock(self.now)));
    }

    /// Gives a draft its number, its time and what it refers to.
    fn entry(&mut self, by: Who, draft: &Draft) -> Entry {
        let Draft { joint, when, mut what, correcting } = *draft;
        let at = match when {
            When::Now => self.now,
            When::Before(minutes) => (self.now - minutes).max(0),
            When::SameAs(place) => picked(&self.entries, place).at,
            When::Ahead(minutes) => self.now + minutes,
        };
        if let What::Repaired { of: Some(place), .. } = &mut what {
            let holes = self.facts(joint).open_holes();
            let place = usize::try_from(*place).unwrap();
            let of = (!holes.is_empty()).then(|| *picked(&holes, place));
            if let What::Repaired { of: hole, .. } = &mut what {
                *hole = of;
            }
        }
        let known: Vec<u32> = self.entries.iter().chain(&self.unsent).map(|it| it.number).collect();
        let supersedes = correcting.map(|place| *picked(&known, place));
        let number = self.next;
        self.next += 1;
        Entry { number, joint, at, by, recorded: self.now, what, supersedes }
    }

    /// An entry arrives: stored, known already, or refused; the status of the answer.
    fn arrives(&mut self, by: Who, entry: Entry, joint: usize, change: Change) -> u16 {
        if by == Who::Crew && entry.supersedes.is_some() {
            return 403;
        }
        match self.entries.iter().find(|it| it.number == entry.number) {
            Some(stored) if stored.joint == joint && change == Change::Nothing => 200,
            Some(_) => 409,
            None => {
                self.entries.push(Entry { joint, by, recorded: self.now, ..entry });
                201
            }
        }
    }

    fn records(&mut self, by: Who, draft: &Draft) {
        let entry = self.entry(by, draft);
        let here = self.entries.iter().filter(|it| it.joint == entry.joint);
        let late = here.map(|it| it.at).max().is_some_and(|newest| entry.at < newest);
        let status = self.arrives(by, entry, entry.joint, Change::Nothing);
        self.tell(&format!("{by:?} recorded {}", words(&entry)));
        self.follows();
        let (joint, change) = (entry.joint, Change::Nothing);
        self.calls.push(Call::Records { by, entry, joint, change, status, late });
    }

    fn batch(&mut self, by: Who, items: &[Item]) -> Vec<Sent> {
        let mut sent: Vec<Sent> = Vec::new();
        for item in items {
            let next = match item {
                Item::New(draft) => Sent::Entry(self.entry(by, draft), Change::Nothing),
                Item::Again(place, change) => Sent::Entry(*picked(&self.entries, *place), *change),
                Item::Twin(change) => match sent.last().cloned() {
                    Some(Sent::Entry(entry, _)) => Sent::Entry(entry, *change),
                    Some(other) => other,
                    None => continue,
                },
                Item::Spoilt(joint) => Sent::Spoilt(self.entry(by, &spoilt(*joint))),
                Item::Nowhere => Sent::Nowhere(self.entry(by, &spoilt(0))),
            };
            sent.push(next);
        }
        sent
    }

    fn sends(&mut self, by: Who, items: Vec<Sent>) {
        self.tell(&format!("{by:?} sent a batch of {}", items.len()));
        let mut statuses = Vec::new();
        for item in &items {
            let (status, told) = match item {
                Sent::Entry(entry, change) => {
                    let status = self.arrives(by, *entry, entry.joint, *change);
                    (status, format!("{}{}", words(entry), again(*change)))
                }
                Sent::Spoilt(_) => (422, "a test without its detector".to_owned()),
                Sent::Nowhere(_) => (404, "a fact on an unknown joint".to_owned()),
            };
            statuses.push(status);
            self.story.push(format!("        {told} -> {status}"));
        }
        self.follows();
        self.calls.push(Call::Sends { by, items, statuses });
    }

    /// What follows from the facts that arrived in this minute: contradictions, nonconformances.
    fn follows(&mut self) {
        for joint in 0..JOINTS {
            let here = self.entries.iter().filter(|it| it.joint == joint);
            let fresh: Vec<u32> =
                here.filter(|it| it.recorded == self.now).map(|it| it.number).collect();
            for (place, number) in fresh.iter().enumerate() {
                self.contradicts(joint, *number, &fresh[place + 1..]);
            }
            if !fresh.is_empty() {
                self.opens_and_lapses(joint);
            }
        }
    }

    /// A release stays in force as long as it would have been given with what is known now; those
    /// of a batch are known one after the other.
    fn contradicts(&mut self, joint: usize, newest: u32, later: &[u32]) {
        let known: Vec<Entry> =
            self.entries.iter().filter(|it| !later.contains(&it.number)).copied().collect();
        let (facts, now) = (Facts::of(&known, joint), self.now);
        let Some(release) = self.in_force(joint) else { return };
        let sound = facts.holds(release.test)
            && !facts.too_weak(release.test)
            && !facts.shut(now).iter().any(contradicts);
        let in_time = facts.covered_at().is_none_or(|at| at >= release.at);
        if sound && in_time && !facts.applied_by(release.by) {
            return;
        }
        let critical = facts.buried().is_some();
        for release in self.releases.iter_mut().filter(|it| it.joint == joint) {
            release.contradicted = true;
        }
        let code = "RELEASE_CONTRADICTED";
        self.opens(joint, (code, newest, critical));
    }

    fn opens(&mut self, joint: usize, (code, entry, critical): (&'static str, u32, bool)) {
        let (opened, status) = (self.now, "open");
        self.matters.push(Matter { joint, code, entry, critical, opened, status });
    }

    /// A serious finding opens a nonconformance, unless one was decided on; one whose finding is
    /// gone lapses, except a contradiction: somebody signed.
    fn opens_and_lapses(&mut self, joint: usize) {
        let serious = self.facts(joint).serious(self.in_force(joint).is_some());
        for finding in &serious {
            let known = self
                .matters
                .iter()
                .any(|it| (it.code, it.entry) == (finding.0, finding.1) && it.status != "lapsed");
            if !known {
                self.opens(joint, *finding);
            }
        }
        for matter in self.matters.iter_mut().filter(|it| it.joint == joint) {
            let found = serious.iter().any(|it| (it.0, it.1) == (matter.code, matter.entry));
            if matter.status == "open" && matter.code != "RELEASE_CONTRADICTED" && !found {
                matter.status = "lapsed";
            }
        }
    }

    fn asks_for_release(&mut self, by: Who, joints: &[usize], how: How) {
        let verdicts: Vec<Verdict> = joints.iter().map(|it| self.verdict(*it, by)).collect();
        let names: Vec<String> = joints.iter().map(|it| format!("J-{}", it + 1)).collect();
        let names = names.join(" and ");
        let may = matches!(by, Who::Qa | Who::WrappingQa);
        self.tell(&format!("{by:?} asked for the release of {names}: {how:?} -> {verdicts:?}"));
        if let (How::Overtaken(what), true) = (how, may) {
            let joint = joints[0];
            let draft = Draft { joint, when: When::Now, what, correcting: None };
            let entry = self.entry(Who::Inspector, &draft);
            self.arrives(Who::Inspector, entry, joint, Change::Nothing);
            self.tell(&format!("    ... and before it was signed: {}", words(&entry)));
            self.follows();
            self.calls.push(Call::Overtaken { by, joint, entry });
            return;
        }
        if how == How::Signed && may {
            for (joint, verdict) in joints.iter().zip(&verdicts) {
                if *verdict == Verdict::Granted {
                    let test = self.facts(*joint).newest_test().unwrap();
                    self.releases.push(Release {
                        joint: *joint,
                        test,
                        at: self.now,
                        by,
                        contradicted: false,
                    });
                }
            }
        }
        self.calls.push(Call::Release { by, joints: joints.to_vec(), how, verdicts });
    }

    /// The QA manager closes a nonconformance on a fact that counts and came after it; a
    /// contradiction only where the joint is sound again.
    fn decides(&mut self, matter: usize, newest: bool, proof: usize) {
        let open: Vec<usize> =
            (0..self.matters.len()).filter(|it| self.matters[*it].status == "open").collect();
        let place = *picked(&open, matter);
        let Matter { joint, code, entry, opened, .. } = self.matters[place];
        let mut here = self.entries.iter().filter(|it| it.joint == joint);
        let proof = match here.next_back() {
            Some(last) if newest => *last,
            _ => *picked(&self.entries, proof),
        };
        let facts = self.facts(joint);
        let proven = proof.recorded > opened && facts.has(proof.number);
        let shut = facts.shut(self.now);
        let sound = !shut.iter().any(|(gate, _)| ["holiday_test", "damage"].contains(gate));
        let settled = proven && (code != "RELEASE_CONTRADICTED" || sound);
        if settled {
            self.matters[place].status = "closed";
        }
        let status = if settled { 200 } else { 409 };
        let proof = proof.number;
        self.tell(&format!("{code} of entry {entry} decided on, proof entry {proof} -> {status}"));
        self.calls.push(Call::Decides { code, entry, proof, status });
    }
}

/// Counted from the newest, so that a story can be shortened at its beginning.
fn picked<T>(items: &[T], place: usize) -> &T {
    &items[items.len() - 1 - place % items.len()]
}

fn spoilt(joint: usize) -> Draft {
    let what = What::Tested(Test::GOOD);
    Draft { joint, when: When::Now, what, correcting: None }
}

fn again(change: Change) -> &'static str {
    match change {
        Change::Nothing => "",
        Change::Note => ", with another note",
        Change::Time => ", with another time",
    }
}

fn words(entry: &Entry) -> String {
    let Entry { number, joint, at, what, supersedes, .. } = entry;
    let instead = supersedes.map(|it| format!(", in place of entry {it}")).unwrap_or_default();
    format!("entry {number} on J-{}: {what}, at {}{instead}", joint + 1, clock(*at))
}

/// Day and time on the site's own clock; the first day begins at 06:00.
fn clock(minute: i64) -> String {
    let minute = minute + 6 * 60;
    format!("day {} {:02}:{:02}", 1 + minute / 1_440, minute / 60 % 24, minute % 60)
}
