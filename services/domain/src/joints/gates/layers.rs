//! Layers of the assigned system, and the lots they were made of.

use calc::SurfaceGrade;

use super::{Reasons, View};
use crate::setup::Layer;

/// Every layer that the joint needs, in the order of its system, on prepared steel.
pub(super) fn layers(view: &View<'_>) -> Reasons {
    let mut reasons = Reasons::default();
    let Some(assigned) = view.assigned else {
        let section = &view.entry.section;
        let detail = format!("section {section} or its coating system or plan is not set up");
        reasons.shut("NO_SYSTEM_ASSIGNED", detail, &[]);
        return reasons;
    };
    let coat = &view.state.coat;
    let needed: Vec<&Layer> = assigned.system.layers_on(view.entry.kind).collect();
    match &coat.prepared {
        None => reasons.shut("SURFACE_NOT_PREPARED", "the steel was not prepared", &[]),
        Some((mark, grade)) if !same_grade(grade, &assigned.system.surface_grade) => {
            let asked = &assigned.system.surface_grade;
            let detail = format!("the steel was prepared to {grade}, the system asks for {asked}");
            reasons.shut("SURFACE_GRADE_DIFFERS", detail, &[*mark]);
        }
        Some(_) => {}
    }
    for layer in &needed {
        if !coat.layers.iter().any(|applied| applied.role == layer.role) {
            let detail = format!("the {} is missing", layer.role.words());
            reasons.shut("LAYER_MISSING", detail, &[]);
        }
    }
    let mut highest = 0;
    for applied in &coat.layers {
        match assigned.system.layers.iter().position(|layer| layer.role == applied.role) {
            None => {
                let system = &assigned.system.code;
                let detail = format!("the {} is no layer of system {system}", applied.role.words());
                reasons.shut("LAYER_NOT_OF_SYSTEM", detail, &[applied.mark]);
            }
            Some(place) if place < highest => {
                let detail = format!("the {} was put on after a later layer", applied.role.words());
                reasons.shut("LAYER_OUT_OF_ORDER", detail, &[applied.mark]);
            }
            Some(place) => highest = place,
        }
    }
    reasons
}

/// A blast grade serves where a hand-tool grade is asked for. Words that are no grade of
/// ISO 8501-1 are compared as they are written.
fn same_grade(reached: &str, asked: &str) -> bool {
    match (SurfaceGrade::parse(reached), SurfaceGrade::parse(asked)) {
        (Some(reached), Some(asked)) => reached >= asked,
        _ => reached.trim().eq_ignore_ascii_case(asked.trim()),
    }
}

/// Lots known, of the layer's material, in date and not quarantined at the time of use.
pub(super) fn materials(view: &View<'_>) -> Reasons {
    let mut reasons = Reasons::default();
    for work in &view.state.coat.works {
        let layer = view.assigned.and_then(|assigned| {
            assigned.system.layers.iter().find(|layer| Some(layer.role) == work.layer)
        });
        if work.lots.is_empty() && work.layer.is_some() {
            let detail = format!("no lot is named for the {}", work.what);
            reasons.shut("LOT_NOT_NAMED", detail, &[work.mark]);
        }
        for code in &work.lots {
            let Some(lot) = view.setup.lots.get(code) else {
                reasons.shut("LOT_UNKNOWN", format!("lot {code} is not known"), &[work.mark]);
                continue;
            };
            let day = view.setup.day(work.mark.at);
            if let Some(last) = lot.last_day_at(work.mark.at).filter(|last| day > *last) {
                let detail = format!("lot {code} expired on {last} and was used on {day}");
                reasons.shut("LOT_EXPIRED", detail, &[work.mark]);
            }
            if let Some(held) = lot.quarantined_at(work.mark.at) {
                let detail = format!("lot {code} was in quarantine: {}", held.reason);
                reasons.shut("LOT_QUARANTINED", detail, &[work.mark]);
            }
            if let Some(layer) = layer.filter(|layer| layer.material != lot.material) {
                let (given, asked) = (&lot.material, &layer.material);
                let detail = format!("lot {code} is {given}, the {} asks for {asked}", work.what);
                reasons.shut("MATERIAL_DIFFERS", detail, &[work.mark]);
            }
        }
    }
    reasons
}
