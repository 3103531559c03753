//! What coating systems cost when they are on the pipe.

mod answer;
mod request;

use domain::schema::{FieldError, Validate};
use units::{Length, Percent, Temperature, UnitError};

pub use answer::AppliedCostAnswer;
pub use request::AppliedCostRequest;
use request::{Burial, Candidate, SectionNeeds};

use crate::{
    Calculation,
    faults::{Faults, of_input, out_of_range},
    system_takeoff::system,
};

/// Most wraps that are cut from rolls for all candidates together: a fraction of a second of one
/// core.
const MOST_WRAPS: u64 = 20_000_000;

impl Validate for AppliedCostRequest {
    fn faults(&self) -> Faults {
        let mut faults = unknown_grades(self);
        let wraps: usize = self.candidates.iter().map(|it| it.layers.len()).sum();
        let most = MOST_WRAPS / u64::try_from(wraps).unwrap_or(u64::MAX).max(1);
        if self.joints > most {
            let detail = format!(
                "{} joints with {wraps} wraps of all candidates together are too much work: with \
                 so many wraps it must be from 1 to {most} joints",
                self.joints
            );
            faults.push(out_of_range("/joints", detail));
        }
        faults
    }
}

fn unknown_grades(request: &AppliedCostRequest) -> Faults {
    let section = request.section.surface_grade.as_deref();
    let candidates = request.candidates.iter().enumerate().map(|(index, candidate)| {
        let pointer = format!("/candidates/{index}/properties/surface_grade");
        (pointer, candidate.properties.surface_grade.as_deref())
    });
    let grades = std::iter::once(("/section/surface_grade".to_owned(), section));
    let unknown = grades.chain(candidates).filter_map(|(pointer, grade)| {
        let grade = grade.filter(|it| calc::SurfaceGrade::parse(it).is_none())?;
        let known = calc::SurfaceGrade::ALL.map(calc::SurfaceGrade::name).join(", ");
        let detail = format!("`{grade}` is not a grade of preparation: it must be of {known}");
        Some(FieldError::new(&pointer, "UNKNOWN_VALUE", detail))
    });
    unknown.collect()
}

impl Calculation for AppliedCostRequest {
    const NAME: &'static str = "applied-cost";
    type Answer = AppliedCostAnswer;

    fn answer(&self) -> Result<AppliedCostAnswer, Faults> {
        let basis = basis(self).map_err(unmeasured)?;
        let candidates = self.candidates.iter().map(candidate);
        let candidates = candidates.collect::<Result<Vec<_>, _>>().map_err(unmeasured)?;
        calc::applied_cost(&basis, &candidates).map(AppliedCostAnswer::from).map_err(of_input)
    }
}

/// The schema has bounded every number, so this means that a schema allows more than its
/// quantity does.
fn unmeasured(error: UnitError) -> Faults {
    vec![out_of_range("", error.to_string())]
}

fn basis(request: &AppliedCostRequest) -> Result<calc::CostBasis, UnitError> {
    Ok(calc::CostBasis {
        section: needs(&request.section)?,
        outside_diameter: Length::from_millimetres(request.outside_diameter_mm)?,
        joints: request.joints,
        worker_hour_price: request.worker_hour_price,
        inspector_hour_price: request.inspector_hour_price,
        burial: request.burial.as_ref().map(burial).transpose()?,
        price_inadmissible: request.price_inadmissible,
    })
}

fn needs(section: &SectionNeeds) -> Result<calc::SectionNeeds, UnitError> {
    let grade = section.surface_grade.as_deref();
    Ok(calc::SectionNeeds {
        design_temperature: Temperature::from_celsius(section.design_temperature_c)?,
        lowest_temperature: celsius(section.lowest_temperature_c)?,
        plant_coating: section.plant_coating.clone(),
        surface_grade: grade.and_then(calc::SurfaceGrade::parse),
        backfill: section.backfill.into(),
        stress_class: section.stress_class.map(Into::into),
    })
}

fn burial(burial: &Burial) -> Result<calc::Burial, UnitError> {
    let trench = &burial.trench;
    Ok(calc::Burial {
        trench: calc::Trench {
            bottom_width: Length::from_millimetres(trench.bottom_width_mm)?,
            side_slope: trench.side_slope,
            coated_diameter: Length::from_millimetres(trench.coated_diameter_mm)?,
            bed: Length::from_millimetres(trench.bed_mm)?,
            cover: Length::from_millimetres(trench.cover_mm)?,
        },
        joint_spacing: Length::from_millimetres(burial.joint_spacing_mm)?,
        bulking: Percent::from_percent(burial.bulking_percent.unwrap_or(0.0))?,
        imported_price_per_m3: burial.imported_price_per_m3,
        native_price_per_m3: burial.native_price_per_m3,
        armour_price_per_m2: burial.armour_price_per_m2,
        armour_thickness: Length::from_millimetres(burial.armour_thickness_mm.unwrap_or(0.0))?,
        armour_lap: Percent::from_percent(burial.armour_lap_percent.unwrap_or(0.0))?,
    })
}

fn candidate(candidate: &Candidate) -> Result<calc::Candidate, UnitError> {
    let properties = &candidate.properties;
    let grade = properties.surface_grade.as_deref();
    let layers = properties.layers.iter().map(|it| {
        Ok(calc::LayerProperties {
            material: it.material.clone(),
            backing: it.backing.map(Into::into),
            operating_min: celsius(it.operating_min_c)?,
            operating_max: celsius(it.operating_max_c)?,
            needs_primer: it.needs_primer,
            armour: it.armour,
        })
    });
    let labour = candidate.labour.iter().map(|it| calc::Labour {
        activity: it.activity.clone(),
        hours: it.hours,
        workers: it.workers,
    });
    Ok(calc::Candidate {
        code: candidate.code.clone(),
        properties: calc::SystemProperties {
            layers: layers.collect::<Result<_, _>>()?,
            primer: candidate.primer.is_some(),
            surface_grade: grade.and_then(calc::SurfaceGrade::parse),
            plant_coatings: properties.plant_coatings.clone(),
            stress_class: properties.stress_class.map(Into::into),
        },
        system: system(candidate.primer.as_ref(), candidate.mastic.as_ref(), &candidate.layers)?,
        primer_price_per_l: candidate.primer_price_per_l,
        mastic_price_per_kg: candidate.mastic_price_per_kg,
        tape_prices_per_m2: candidate.tape_prices_per_m2.clone(),
        labour: labour.collect(),
        inspection_hours: candidate.inspection_hours,
        consumables: candidate.consumables,
        repairs_per_joint: candidate.repairs_per_joint,
        repair_price: candidate.repair_price,
    })
}

fn celsius(celsius: Option<f64>) -> Result<Option<Temperature>, UnitError> {
    celsius.map(Temperature::from_celsius).transpose()
}
