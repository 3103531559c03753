//! The stock: what came, what the crews took and gave back, what was counted, what is expected.
//!
//! The quantities follow from what the crews wrapped: each crew is given for a week what it will
//! use, in whole rolls and tins, and what is left of a lot that it is through with is scrap. What
//! stands in the yard at the end is chosen so that primer runs dry two days before the next
//! delivery, and so that of one lot some forty rolls will be left when it expires.

use std::{collections::BTreeMap, sync::Arc};

use anyhow::Context;
use chrono::{DateTime, NaiveDate, Utc};
use domain::{
    joints::{Event, JointKind, event::WrapLayer, state::LayerRole},
    outlook::{Basis, JointsWaiting, Situation, demand},
    setup::{Kind, ProjectSetup},
    takeoff::{JointGroup, known_system},
};
use serde::Serialize;
use serde_json::{Value, json};
use uuid::{Builder, Uuid};

use super::{
    calendar::{self, LAST},
    line::Joint,
    lots::{EXPIRING_LOT, QUARANTINED_LOT},
    rng::Rng,
    setup,
    site::Site,
    weather,
};

/// One line of `stock.ndjson` or `weather.ndjson`: what somebody sends, and to which collection.
#[derive(Serialize)]
pub struct Line {
    pub at: DateTime<Utc>,
    /// `deliveries`, `movements` or `counts`; of the weather `reading-batches` or `outlooks`.
    pub to: &'static str,
    pub body: Value,
}

/// Rolls of the expiring lot that will be left: some forty, fewer where the demo is opened before
/// the work of its last day is over.
const ROLLS_LEFT: f64 = 47.0;

/// Working days that the primer lasts from the day after the story.
const PRIMER_DAYS: usize = 7;

struct Keeper {
    lines: Vec<Line>,
    held: BTreeMap<(String, String), f64>,
    rng: Rng,
}

