//! Cleaning, primer, mastic and wraps: four crews, twelve joints a crew and day.

use std::collections::BTreeMap;

use domain::joints::{
    Event, JointKind,
    event::{
        Ambient, PeelSpecimen, PeelTested, Primed, Profiled, SurfacePrepared, TestResult,
        ThicknessMeasured, VisuallyInspected, WrapLayer, Wrapped,
    },
};

use super::{
    calendar::{self, LAST},
    line::{Joint, System},
    lots::{self, Stuff},
    rng::{Rng, one_decimal},
    setup,
    site::{Coated, Site},
    users, weather,
};

const A_DAY: usize = 24;
const FIRST_SLOT: usize = 2;

/// The day on which the crew took somebody whose qualifications had ended.
const LAPSED_ON: i64 = users::LAPSED_PERSON.1 + 1;
/// The day on which a crew opened a tin of the expired primer once more.
const EXPIRED_ON: i64 = lots::EXPIRED_LOT.1 + 4;

/// The working day on which the joint is coated; past the story for the last ones.
pub const fn slot_day(joint: &Joint) -> usize {
    FIRST_SLOT + joint.index / A_DAY
}

/// One crew on one joint.
struct Visit<'a> {
    joint: &'a Joint,
    day: i64,
    crew: &'static str,
    /// Its place in the crew's day.
    turn: i64,
    applicator: &'static str,
    primer: &'static str,
    rng: Rng,
}

/// Records the coating of `joint`; none while it is not wrapped to the end.
pub fn coat(site: &mut Site, joint: &Joint) -> Option<Coated> {
    let day = calendar::working_day(slot_day(joint))?;
    let place = joint.index % A_DAY;
    let crew = match (joint.spread, place < A_DAY / 2) {
        ("A", true) => "A1",
        ("A", false) => "A2",
        (_, true) => "B1",
        (_, false) => "B2",
    };
    let turn = i64::try_from(place % (A_DAY / 2)).unwrap_or(0);
    let [lead, second] = users::applicators(crew);
    let lapsed = crew == "A2" && day == LAPSED_ON && matches!(turn, 4 | 5);
    let gone = second == users::LAPSED_PERSON.0 && day > users::LAPSED_PERSON.1;
    let expired = crew == "B1" && day == EXPIRED_ON && turn == 2;
    let applicator = if lapsed || (joint.index % 2 == 1 && !gone) { second } else { lead };
    let primer = if expired {
        lots::EXPIRED_LOT.0
    } else {
        lots::lot(Stuff::Primer, joint.system, joint.spread, day)
    };
    let wet = day == weather::WET_DAY && crew == "A1" && turn < 3;
    if lapsed {
        site.story.lapsed_person_joints.push(joint.number.clone());
    }
    if expired {
        site.story.expired_lot_joint.clone_from(&joint.number);
    }
    if wet {
        site.story.wet_morning_joints.push(joint.number.clone());
    }
    let rng = joint.rng(2);
    let mut visit = Visit { joint, day, crew, turn, applicator, primer, rng };
    let start = visit.start(wet);
    let wrapped = visit.work(site, start)?;
    visit.look(site, wrapped);
    Some(Coated { day, crew, clean: !(lapsed || expired || wet) })
}

