//! What a label means for this project: which material and lot, and how to receive it.

use chrono::NaiveDate;
use serde::Serialize;
use utoipa::ToSchema;

use super::{fault::ScanNotice, label::Label};
use crate::setup::{Lot, Material, ProjectSetup};

/// A lot that the project has already.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, ToSchema)]
pub struct KnownLot {
    /// Its code.
    pub code: String,
    /// Code of its material.
    pub material: String,
    /// Production date.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub produced_on: Option<NaiveDate>,
    /// Last day of use.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub expires_on: Option<NaiveDate>,
}

/// A lot that receiving would add.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, ToSchema)]
pub struct NewLot {
    /// Code of its material.
    pub material: String,
    /// Production date.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub produced_on: Option<NaiveDate>,
    /// Last day of use.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub expires_on: Option<NaiveDate>,
}

/// The body of a movement that receives what was scanned, but for its `id`, `occurred_at` and the
/// place `to` which it goes.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub struct SuggestedReceive {
    /// `receive`.
    pub kind: String,
    /// `supplier`.
    pub from: String,
    /// Lot.
    pub lot: String,
    /// How much, in the unit of the material; absent where the label and the catalogue do not say.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub quantity: Option<f64>,
    /// The lot to add, where there is none of that code.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub new_lot: Option<NewLot>,
}

/// What a label means for a project. Nothing was created.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub struct Receipt {
    /// Code of the material with that GTIN.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub material: Option<String>,
    /// Unit of its stock: m, L, kg or piece.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub unit: Option<String>,
    /// The lot of that code, if there is one.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub known_lot: Option<KnownLot>,
    /// How to receive it; absent where material or lot are not known.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub receive: Option<SuggestedReceive>,
    /// What to look at first.
    pub warnings: Vec<ScanNotice>,
}

/// Finds what `label` names in `setup`; `today` is the day on site.
pub fn receipt(setup: &ProjectSetup, label: &Label, today: NaiveDate) -> Receipt {
    let mut warnings = label.notices.clone();
    let material = material(setup, label, &mut warnings);
    let known = label.lot.as_ref().and_then(|code| setup.lots.get(code));
    judge_dates(label, today, &mut warnings);
    judge_lot(setup, label, known, material, &mut warnings);
    let unit = material.map(unit_of);
    let quantity = material.and_then(|it| quantity(label, it, &mut warnings));
    let code = material.map(|it| it.code.clone());
    let receive = label.lot.clone().zip(code.clone()).map(|(lot, material)| SuggestedReceive {
        kind: "receive".to_owned(),
        from: "supplier".to_owned(),
        quantity,
        new_lot: known.is_none().then_some(NewLot {
            material,
            produced_on: label.produced_on,
            expires_on: label.expires_on,
        }),
        lot,
    });
    // A lot of another material is a mistake somewhere: nothing is suggested on top of it.
    let contradicted = known.zip(material).is_some_and(|(lot, it)| lot.material != it.code);
    Receipt {
        material: code,
        unit: unit.map(str::to_owned),
        known_lot: known.map(|lot| KnownLot {
            code: lot.code.clone(),
            material: lot.material.clone(),
            produced_on: lot.produced_on,
            expires_on: lot.expires_on,
        }),
        receive: receive.filter(|_| !contradicted),
        warnings,
    }
}

fn material<'a>(
    setup: &'a ProjectSetup,
    label: &Label,
    warnings: &mut Vec<ScanNotice>,
) -> Option<&'a Material> {
    let Some(gtin) = label.article() else {
        let detail = "no GTIN was read: the material has to be chosen by hand";
        warnings.push(ScanNotice::new("NO_GTIN", detail));
        return None;
    };
    let mut named = setup.materials.values().filter(|it| it.gtin.as_deref() == Some(gtin));
    let first = named.next();
    let (code, detail) = match (first, named.next()) {
        (Some(_), None) => return first,
        (Some(one), Some(other)) => (
            "GTIN_TWICE",
            format!("the materials {} and {} both have the GTIN {gtin}", one.code, other.code),
        ),
        (None, _) => (
            "UNKNOWN_GTIN",
            format!("no material has the GTIN {gtin}: set it as `gtin` of the right one"),
        ),
    };
    warnings.push(ScanNotice::new(code, detail));
    None
}