/// What a crew takes of a lot in a week.
type Uses = BTreeMap<(i64, &'static str, String), f64>;

pub fn lines(joints: &[Joint], site: &Site) -> anyhow::Result<Vec<Line>> {
    let setup = Arc::new(project_setup(joints)?);
    let (uses, waiting) = work(joints, site, &setup)?;
    let mut keeper = Keeper { lines: Vec::new(), held: BTreeMap::new(), rng: Rng::of(&[77]) };
    keeper.weeks(&uses, &setup)?;
    keeper.yard(&setup, waiting)?;
    keeper.lines.sort_by_key(|line| line.at);
    Ok(keeper.lines)
}

fn project_setup(joints: &[Joint]) -> anyhow::Result<ProjectSetup> {
    let mut all = ProjectSetup::empty(calendar::ZONE.parse().context("no such zone")?);
    for kind in Kind::ALL {
        for body in serde_json::from_str::<Vec<Value>>(&setup::file(kind, joints)?)? {
            let code = body["code"].as_str().unwrap_or("site").to_owned();
            all.insert(kind, code, body)?;
        }
    }
    Ok(all)
}

/// What the facts took, and the joints that are left.
fn work(
    joints: &[Joint],
    site: &Site,
    setup: &ProjectSetup,
) -> anyhow::Result<(Uses, Vec<JointsWaiting>)> {
    let by_number: BTreeMap<&str, &Joint> =
        joints.iter().map(|joint| (joint.number.as_str(), joint)).collect();
    let mut on: BTreeMap<&str, Vec<LayerRole>> = BTreeMap::new();
    let mut uses = Uses::new();
    for fact in &site.facts {
        let Some((role, used, crew)) = layer(&fact.event) else { continue };
        let joint = by_number.get(fact.joint.as_str()).context("a fact without a joint")?;
        on.entry(&joint.number).or_default().push(role);
        let (known, _) = known_system(setup, &group(joint.section, joint.kind));
        let needs = known.context("a system without quantities")?.needs()?;
        let need = needs.iter().find(|need| need.role == role).context("no such layer")?;
        let quantity = need.tape_m.or(need.primer_l).or(need.mastic_kg).unwrap_or(0.0);
        let day = (fact.occurred_at.date_naive() - calendar::date(0)).num_days();
        let crew = ["A1", "A2", "B1", "B2"].into_iter().find(|it| *it == crew).unwrap_or("A1");
        // The server counts in thousandths.
        let quantity = (quantity * 1000.0).round() / 1000.0;
        *uses.entry((week(day), crew, used.to_owned())).or_default() += quantity;
    }
    let mut waiting: BTreeMap<(&str, &str, Vec<LayerRole>), JointsWaiting> = BTreeMap::new();
    for joint in joints.iter().filter(|joint| !joint.cut_out) {
        let on = on.remove(joint.number.as_str()).unwrap_or_default();
        let group = group(joint.section, joint.kind);
        let (known, _) = known_system(setup, &group);
        let needs = known.context("a system without quantities")?.needs()?;
        if needs.iter().any(|need| !on.contains(&need.role)) {
            let key = (joint.section, joint.kind.name(), on.clone());
            waiting.entry(key).or_insert(JointsWaiting { group, on, joints: 0 }).joints += 1;
        }
    }
    Ok((uses, waiting.into_values().collect()))
}

fn group(section: &str, kind: JointKind) -> JointGroup {
    JointGroup { section: section.to_owned(), kind, coating_system: None }
}

fn layer(event: &Event) -> Option<(LayerRole, &str, &str)> {
    let (role, lots, crew) = match event {
        Event::Primed(it) => (LayerRole::Primer, &it.lots, &it.crew),
        Event::Profiled(it) => (LayerRole::ProfilingMastic, &it.lots, &it.crew),
        Event::Wrapped(it) => {
            let role = match it.layer {
                WrapLayer::Inner => LayerRole::InnerWrap,
                WrapLayer::Outer => LayerRole::OuterWrap,
                WrapLayer::Armour => LayerRole::Armour,
            };
            (role, &it.lots, &it.crew)
        }
        _ => return None,
    };
    Some((role, lots.first()?, crew.as_deref()?))
}

/// Weeks begin on Mondays; the third day is one.
const fn week(day: i64) -> i64 {
    (day + 5) / 7
}

const fn first_day(week: i64) -> i64 {
    if week == 0 { 0 } else { 7 * week - 5 }
}

/// The location of a crew.
fn with(crew: &str) -> &'static str {
    match crew {
        "A1" => "CREW-A1",
        "A2" => "CREW-A2",
        "B1" => "CREW-B1",
        _ => "CREW-B2",
    }
}

fn box_of(crew: &str) -> &'static str {
    if crew.starts_with('A') { "BOX-A" } else { "BOX-B" }
}

impl Keeper {
    /// What came for each week, what the crews took in its first morning, and what they gave back
    /// or threw away of a lot that they were through with.
    fn weeks(&mut self, uses: &Uses, setup: &ProjectSetup) -> anyhow::Result<()> {
        let last_use = |crew: &str, lot: &str| {
            let weeks = uses.keys().filter(|(_, of, used)| *of == crew && used == lot);
            weeks.map(|(week, ..)| *week).max()
        };
        for week in 0..=week(LAST) {
            let mut of_week: Vec<_> = uses.iter().filter(|((of, ..), _)| *of == week).collect();
            // What expires first goes first, out of each container.
            of_week
                .sort_by_key(|((_, _, lot), _)| setup.lots.get(lot).and_then(|it| it.expires_on));
            let morning = calendar::at(first_day(week), 5 * 60 + 50);
            for ((_, crew, lot), quantity) in &of_week {
                let pack = pack(setup, lot)?;
                let missing = (*quantity - self.held(with(crew), lot)).max(0.0);
                let packs = (missing / pack).ceil();
                if packs > 0.0 {
                    let stocked = calendar::at(first_day(week) - 1, 15 * 60);
                    self.receive(stocked, lot, packs * pack, box_of(crew), None);
                    let there = (box_of(crew), with(crew));
                    self.movement(morning, "issue", lot, packs * pack, there, None);
                }
            }
            for ((_, crew, lot), quantity) in &of_week {
                self.used(with(crew), lot, **quantity);
                let left = self.held(with(crew), lot);
                let through = last_use(crew, lot) == Some(week) && week < self::week(LAST);
                if through && left > 0.0005 {
                    let evening = calendar::at(first_day(week) + 5, 17 * 60 + 30);
                    if lot == QUARANTINED_LOT.0 {
                        let back = (with(crew), box_of(crew));
                        self.movement(evening, "return", lot, left, back, None);
                    } else {
                        let why = Some("remnants, and what was left in opened tins");
                        self.movement(evening, "scrap", lot, left, (with(crew), "scrap"), why);
                    }
                }
            }
        }
        Ok(())
    }

