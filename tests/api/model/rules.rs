//! The rules of the joint's life and of its release, said again from the design and the guides.
//!
//! Nothing here folds: each rule is a question put to the list of facts that count, in the order
//! of the field. Slow and plain on purpose.

use std::collections::BTreeSet;

use super::{
    entry::{Applicator, Entry, Lots, Test, Weather, What, Who, Work},
    sent::id_order,
};

/// A gate and the code it is shut with.
pub type Reason = (&'static str, &'static str);

/// A finding that opens a nonconformance: its code, the fact, and whether it is critical.
pub type Serious = (&'static str, u32, bool);

/// A test is good for 48 hours.
const FRESH_MINUTES: i64 = 48 * 60;

/// Bare steel waits at most 4 hours for its first layer.
const BARE_MINUTES: i64 = 4 * 60;

/// The clock of a device may be two minutes ahead.
const CLOCK_TOLERANCE_MINUTES: i64 = 2;

/// The place of a kind in the life of a joint; at one instant a passed test comes before all.
fn place(what: &What) -> u32 {
    match what {
        What::Tested(test) if test.passed() => 0,
        What::Welded => 1,
        What::WeldAccepted => 2,
        What::WeldRejected => 3,
        What::WeldRepaired => 4,
        What::CutOut => 5,
        What::Prepared { .. } => 6,
        What::Primed(_) => 7,
        What::Profiled(_) => 8,
        What::Inner { .. } | What::Outer(_) => 9,
        What::Tested(_) => 10,
        What::Lowered => 11,
        What::Backfilled => 12,
        What::Looked { .. } => 13,
        What::Measured => 14,
        What::Peeled { .. } => 15,
        What::Damaged => 16,
        What::Repaired { .. } => 17,
        What::Excavated => 18,
        What::Withdrawn => 19,
    }
}

/// Recorded before it is said to have happened: nobody knows what came after it.
fn ahead(entry: &Entry) -> bool {
    entry.at > entry.recorded + CLOCK_TOLERANCE_MINUTES
}

/// It coats or disturbs the joint, so that an earlier holiday test says nothing any more.
fn disturbs(what: &What) -> bool {
    match what {
        What::WeldRepaired
        | What::CutOut
        | What::Prepared { .. }
        | What::Primed(_)
        | What::Profiled(_)
        | What::Inner { .. }
        | What::Outer(_)
        | What::Damaged
        | What::Repaired { .. }
        | What::Excavated
        | What::Peeled { on_joint: true, .. } => true,
        What::Tested(test) => !test.passed(),
        _ => false,
    }
}

/// Whether the fact leaves a hole to repair, and the code of it. A failed test that says that it
/// found no holiday leaves none.
fn hole(what: &What) -> Option<&'static str> {
    match what {
        What::Damaged => Some("DAMAGE_OPEN"),
        What::Tested(test) if !test.passed() && test.holidays != Some(0) => Some("HOLIDAYS_OPEN"),
        What::Peeled { on_joint: true, .. } => Some("PEEL_STRIP_OPEN"),
        _ => None,
    }
}

fn work(what: &What) -> Option<Work> {
    match what {
        What::Prepared { work, .. }
        | What::Primed(work)
        | What::Profiled(work)
        | What::Inner { work, .. }
        | What::Outer(work)
        | What::Repaired { work, .. } => Some(*work),
        _ => None,
    }
}

/// The place of a layer in the system of two tapes; `None` for what is no layer of it.
fn layer(what: &What) -> Option<u32> {
    match what {
        What::Primed(_) => Some(0),
        What::Inner { .. } => Some(1),
        What::Outer(_) => Some(2),
        _ => None,
    }
}

/// The facts of one joint that count, in the order of the field.
pub struct Facts<'a>(Vec<&'a Entry>);

impl<'a> Facts<'a> {
    /// Those of `entries` that are about `joint` and that no other one about it takes the place of.
    pub fn of(entries: &'a [Entry], joint: usize) -> Self {
        let here: Vec<&Entry> = entries.iter().filter(|it| it.joint == joint).collect();
        let replaced = |it: &Entry| here.iter().any(|by| by.supersedes == Some(it.number));
        let mut facts: Vec<&Entry> = here.iter().filter(|it| !replaced(it)).copied().collect();
        facts.sort_by_key(|it| (it.at, place(&it.what), id_order(it.number)));
        Self(facts)
    }

    pub fn has(&self, number: u32) -> bool {
        self.0.iter().any(|it| it.number == number)
    }

