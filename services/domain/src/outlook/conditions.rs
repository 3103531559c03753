//! What of the stock somebody must see.

use chrono::{Days, NaiveDate};
use serde_json::json;

use super::{Held, MaterialOutlook, Outlook, Situation};
use crate::condition::{Condition, Urgency};

/// So many days before a day to order by, and before a crew stands still, it presses.
const PRESSING_DAYS: u64 = 7;

/// The kinds of what an outlook can tell.
impl Outlook {
    /// Every kind of condition of [`conditions`].
    pub const KINDS: [&'static str; 4] =
        ["runs_out_before_delivery", "order_by", "shortage", "lot_expires_unused"];
}

/// What of `outlook` somebody must see: a run-out before the next delivery, an order that is due,
/// a shortage, and lots that will expire unused.
pub fn conditions(outlook: &Outlook) -> Vec<Condition> {
    let today = outlook.start_on;
    outlook.materials.iter().flat_map(|material| of_material(material, today)).collect()
}

fn of_material(material: &MaterialOutlook, today: NaiveDate) -> Vec<Condition> {
    let mut found = Vec::new();
    let unit = &material.unit;
    let soon = |on: NaiveDate| today.checked_add_days(Days::new(PRESSING_DAYS)) >= Some(on);
    let press = |on| if soon(on) { Urgency::Urgent } else { Urgency::Notice };
    let mut add = |kind, urgency, detail: String, values| {
        let subject = material.material.clone();
        found.push(Condition { kind, subject, urgency, detail, values });
    };
    if let Some(dry) = material.run_out_on {
        let next = material.next_delivery_on.filter(|next| dry < *next);
        if let Some(next) = next {
            let days = (next - dry).num_days();
            let detail = format!(
                "{} runs out on {dry}, {} before the delivery of {next}",
                material.material,
                counted(days, "day"),
            );
            let values = json!({"run_out_on": dry, "next_delivery_on": next, "days_dry": days,
                "usable": material.usable, "unit": unit,
                "chance": material.dry_before_next_delivery_chance});
            add("runs_out_before_delivery", press(dry), detail, values);
        }
        let detail = format!(
            "{} {unit} of {} are missing from {dry} on, with all that is expected: order {} {unit}",
            rounded(material.shortage),
            material.material,
            rounded(material.order_quantity),
        );
        let values = json!({"run_out_on": dry, "shortage": material.shortage, "unit": unit,
            "order_quantity": material.order_quantity});
        add("shortage", press(dry), detail, values);
    }
    // Further ahead, an order is nothing that anybody must see.
    if let Some(by) = material.order_by.filter(|by| soon(*by)) {
        let when = if by < today { "was to be ordered by" } else { "must be ordered by" };
        let detail = format!(
            "{} {when} {by}, for it runs out on {}",
            material.material,
            material.run_out_on.unwrap_or(by)
        );
        let urgency = if by <= today { Urgency::Urgent } else { Urgency::Notice };
        let values = json!({"order_by": by, "run_out_on": material.run_out_on,
            "order_quantity": material.order_quantity, "unit": unit});
        add("order_by", urgency, detail, values);
    }
    for unused in &material.expiring_unused {
        let Some(lot) = &unused.lot else { continue };
        let detail = format!(
            "{} {unit} of lot {lot} ({}) will not be used by its last day, {}",
            rounded(unused.quantity),
            material.material,
            unused.expires_on
        );
        let values = json!({"material": material.material, "expires_on": unused.expires_on,
            "quantity": unused.quantity, "unit": unit, "value": unused.value});
        let urgency = press(unused.expires_on);
        let subject = lot.clone();
        let kind = "lot_expires_unused";
        found.push(Condition { kind, subject, urgency, detail, values });
    }
    found
}

/// What the calendar does to what is on hand.
pub struct ShelfLife;

impl ShelfLife {
    /// Every kind of condition of [`shelf_life`].
    pub const KINDS: [&'static str; 2] = ["lot_expires_soon", "lot_expired_on_hand"];
}

/// Lots on hand that expire within 30, 14 or 7 days (common practice, no source), and those that
/// have.
pub fn shelf_life(situation: &Situation) -> Vec<Condition> {
    let held = situation.held.iter().filter(|it| it.quantity > 0.0);
    held.filter_map(|it| of_lot(it, situation)).collect()
}

fn of_lot(held: &Held, situation: &Situation) -> Option<Condition> {
    let last = held.last_day?;
    let left = (last - situation.today).num_days();
    let unit = situation.terms.get(&held.material).map_or("", |terms| terms.unit.as_str());
    let (lot, material, quantity) = (&held.lot, &held.material, rounded(held.quantity));
    let mut values = json!({"material": material, "expires_on": last, "quantity": held.quantity,
        "unit": unit, "days_left": left});
    let (kind, urgency, detail) = match left {
        ..0 => {
            let detail = format!(
                "lot {lot} ({material}) was good until {last}; {quantity} {unit} are still on hand \
                 and cannot be issued"
            );
            ("lot_expired_on_hand", Urgency::Urgent, detail)
        }
        0..=30 => {
            let within = [7, 14, 30].into_iter().find(|days| left <= *days).unwrap_or(30);
            values["within_days"] = json!(within);
            let urgency = if within == 7 { Urgency::Urgent } else { Urgency::Notice };
            let detail = format!(
                "lot {lot} ({material}) is good until {last}; {quantity} {unit} are on hand"
            );
            ("lot_expires_soon", urgency, detail)
        }
        _ => return None,
    };
    Some(Condition { kind, subject: lot.clone(), urgency, detail, values })
}

fn counted(number: i64, noun: &str) -> String {
    if number == 1 { format!("{number} {noun}") } else { format!("{number} {noun}s") }
}

/// For people: a tenth is enough.
fn rounded(quantity: f64) -> f64 {
    (quantity * 10.0).round() / 10.0
}
