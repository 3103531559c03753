//! What many joints take together.

use std::collections::{BTreeMap, BTreeSet};

use calc::{InputError, JointRun, tally};
use serde::Serialize;
use utoipa::ToSchema;

use super::{UnknownQuantity, known_system};
use crate::{joints::JointKind, setup::ProjectSetup};

/// Joints that take the same.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct JointGroup {
    /// Code of their section.
    pub section: String,
    /// Their kind.
    pub kind: JointKind,
    /// Their coating system where it is not the section's own.
    pub coating_system: Option<String>,
}

/// What one material adds up to, with waste and loss.
#[derive(Debug, Clone, Default, PartialEq, Serialize, ToSchema)]
pub struct MaterialSum {
    /// Code.
    pub material: String,
    /// Tape, m.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub tape_m: Option<f64>,
    /// Tape, m².
    #[serde(skip_serializing_if = "Option::is_none")]
    pub tape_m2: Option<f64>,
    /// Rolls to be opened where every remnant is scrapped.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub rolls_whole: Option<u64>,
    /// Rolls to be opened where remnants that are long enough are joined on.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub rolls_spliced: Option<u64>,
    /// Primer, L.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub primer_l: Option<f64>,
    /// Mastic, kg.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub mastic_kg: Option<f64>,
}

/// What many joints take.
#[derive(Debug, Clone, Default, PartialEq, Serialize, ToSchema)]
pub struct Bill {
    /// Joints counted.
    pub joints: u64,
    /// Joints of which nothing is in the sums.
    pub joints_unknown: u64,
    /// Material by material, by code.
    pub materials: Vec<MaterialSum>,
    /// What the set-up does not tell; the sums are without it.
    pub unknown: Vec<UnknownQuantity>,
}

/// Adds up what `groups` of joints take, each with how many they are.
pub fn of_many(setup: &ProjectSetup, groups: &[(JointGroup, u64)]) -> Result<Bill, InputError> {
    let mut bill = Bill::default();
    let (mut runs, mut unknown) = (Vec::new(), BTreeSet::new());
    for (group, joints) in groups {
        let (known, gaps) = known_system(setup, group);
        unknown.extend(gaps);
        bill.joints += joints;
        match known {
            Some(known) => runs.push(JointRun {
                outside_diameter: known.outside_diameter,
                system: known.system,
                joints: *joints,
            }),
            None => bill.joints_unknown += joints,
        }
    }
    let sums = tally(&runs)?;
    let mut materials: BTreeMap<&str, MaterialSum> = BTreeMap::new();
    for (code, litres) in &sums.primer_l {
        materials.entry(code).or_default().primer_l = Some(*litres);
    }
    for (code, kilograms) in &sums.mastic_kg {
        materials.entry(code).or_default().mastic_kg = Some(*kilograms);
    }
    for (key, tape) in &sums.tapes {
        let sum = materials.entry(&key.material).or_default();
        sum.tape_m = Some(sum.tape_m.unwrap_or(0.0) + tape.tape_m);
        sum.tape_m2 = Some(sum.tape_m2.unwrap_or(0.0) + tape.tape_m2);
        sum.rolls_whole = Some(sum.rolls_whole.unwrap_or(0) + tape.rolls.whole.rolls);
        sum.rolls_spliced = Some(sum.rolls_spliced.unwrap_or(0) + tape.rolls.spliced.rolls);
    }
    let named = materials.into_iter();
    bill.materials =
        named.map(|(code, sum)| MaterialSum { material: code.to_owned(), ..sum }).collect();
    bill.unknown = unknown.into_iter().collect();
    Ok(bill)
}