    /// The facts since the steel was last bare: what they put on is what lies there.
    fn coat(&self) -> &[&'a Entry] {
        let bare = |it: &&Entry| {
            matches!(it.what, What::Prepared { .. } | What::WeldRepaired) && !ahead(it)
        };
        &self.0[self.0.iter().rposition(bare).unwrap_or(0)..]
    }

    /// The facts after the one of that number.
    fn after(&self, number: u32) -> &[&'a Entry] {
        let place = self.0.iter().position(|it| it.number == number);
        &self.0[place.map_or(self.0.len(), |place| place + 1)..]
    }

    fn tests(&self) -> impl DoubleEndedIterator<Item = (&'a Entry, Test)> {
        self.0.iter().filter_map(|it| match it.what {
            What::Tested(test) => Some((*it, test)),
            _ => None,
        })
    }

    fn stale(&self, test: u32) -> bool {
        self.after(test).iter().any(|it| disturbs(&it.what))
    }

    /// The number of the newest test.
    pub fn newest_test(&self) -> Option<u32> {
        self.tests().next_back().map(|(entry, _)| entry.number)
    }

    /// A release stands on a test that counts and that nothing came after.
    pub fn holds(&self, test: u32) -> bool {
        self.has(test) && !self.stale(test)
    }

    /// The layers ask for more than the voltage of the test of that number.
    pub fn too_weak(&self, test: u32) -> bool {
        let mut tests = self.tests().filter(|(entry, _)| entry.number == test);
        tests.any(|(_, test)| self.required_volts().is_some_and(|least| test.volts < least))
    }

    /// When it was covered, if it lies covered.
    pub fn covered_at(&self) -> Option<i64> {
        let number = self.buried()?;
        self.0.iter().find(|it| it.number == number).map(|it| it.at)
    }

    pub fn cut_out(&self) -> bool {
        self.0.iter().any(|it| it.what == What::CutOut)
    }

    /// It was covered, and not dug up since.
    pub fn buried(&self) -> Option<u32> {
        let dug = self.0.iter().rposition(|it| it.what == What::Excavated && !ahead(it));
        let since = &self.0[dug.map_or(0, |place| place + 1)..];
        since.iter().rev().find(|it| it.what == What::Backfilled).map(|it| it.number)
    }

    /// Everything that stands against a release but the signer, apart from nonconformances.
    pub fn shut(&self, now: i64) -> BTreeSet<Reason> {
        let mut shut = self.weld();
        shut.extend(self.layers());
        shut.extend(self.holiday_test());
        shut.extend(self.holes().map(|(code, _)| ("damage", code)));
        for (entry, work) in self.works() {
            let of_lots = materials(&entry.what, work).into_iter();
            shut.extend(of_lots.map(|code| ("materials", code)));
            shut.extend(applicator(entry.by, work).map(|code| ("people", code)));
            shut.extend(weather(work).map(|code| ("conditions", code)));
        }
        if self.waited_bare() {
            shut.insert(("conditions", "PREPARATION_TOO_OLD"));
        }
        if let Some((entry, test)) = self.tests().next_back() {
            match test.inspector {
                Some(true) => {}
                Some(false) => _ = shut.insert(("people", "NOT_QUALIFIED")),
                None => _ = shut.insert(("people", "INSPECTOR_NOT_NAMED")),
            }
            if test.passed() && now - entry.at > FRESH_MINUTES {
                shut.insert(("freshness", "HOLIDAY_TEST_TOO_OLD"));
            }
        }
        if self.coat().iter().any(|it| matches!(it.what, What::Inner { overlap: false, .. })) {
            shut.insert(("overlap", "OVERLAP_UNDER"));
        }
        let peels = self.coat().iter().rev().filter(|it| match it.what {
            What::Peeled { passed, .. } => !(passed && ahead(it)),
            _ => false,
        });
        let newest = peels.map(|it| it.what);
        if matches!(newest.take(1).next(), Some(What::Peeled { passed: false, .. })) {
            shut.insert(("peel_tests", "PEEL_TEST_FAILED"));
        }
        shut
    }

    /// The first layer came too long after the steel was prepared.
    fn waited_bare(&self) -> bool {
        let prepared = |it: &&&Entry| matches!(it.what, What::Prepared { .. }) && !ahead(it);
        let coats =
            |it: &&&Entry| layer(&it.what).is_some() || matches!(it.what, What::Profiled(_));
        let bare_since = self.coat().first().filter(prepared);
        let first = self.coat().iter().find(coats);
        bare_since.zip(first).is_some_and(|(bare, first)| first.at - bare.at > BARE_MINUTES)
    }