fn judge_dates(label: &Label, today: NaiveDate, warnings: &mut Vec<ScanNotice>) {
    let mut warn = |code: &str, detail: String| warnings.push(ScanNotice::new(code, detail));
    if let Some(last) = label.expires_on.filter(|it| *it < today) {
        warn("EXPIRED", format!("the last day of use was {last}"));
    }
    if let Some(made) = label.produced_on.filter(|it| *it > today) {
        warn("MADE_IN_FUTURE", format!("the production date {made} is still to come"));
    }
    if let Some((made, last)) = label.produced_on.zip(label.expires_on)
        && last < made
    {
        warn("DATES_CROSSED", format!("the last day of use {last} is before production on {made}"));
    }
    if let (Some(best), None) = (label.best_before, label.expires_on) {
        let detail = format!(
            "the label has best before {best} and no last day of use: whether it may be used \
             longer says the manufacturer"
        );
        warn("BEST_BEFORE_ONLY", detail);
        if best < today {
            warn("BEST_BEFORE_PASSED", format!("it was best before {best}"));
        }
    }
}

fn judge_lot(
    setup: &ProjectSetup,
    label: &Label,
    known: Option<&Lot>,
    material: Option<&Material>,
    warnings: &mut Vec<ScanNotice>,
) {
    let mut warn = |code: &str, detail: String| warnings.push(ScanNotice::new(code, detail));
    let Some(code) = &label.lot else {
        return warn("NO_LOT", "no lot was read: it has to be typed by hand".to_owned());
    };
    let Some(lot) = known else {
        let alike = setup.lots.keys().find(|it| it.eq_ignore_ascii_case(code));
        if let Some(alike) = alike {
            let detail = format!("there is a lot `{alike}`; `{code}` would be another one");
            warn("LOT_ALIKE", detail);
        }
        return;
    };
    if let Some(material) = material.filter(|it| it.code != lot.material) {
        let detail =
            format!("lot {code} is one of {}, the GTIN is that of {}", lot.material, material.code);
        warn("LOT_OF_ANOTHER_MATERIAL", detail);
    }
    let dates = [
        ("production date", lot.produced_on, label.produced_on),
        ("last day of use", lot.expires_on, label.expires_on),
    ];
    for (what, kept, read) in dates {
        if let Some((kept, read)) = kept.zip(read)
            && kept != read
        {
            let detail = format!("the {what} of lot {code} is {kept}, the label has {read}");
            warn("LOT_DIFFERS", detail);
        }
    }
}

fn unit_of(material: &Material) -> &'static str {
    match material {
        Material { tape: Some(_), .. } => "m",
        Material { primer: Some(_), .. } => "L",
        Material { mastic: Some(_), .. } => "kg",
        _ => "piece",
    }
}

/// How much was scanned: a net measure, or the number of rolls times the length of one.
fn quantity(label: &Label, material: &Material, warnings: &mut Vec<ScanNotice>) -> Option<f64> {
    let pieces = f64::from(label.count.unwrap_or(1));
    let mut warn = |code: &str, detail: String| warnings.push(ScanNotice::new(code, detail));
    let net = match unit_of(material) {
        "m" => label.net_length_m,
        "L" => label.net_volume_l,
        "kg" => label.net_weight_kg,
        _ => return Some(pieces).filter(|it| *it > 0.0),
    };
    if let Some(net) = net {
        if label.count.is_some_and(|count| count > 1) {
            let detail = "the label has a count and a net measure, of one piece or of all of \
                          them it does not say: enter the quantity by hand";
            warn("QUANTITY_UNSURE", detail.to_owned());
            return None;
        }
        if let Some(roll) = &label.roll_dimensions
            && (f64::from(roll.length_m) - net).abs() >= 1.0
        {
            let detail = format!("the net length is {net} m, that of the roll {} m", roll.length_m);
            warn("LENGTHS_DIFFER", detail);
        }
        return rounded(net);
    }
    let tape = material.tape.as_ref();
    if let (Some(roll), Some(tape)) = (&label.roll_dimensions, tape) {
        let pairs = [
            ("width", f64::from(roll.width_mm), tape.roll_width_mm, "mm"),
            ("length", f64::from(roll.length_m), tape.roll_length_m, "m"),
        ];
        for (what, read, kept, unit) in pairs {
            if (read - kept).abs() >= 1.0 {
                let detail = format!(
                    "the {what} of the roll is {read} {unit} on the label, {kept} {unit} for {}",
                    material.code
                );
                warn("ROLL_DIFFERS", detail);
            }
        }
    }
    let read = label.roll_dimensions.as_ref().map(|it| f64::from(it.length_m));
    read.or(tape.map(|it| it.roll_length_m)).and_then(|length| rounded(pieces * length))
}

/// To the thousandth, which is what stock is kept in; none where nothing is left.
fn rounded(quantity: f64) -> Option<f64> {
    Some((quantity * 1000.0).round() / 1000.0).filter(|it| *it > 0.0)
}