    /// What stands in the yard when the story ends, what is expected, and what was counted.
    fn yard(
        &mut self,
        setup: &Arc<ProjectSetup>,
        joints: Vec<JointsWaiting>,
    ) -> anyhow::Result<()> {
        let today = calendar::date(LAST + 1);
        let ahead = demand(&Situation {
            today,
            days: 60,
            basis: Basis::Plan,
            setup: Arc::clone(setup),
            joints,
            held: Vec::new(),
            expected: Vec::new(),
            made: Vec::new(),
            waste: BTreeMap::new(),
            terms: BTreeMap::new(),
            lost: Vec::new(),
            workable: weather::workable(setup)?,
        });
        let needed = |material: &str| ahead.by_material.get(material).cloned().unwrap_or_default();
        // Half a day's primer is there on the day on which it runs out.
        let primer = needed("PRIMER-B");
        let worked: Vec<usize> =
            primer.iter().enumerate().filter(|day| *day.1 > 0.0).map(|day| day.0).collect();
        let dry = *worked.get(PRIMER_DAYS).context("the work is over before the primer is")?;
        let lasts: f64 = primer[..dry].iter().sum::<f64>() + primer[dry] / 2.0;
        let received = calendar::at(LAST - 8, 14 * 60);
        let left = (lasts - self.of_material(setup, "PRIMER-B")).max(0.0).round();
        self.receive(received, "PB-2407", left, "YARD", None);
        let on = calendar::date(LAST + 1 + i64::try_from(dry)? + 2);
        self.delivery("PRIMER-B", 60.0, on, LAST - 12);
        // Used first, and still too much.
        let until = usize::try_from(EXPIRING_LOT.1 - LAST)?;
        let inner: f64 = needed("TAPE-IN")[..until].iter().sum();
        let rolls = (inner / 15.0).ceil() + ROLLS_LEFT;
        let there = self.of_lot(EXPIRING_LOT.0);
        self.receive(received, EXPIRING_LOT.0, 15.0 * rolls - there, "YARD", None);
        // Of everything else there is enough, and a tenth more.
        let rest = [
            ("TAPE-IN", "TI-88230", 15.0),
            ("TAPE-OUT", "TO-5120", 30.0),
            ("ROCK-WRAP", "RM-304", 10.0),
            ("MASTIC-F", "MA-142", 10.0),
        ];
        for (material, lot, pack) in rest {
            let there = self.usable(setup, material, today);
            let wanted = 1.1 * needed(material).iter().sum::<f64>() - there;
            if wanted > 0.0 {
                self.receive(received, lot, (wanted / pack).ceil() * pack, "YARD", None);
            }
        }
        self.receive(calendar::at(2, 11 * 60), QUARANTINED_LOT.0, 45.0 * 30.0, "YARD", None);
        self.delivery("TAPE-OUT", 1800.0, calendar::date(LAST + 15), LAST - 3);
        self.count();
        Ok(())
    }

