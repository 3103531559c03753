//! What a fact took from stock.
//!
//! What the fact says is taken as it says. Where it says nothing, the layer took what its take-off
//! gives, from the lots that the fact names, what expires first first, as far as the crew has
//! them. What the crew does not have was used all the same and never booked to it: it comes from
//! the place `unrecorded`. Nothing is refused, for it is on the pipe.

use std::{
    collections::{BTreeSet, HashSet},
    hash::BuildHasher,
};

use chrono::NaiveDate;
use rust_decimal::Decimal;
use sha2::{Digest, Sha256};
use uuid::Uuid;

use super::{Balances, MovementKind, NewMovement, Quantity, decimal, reversal};
use crate::{
    ids::{EventId, JointId, MovementId},
    joints::{Fact, LotWork, RegisterEntry, state::LayerRole},
    setup::{Location, Lot, ProjectSetup},
    takeoff,
};

/// The place of what was used without having been booked to the crew.
const UNRECORDED: &str = "unrecorded";

/// How it is known which lot was used and how much of it. Written as the reason of the movement.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Source {
    /// The fact says it.
    Recorded,
    /// The fact names the lot, the take-off says how much.
    Backflushed,
    /// The fact names no lot: the crew had this one.
    Assumed,
}

impl Source {
    /// The word that is kept with the movement.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Recorded => "recorded",
            Self::Backflushed => "backflushed",
            Self::Assumed => "assumed",
        }
    }

    /// The source of that name.
    pub fn parse(name: &str) -> Option<Self> {
        [Self::Recorded, Self::Backflushed, Self::Assumed].into_iter().find(|it| it.name() == name)
    }
}

/// What a layer takes on a joint by the plan.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct LayerNeed {
    /// Code of the material.
    pub material: String,
    /// How much of it, with waste or loss.
    pub quantity: Quantity,
}

/// A fact that used material.
#[derive(Debug, Clone, PartialEq)]
pub struct FactUse<'a> {
    /// The joint.
    pub joint: JointId,
    /// The fact.
    pub fact: &'a Fact,
    /// Its material part.
    pub work: LotWork<'a>,
    /// What its layer takes by the plan, where that is known.
    pub need: Option<LayerNeed>,
}

/// What is posted for a fact.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Consumption {
    /// It took this; from the first to the last, so that ids stay the same.
    Taken(Vec<NewMovement>),
    /// A layer was put on of a lot that nobody names and nobody has.
    WithoutLot,
    /// Nobody can tell how much it was.
    Unknown,
}

/// What the layer takes on the joint of that register entry.
pub fn layer_need(
    setup: &ProjectSetup,
    entry: &RegisterEntry,
    layer: LayerRole,
) -> Option<LayerNeed> {
    let needs = takeoff::of_joint(setup, entry).layers;
    let need = needs.into_iter().find(|need| need.role == layer)?;
    let amount = need.tape_m.or(need.primer_l).or(need.mastic_kg)?;
    let quantity = Quantity::new(decimal(amount)?.round_dp(3)).ok()?;
    Some(LayerNeed { material: need.material, quantity })
}

/// Where that crew has its stock; the first by code where it has several places.
pub fn crew_location<'a>(setup: &'a ProjectSetup, crew: &str) -> Option<&'a Location> {
    setup.locations.values().find(|it| it.crew.as_deref() == Some(crew))
}

/// The lots that [`consume`] may take from, whether the crew has them or not.
pub fn candidates<'a>(setup: &'a ProjectSetup, used: &'a FactUse<'_>) -> BTreeSet<&'a str> {
    let named = used.work.codes();
    if !named.is_empty() {
        return named;
    }
    let material = used.need.as_ref().map(|need| need.material.as_str());
    let lots = setup.lots.values().filter(|lot| Some(lot.material.as_str()) == material);
    lots.map(|lot| lot.code.as_str()).collect()
}

/// What `used` took, where the places hold `held`.
pub fn consume(setup: &ProjectSetup, used: &FactUse<'_>, held: &Balances) -> Consumption {
    let place = used.work.crew.and_then(|crew| crew_location(setup, crew));
    let there = |lot: &str| {
        let key = place.map(|place| (place.code.clone(), lot.to_owned()));
        key.and_then(|key| held.get(&key).copied()).unwrap_or_default().max(Decimal::ZERO)
    };
    let parts = parts(setup, used, &there);
    if parts.is_empty() {
        let nobody_names_it = used.work.layer.is_some() && used.work.codes().is_empty();
        return if nobody_names_it { Consumption::WithoutLot } else { Consumption::Unknown };
    }
    let mut movements = Vec::new();
    for (lot, quantity, source) in parts {
        let mut take = |from: &str, quantity: Decimal| {
            // Nothing is left to take: a quantity is more than zero.
            let Ok(quantity) = Quantity::new(quantity) else { return };
            let id = movement_id(used.fact.id, movements.len());
            let at = used.fact.occurred_at;
            let what = (id, MovementKind::Consume);
            movements.push(NewMovement {
                joint: Some(used.joint),
                fact: Some(used.fact.id),
                reason: Some(source.name().to_owned()),
                ..NewMovement::plain(what, (&lot, quantity), (from, "joint"), at)
            });
        };
        let from_crew = quantity.min(there(&lot));
        if let Some(place) = place {
            take(&place.code, from_crew);
        }
        take(UNRECORDED, quantity - from_crew);
    }
    Consumption::Taken(movements)
}