    fn weld(&self) -> BTreeSet<Reason> {
        let last = self.0.iter().rev().find(|it| {
            use What::{WeldAccepted, WeldRejected, WeldRepaired, Welded};
            let opens = it.what == WeldAccepted && ahead(it);
            matches!(it.what, Welded | WeldAccepted | WeldRejected | WeldRepaired) && !opens
        });
        let code = match last.map(|it| it.what) {
            _ if self.cut_out() => "CUT_OUT",
            Some(What::WeldAccepted) => return BTreeSet::new(),
            Some(What::WeldRejected) => "WELD_REJECTED",
            _ => "WELD_NOT_ACCEPTED",
        };
        BTreeSet::from([("weld", code)])
    }

    fn on(&self, place: u32) -> bool {
        self.coat().iter().any(|it| layer(&it.what) == Some(place))
    }

    /// Primer and both tapes are on.
    fn complete(&self) -> bool {
        (0..3).all(|place| self.on(place))
    }

    fn layers(&self) -> BTreeSet<Reason> {
        let mut shut = BTreeSet::new();
        match self.coat().first().filter(|it| !ahead(it)).map(|it| it.what) {
            Some(What::Prepared { clean: true, .. }) => {}
            Some(What::Prepared { .. }) => _ = shut.insert(("layers", "SURFACE_GRADE_DIFFERS")),
            _ => _ = shut.insert(("layers", "SURFACE_NOT_PREPARED")),
        }
        if !self.complete() {
            shut.insert(("layers", "LAYER_MISSING"));
        }
        let places: Vec<u32> = self.coat().iter().filter_map(|it| layer(&it.what)).collect();
        if !places.is_sorted() {
            shut.insert(("layers", "LAYER_OUT_OF_ORDER"));
        }
        if self.coat().iter().any(|it| matches!(it.what, What::Profiled(_))) {
            shut.insert(("layers", "LAYER_NOT_OF_SYSTEM"));
        }
        shut
    }

    /// 5 kV and 5 kV more per millimetre of tape: 1.0 mm of inner, 0.5 mm of outer tape.
    pub fn required_volts(&self) -> Option<u32> {
        match (self.on(1), self.on(2)) {
            (false, false) => None,
            (inner, outer) => Some(5_000 + 5_000 * u32::from(inner) + 2_500 * u32::from(outer)),
        }
    }

    fn holiday_test(&self) -> BTreeSet<Reason> {
        let mut codes = Vec::new();
        match self.tests().next_back() {
            None => codes.push("HOLIDAY_TEST_MISSING"),
            Some((entry, test)) => {
                if !test.passed() {
                    codes.push("HOLIDAY_TEST_FAILED");
                }
                if self.stale(entry.number) {
                    codes.push("HOLIDAY_TEST_STALE");
                }
                match self.required_volts() {
                    None => codes.push("REQUIRED_VOLTAGE_UNDEFINED"),
                    Some(least) if test.volts < least => codes.push("HOLIDAY_TEST_VOLTAGE_LOW"),
                    Some(_) => {}
                }
                if ahead(entry) {
                    codes.push("HOLIDAY_TEST_AHEAD_OF_CLOCK");
                }
                if !test.calibrated {
                    codes.push("DETECTOR_NOT_CALIBRATED");
                }
            }
        }
        codes.into_iter().map(|code| ("holiday_test", code)).collect()
    }

    /// Holes that no later repair closed: one of all holes, or one of that very hole.
    fn holes(&self) -> impl Iterator<Item = (&'static str, u32)> {
        self.coat().iter().filter_map(|it| {
            let closed = self.after(it.number).iter().any(|later| match later.what {
                What::Repaired { of, .. } => {
                    !ahead(later) && of.is_none_or(|hole| hole == it.number)
                }
                _ => false,
            });
            hole(&it.what).filter(|_| !closed).map(|code| (code, it.number))
        })
    }

    /// The numbers of the open holes.
    pub fn open_holes(&self) -> Vec<u32> {
        self.holes().map(|(_, number)| number).collect()
    }

    fn works(&self) -> impl Iterator<Item = (&'a Entry, Work)> {
        self.coat().iter().filter_map(|it| work(&it.what).map(|work| (*it, work)))
    }