    /// One roll of the outer tape is gone, and nobody knows where.
    fn count(&mut self) {
        let book = self.held("YARD", QUARANTINED_LOT.0);
        let at = calendar::at(LAST - 6, 16 * 60);
        let id = self.id(at);
        let lines = json!([{"lot": QUARANTINED_LOT.0, "quantity": book - 30.0}]);
        let body = json!({"id": id, "location": "YARD", "counted_at": at, "lines": lines});
        self.lines.push(Line { at, to: "counts", body });
    }

    fn delivery(&mut self, material: &str, quantity: f64, on: NaiveDate, ordered: i64) {
        let at = calendar::at(ordered, 10 * 60);
        let id = self.id(at);
        let body = json!({"id": id, "material": material, "quantity": quantity,
            "expected_on": on, "ordered_on": calendar::date(ordered),
            "supplier": "Marl coast merchants"});
        self.lines.push(Line { at, to: "deliveries", body });
    }

    fn receive(
        &mut self,
        at: DateTime<Utc>,
        lot: &str,
        quantity: f64,
        to: &str,
        reason: Option<&str>,
    ) {
        self.movement(at, "receive", lot, quantity, ("supplier", to), reason);
    }

    fn movement(
        &mut self,
        at: DateTime<Utc>,
        kind: &str,
        lot: &str,
        quantity: f64,
        (from, to): (&str, &str),
        reason: Option<&str>,
    ) {
        let quantity = (quantity * 1000.0).round() / 1000.0;
        let id = self.id(at);
        let mut body = json!({"id": id, "kind": kind, "occurred_at": at, "lot": lot,
            "quantity": quantity, "from": from, "to": to});
        if let Some(reason) = reason {
            body["reason"] = json!(reason);
        }
        *self.held.entry((from.to_owned(), lot.to_owned())).or_default() -= quantity;
        *self.held.entry((to.to_owned(), lot.to_owned())).or_default() += quantity;
        self.lines.push(Line { at, to: "movements", body });
    }

    fn used(&mut self, crew: &str, lot: &str, quantity: f64) {
        *self.held.entry((crew.to_owned(), lot.to_owned())).or_default() -= quantity;
    }

    fn held(&self, place: &str, lot: &str) -> f64 {
        self.held.get(&(place.to_owned(), lot.to_owned())).copied().unwrap_or(0.0)
    }

    fn of_lot(&self, lot: &str) -> f64 {
        let places = self.held.iter().filter(|((place, of), _)| of == lot && physical(place));
        places.map(|(_, quantity)| quantity).sum()
    }

    fn of_material(&self, setup: &ProjectSetup, material: &str) -> f64 {
        setup
            .lots
            .values()
            .filter(|lot| lot.material == material)
            .map(|lot| self.of_lot(&lot.code))
            .sum()
    }

    /// What of a material lasts longer than the expiring lot and is not put aside.
    fn usable(&self, setup: &ProjectSetup, material: &str, today: NaiveDate) -> f64 {
        let lots = setup.lots.values().filter(|lot| {
            lot.material == material
                && lot.code != EXPIRING_LOT.0
                && lot.quarantines.is_empty()
                && lot.expires_on.is_none_or(|last| last >= today)
        });
        lots.map(|lot| self.of_lot(&lot.code)).sum()
    }

    fn id(&mut self, at: DateTime<Utc>) -> Uuid {
        let millis = u64::try_from(at.timestamp_millis()).unwrap_or(0);
        Builder::from_unix_timestamp_millis(millis, &self.rng.bytes()).into_uuid()
    }
}

fn physical(place: &str) -> bool {
    !matches!(place, "supplier" | "scrap" | "joint")
}

/// What a lot is handed out in: a roll, a tin, a pail.
fn pack(setup: &ProjectSetup, lot: &str) -> anyhow::Result<f64> {
    let material = setup.lots.get(lot).and_then(|lot| setup.materials.get(&lot.material));
    let material = material.with_context(|| format!("lot {lot} of no material"))?;
    Ok(material
        .tape
        .as_ref()
        .map_or(if material.primer.is_some() { 1.0 } else { 10.0 }, |tape| tape.roll_length_m))
}