type Part = (String, Decimal, Source);

/// Which lots were used and how much of each, wherever they came from.
fn parts(setup: &ProjectSetup, used: &FactUse<'_>, there: &impl Fn(&str) -> Decimal) -> Vec<Part> {
    let named = used.work.codes();
    let mut parts: Vec<Part> = Vec::new();
    for code in &named {
        if let Some(quantity) = used.work.quantity(code).and_then(decimal) {
            parts.push(((*code).to_owned(), quantity, Source::Recorded));
        }
    }
    let Some(need) = &used.need else { return parts };
    let of_material = |code: &str| setup.lots.get(code).filter(|lot| lot.material == need.material);
    let said: Decimal =
        parts.iter().filter(|(code, ..)| of_material(code).is_some()).map(|part| part.1).sum();
    let missing = need.quantity.value() - said;
    let (source, lots): (Source, Vec<&Lot>) = if named.is_empty() {
        let has = candidates(setup, used).into_iter().filter(|code| there(code) > Decimal::ZERO);
        (Source::Assumed, has.filter_map(of_material).collect())
    } else {
        let silent = named.into_iter().filter(|code| used.work.quantity(code).is_none());
        (Source::Backflushed, silent.filter_map(of_material).collect())
    };
    parts.extend(
        spread(missing, in_order(lots, used), there)
            .map(|(lot, quantity)| (lot.code.clone(), quantity, source)),
    );
    parts
}

/// First expired, first out, by what was known when it was used; then by code.
fn in_order<'a>(mut lots: Vec<&'a Lot>, used: &FactUse<'_>) -> Vec<&'a Lot> {
    let last = |lot: &Lot| lot.last_day_at(used.fact.occurred_at).unwrap_or(NaiveDate::MAX);
    lots.sort_by_key(|lot| (last(lot), lot.code.clone()));
    lots
}

/// Fills `missing` from the lots as far as they are there; what is left over is of the last one.
fn spread<'a>(
    mut missing: Decimal,
    lots: Vec<&'a Lot>,
    there: &impl Fn(&str) -> Decimal,
) -> impl Iterator<Item = (&'a Lot, Decimal)> {
    let last = lots.len().saturating_sub(1);
    lots.into_iter().enumerate().filter_map(move |(place, lot)| {
        let taken = if place == last { missing } else { missing.min(there(&lot.code)) };
        missing -= taken;
        (taken > Decimal::ZERO).then_some((lot, taken))
    })
}

/// What has to be posted so that the ledger says of the facts `due` what the joint's facts say.
///
/// `posted` are the movements onto the joint and their reversals. Done again after it was posted,
/// nothing is left; and whatever the order in which facts and corrections come, a fact that
/// another one of its joint supersedes ends with nothing.
pub fn unsettled<'a, S: BuildHasher>(
    facts: &'a [Fact],
    due: &HashSet<EventId, S>,
    posted: &[NewMovement],
) -> (Vec<NewMovement>, Vec<&'a Fact>) {
    let superseded: HashSet<EventId> = facts.iter().filter_map(|fact| fact.supersedes).collect();
    let corrected = facts.iter().filter(|fact| due.contains(&fact.id));
    let corrected: HashSet<EventId> = corrected.filter_map(|fact| fact.supersedes).collect();
    let undone: HashSet<MovementId> = posted.iter().filter_map(|it| it.reverses).collect();
    let (mut reversals, mut to_take) = (Vec::new(), Vec::new());
    for fact in facts.iter().filter(|it| due.contains(&it.id) || corrected.contains(&it.id)) {
        let mut taken = posted
            .iter()
            .filter(|it| it.kind == MovementKind::Consume && it.fact == Some(fact.id))
            .peekable();
        if superseded.contains(&fact.id) {
            let still = taken.filter(|it| !undone.contains(&it.id));
            reversals.extend(still.filter_map(|it| {
                let reason = Some("superseded".to_owned());
                reversal(it, reversal_id(it.id), reason, it.occurred_at).ok()
            }));
        } else if taken.peek().is_none() && fact.event.lot_work().is_some() {
            to_take.push(fact);
        }
    }
    to_take.sort_by_key(|fact| (fact.occurred_at, fact.id));
    (reversals, to_take)
}

/// The id of what a fact took in that place: the same whoever works it out, so that the ledger
/// takes it once.
pub fn movement_id(fact: EventId, place: usize) -> MovementId {
    MovementId(derived("consume", fact.0, place))
}

/// The id of the movement that undoes another one.
pub fn reversal_id(movement: MovementId) -> MovementId {
    MovementId(derived("reverse", movement.0, 0))
}

/// A UUID of version 8 (RFC 9562): the beginning of a hash.
fn derived(what: &str, of: Uuid, place: usize) -> Uuid {
    let hash = Sha256::digest(format!("{what} {of} {place}"));
    let mut bytes = [0; 16];
    for (byte, hashed) in bytes.iter_mut().zip(hash) {
        *byte = hashed;
    }
    uuid::Builder::from_custom_bytes(bytes).into_uuid()
}