    /// Whether `signer` put something of the coating on: as named, else as who wrote it down.
    pub fn applied_by(&self, signer: Who) -> bool {
        self.works().any(|(entry, work)| match work.applicator {
            Applicator::WrappingQa => signer == Who::WrappingQa,
            Applicator::Unnamed => signer == entry.by,
            Applicator::Crew | Applicator::Novice => false,
        })
    }

    /// The findings that are serious by the default plan.
    pub fn serious(&self, released: bool) -> BTreeSet<Serious> {
        let mut found = BTreeSet::new();
        for it in self.coat() {
            if let What::Repaired { patch, cleaned, .. } = it.what {
                if patch {
                    found.insert(("REPAIR_IS_PATCH", it.number, false));
                }
                if !cleaned {
                    found.insert(("REPAIR_INCOMPLETE", it.number, false));
                }
            }
            let mended = self.after(it.number).iter().any(|later| {
                let mends =
                    matches!(later.what, What::Repaired { .. } | What::Looked { passed: true });
                mends && !ahead(later)
            });
            if matches!(it.what, What::Looked { passed: false }) && !mended {
                found.insert(("VISUAL_INSPECTION_FAILED", it.number, false));
            }
        }
        if let Some((entry, test)) = self.tests().next_back()
            && !test.slow_enough
            && !self.stale(entry.number)
        {
            found.insert(("TRAVEL_TOO_FAST", entry.number, false));
        }
        if let (Some(covered), false) = (self.buried(), released) {
            found.insert(("BURIED_UNRELEASED", covered, true));
        }
        found
    }

    /// A hole waits for its repair, or a repair for its test.
    pub fn in_repair(&self) -> bool {
        let repaired = self.coat().iter().any(|it| matches!(it.what, What::Repaired { .. }));
        self.holes().next().is_some() || (repaired && !self.holiday_test().is_empty())
    }

    /// The stage the joint is shown in.
    pub fn stage(&self, released: bool) -> &'static str {
        let sound = self.holiday_test().is_empty() && self.holes().next().is_none();
        let coated =
            |it: &&Entry| layer(&it.what).is_some() || matches!(it.what, What::Profiled(_));
        let prepared = |it: &&Entry| matches!(it.what, What::Prepared { .. }) && !ahead(it);
        match () {
            () if self.buried().is_some() => "backfilled",
            () if self.cut_out() => "welded",
            () if released => "released",
            () if self.complete() && sound => "tested",
            () if self.complete() => "wrapped",
            () if self.coat().iter().any(coated) => "primed",
            () if self.coat().iter().any(prepared) => "prepared",
            () if self.weld().is_empty() => "accepted",
            () => "welded",
        }
    }
}

/// The gates whose shutting by a fact contradicts a release: not those of time and of people's
/// decisions.
pub fn contradicts((gate, _): &Reason) -> bool {
    !["nonconformances", "freshness"].contains(gate)
}

fn materials(what: &What, work: Work) -> Vec<&'static str> {
    // The expired lot is one of inner tape.
    let of_other_material = layer(what).is_some() && !matches!(what, What::Inner { .. });
    let needs_lot = !matches!(what, What::Prepared { .. } | What::Repaired { .. });
    match work.lots {
        _ if matches!(what, What::Prepared { .. }) => Vec::new(),
        Lots::Expired if of_other_material => vec!["LOT_EXPIRED", "MATERIAL_DIFFERS"],
        Lots::Expired => vec!["LOT_EXPIRED"],
        Lots::Unknown => vec!["LOT_UNKNOWN"],
        Lots::Unnamed if needs_lot => vec!["LOT_NOT_NAMED"],
        Lots::Good | Lots::Unnamed => Vec::new(),
    }
}

/// Who put it on must be qualified as an applicator; who wrote it down, where nobody is named.
fn applicator(by: Who, work: Work) -> Option<&'static str> {
    match (work.applicator, by) {
        (Applicator::Crew | Applicator::WrappingQa, _)
        | (Applicator::Unnamed, Who::Crew | Who::WrappingQa) => None,
        (Applicator::Novice, _) | (Applicator::Unnamed, Who::Inspector) => Some("NOT_QUALIFIED"),
        (Applicator::Unnamed, Who::Coordinator | Who::Qa) => Some("APPLICATOR_NOT_NAMED"),
    }
}

fn weather(work: Work) -> Option<&'static str> {
    match work.weather {
        Weather::Dry => None,
        Weather::Wet => Some("CONDITIONS_OUT_OF_LIMITS"),
        Weather::ReadLongBefore => Some("AMBIENT_READING_TOO_OLD"),
        Weather::NotRead => Some("NO_AMBIENT_READING"),
    }
}