impl Visit<'_> {
    fn start(&mut self, wet: bool) -> i64 {
        let dry_from = weather::dry_from(self.day);
        match self.turn {
            // On the last day the crews clean ahead and stop early.
            turn if self.day == LAST => 435 + turn * 38,
            turn if wet => 430 + turn * 45,
            turn if self.day == weather::WET_DAY => dry_from + turn * 27,
            turn => dry_from + turn * 45,
        }
    }

    /// From bare steel to the last wrap; the minute of it.
    fn work(&mut self, site: &mut Site, start: i64) -> Option<i64> {
        let mut minute = start + self.rng.whole(8, 12);
        let ambient = self.ambient(minute);
        let prepared = SurfacePrepared {
            grade: if self.rng.chance(0.2) { "Sa 2 1/2" } else { "St 3" }.to_owned(),
            crew: Some(self.crew.to_owned()),
            applicator: Some(self.applicator.to_owned()),
            ambient,
            note: None,
        };
        site.record(self.joint, self.day, minute, Event::SurfacePrepared(prepared))?;
        if self.day == LAST && self.turn >= 10 {
            return None;
        }
        let primed = self.joint.system != System::Hot;
        if primed {
            minute += self.rng.whole(5, 8);
            site.record(self.joint, self.day, minute, self.primed(minute))?;
            minute += 12;
        }
        if self.day == LAST && self.turn >= 8 {
            return None;
        }
        if primed && matches!(self.joint.kind, JointKind::TieIn | JointKind::Fitting) {
            minute += self.rng.whole(3, 6);
            site.record(self.joint, self.day, minute, self.profiled(minute))?;
        }
        minute += self.rng.whole(4, 7);
        self.wrap(site, minute, WrapLayer::Inner)?;
        minute += self.rng.whole(8, 12);
        self.wrap(site, minute, WrapLayer::Outer)?;
        if self.joint.system == System::Rocky {
            minute += self.rng.whole(9, 13);
            self.wrap(site, minute, WrapLayer::Armour)?;
        }
        Some(minute)
    }

    fn primed(&mut self, minute: i64) -> Event {
        Event::Primed(Primed {
            lots: vec![self.primer.to_owned()],
            quantities: BTreeMap::new(),
            crew: Some(self.crew.to_owned()),
            applicator: Some(self.applicator.to_owned()),
            ambient: self.ambient(minute),
            note: None,
        })
    }

    fn profiled(&mut self, minute: i64) -> Event {
        Event::Profiled(Profiled {
            lots: vec![self.lot(Stuff::Mastic)],
            quantities: BTreeMap::new(),
            crew: Some(self.crew.to_owned()),
            applicator: Some(self.applicator.to_owned()),
            ambient: self.ambient(minute),
            note: None,
        })
    }

    fn wrap(&mut self, site: &mut Site, minute: i64, layer: WrapLayer) -> Option<()> {
        let hot = self.joint.system == System::Hot;
        let (stuff, least, most) = match layer {
            WrapLayer::Inner if hot => (Stuff::Inner, 10.5, 15.0),
            WrapLayer::Inner => (Stuff::Inner, 55.2, 61.0),
            WrapLayer::Outer => (Stuff::Outer, 55.2, 61.0),
            WrapLayer::Armour => (Stuff::Armour, 50.5, 56.0),
        };
        let wrapped = Wrapped {
            layer,
            lots: vec![self.lot(stuff)],
            quantities: BTreeMap::new(),
            overlap_percent: Some(self.rng.between(least, most)),
            crew: Some(self.crew.to_owned()),
            applicator: Some(self.applicator.to_owned()),
            ambient: self.ambient(minute),
            note: None,
        };
        site.record(self.joint, self.day, minute, Event::Wrapped(wrapped)).map(drop)
    }

    /// What the inspector does beside the wraps: looks, measures, peels a coupon.
    fn look(&mut self, site: &mut Site, wrapped: i64) {
        let inspector = Some(users::inspector(self.joint.spread).to_owned());
        if self.joint.index % 12 == 5 {
            let seen = VisuallyInspected {
                result: TestResult::Pass,
                inspector: inspector.clone(),
                note: None,
            };
            site.record(self.joint, self.day, wrapped + 6, Event::VisuallyInspected(seen));
        }
        if self.joint.index % 50 == 17 {
            self.measure(site, wrapped + 12, inspector.as_ref());
        }
        if self.turn == 11
            && let Some(next) = calendar::next_working_day(self.day)
        {
            let peeled = PeelTested {
                result: TestResult::Pass,
                force_n_per_mm: Some(self.rng.between(1.4, 2.6)),
                specimen: PeelSpecimen::Coupon,
                inspector,
                note: Some("the adhesive stayed on the steel".to_owned()),
            };
            site.record(self.joint, next, 840 + self.rng.whole(0, 25), Event::PeelTested(peeled));
        }
    }

    fn measure(&mut self, site: &mut Site, minute: i64, inspector: Option<&String>) {
        let nominal = setup::nominal(self.joint.system).0;
        let thickness_mm = one_decimal(nominal + self.rng.between(0.0, 0.3));
        let measured = |thickness_mm| {
            let inspector = inspector.cloned();
            Event::ThicknessMeasured(ThicknessMeasured { thickness_mm, inspector, note: None })
        };
        // One reading was typed without its decimal point and put right some minutes later.
        if self.joint.spread == "A" && self.joint.index == 317 {
            let typed = one_decimal(thickness_mm * 10.0);
            let wrong = site.record(self.joint, self.day, minute, measured(typed));
            let Some(wrong) = wrong else { return };
            let why = Some((wrong, "typed without the decimal point"));
            let when = (self.day, minute + 4);
            site.record_as(self.joint, when, measured(thickness_mm), why);
            site.story.superseded_facts.push(wrong);
            return;
        }
        site.record(self.joint, self.day, minute, measured(thickness_mm));
    }

    fn lot(&self, stuff: Stuff) -> String {
        lots::lot(stuff, self.joint.system, self.joint.spread, self.day).to_owned()
    }

    /// The crews of spread B leave it to their mast.
    fn ambient(&mut self, minute: i64) -> Option<Ambient> {
        (self.joint.spread == "A").then(|| weather::ambient(self.day, minute, &mut self.rng))
    }
}
