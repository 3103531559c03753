//! Which coating systems suit a section. Decided before any cost is compared.

use serde::{Deserialize, Serialize};
use units::Temperature;

use crate::{count::TOLERANCE, surface_grade::SurfaceGrade};

/// What goes round the pipe.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum BackfillKind {
    /// Imported sand round the pipe.
    SandPadding,
    /// Native soil, screened.
    Screened,
    /// Native soil with stones.
    Rocky,
}

/// The carrier of a tape.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Backing {
    /// Polyethylene.
    Polyethylene,
    /// Polypropylene.
    Polypropylene,
    /// Polyvinyl chloride.
    PolyvinylChloride,
    /// Fabric, fleece or mesh, held by its own wrap or resin.
    Fabric,
}

/// Class of mechanical load, rising from A to C, as EN 12068 names it (published).
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
pub enum StressClass {
    /// Low.
    A,
    /// Medium.
    B,
    /// High.
    C,
}

/// What a section asks for.
#[derive(Debug, Clone, PartialEq)]
pub struct SectionNeeds {
    /// Highest temperature in operation.
    pub design_temperature: Temperature,
    /// Lowest temperature in operation, where the section asks for one.
    pub lowest_temperature: Option<Temperature>,
    /// Kind of the plant coating, in the project's own words.
    pub plant_coating: Option<String>,
    /// The grade to which the crews clean.
    pub surface_grade: Option<SurfaceGrade>,
    /// What goes round the pipe.
    pub backfill: BackfillKind,
    /// Class of mechanical load, where the contract gives one.
    pub stress_class: Option<StressClass>,
}

/// What is known of a system. What is not known is `None`, and never a silent pass.
#[derive(Debug, Clone, PartialEq)]
pub struct SystemProperties {
    /// The wraps in order, first on the steel, armour included.
    pub layers: Vec<LayerProperties>,
    /// Whether it has a primer.
    pub primer: bool,
    /// The grade that it needs.
    pub surface_grade: Option<SurfaceGrade>,
    /// Kinds of plant coating that it may lap onto, in the project's own words.
    pub plant_coatings: Option<Vec<String>>,
    /// Its class of mechanical load.
    pub stress_class: Option<StressClass>,
}

/// What is known of one wrap.
#[derive(Debug, Clone, PartialEq)]
pub struct LayerProperties {
    /// Its material.
    pub material: String,
    /// Its backing.
    pub backing: Option<Backing>,
    /// Lowest operating temperature.
    pub operating_min: Option<Temperature>,
    /// Highest operating temperature.
    pub operating_max: Option<Temperature>,
    /// Whether it sticks to steel only over a primer; asked of the first wrap.
    pub needs_primer: Option<bool>,
    /// Whether it protects against stones: rock mesh, moisture-cured glass wrap.
    pub armour: bool,
}

/// Why a system does not suit, or what is not known.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "SCREAMING_SNAKE_CASE")]
pub enum ReasonCode {
    /// Design temperature over the limit of a layer.
    TooHot,
    /// Lowest temperature under the limit of a layer.
    TooCold,
    /// The first wrap needs a primer and the system has none.
    PrimerMissing,
    /// The first wrap goes on bare steel and the system has a primer.
    PrimerNotForeseen,
    /// Two neighbouring wraps do not laminate.
    BackingsDoNotLaminate,
    /// The system may not lap onto the plant coating.
    PlantCoatingIncompatible,
    /// The steel is cleaned to a lower grade than the system needs.
    SurfaceGradeTooLow,
    /// Stones without armour.
    ArmourMissing,
    /// A lower class of mechanical load than asked for.
    StressClassTooLow,
    /// No layers are known.
    LayersUnknown,
    /// A layer's operating limits are not known.
    OperatingLimitsUnknown,
    /// Whether the first wrap needs a primer is not known.
    PrimerNeedUnknown,
    /// A backing, or how two backings go together, is not known.
    BackingUnknown,
    /// The plant coating, or what the system may lap onto, is not known.
    PlantCoatingUnknown,
    /// The grade needed or offered is not known.
    SurfaceGradeUnknown,
    /// The system's class of mechanical load is not known.
    StressClassUnknown,
}

impl ReasonCode {
    /// Whether it is a gap of knowledge and not a fault.
    pub const fn is_unknown(self) -> bool {
        matches!(
            self,
            Self::PrimerNotForeseen
                | Self::LayersUnknown
                | Self::OperatingLimitsUnknown
                | Self::PrimerNeedUnknown
                | Self::BackingUnknown
                | Self::PlantCoatingUnknown
                | Self::SurfaceGradeUnknown
                | Self::StressClassUnknown
        )
    }
}

/// One reason.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Reason {
    /// Which.
    pub code: ReasonCode,
    /// In words, with the values.
    pub detail: String,
}

/// Whether a system suits.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Suitability {
    /// Everything asked is known and holds.
    Admissible,
    /// Nothing speaks against it, but something is not known.
    Unverified,
    /// Something speaks against it.
    Inadmissible,
}

/// The judgement with every reason.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Admissibility {
    /// All of them; empty if admissible.
    pub reasons: Vec<Reason>,
}

impl Admissibility {
    /// The worst of the reasons.
    pub fn suitability(&self) -> Suitability {
        match self.reasons.iter().any(|it| !it.code.is_unknown()) {
            true => Suitability::Inadmissible,
            false if self.reasons.is_empty() => Suitability::Admissible,
            false => Suitability::Unverified,
        }
    }
}

/// Judges a system for a section; every reason at once. Exactly on a limit passes.
///
/// The limits are the data sheets' and the contract's; the rules that join them are common
/// practice, no source: a primer where the first wrap needs one, polyvinyl chloride does not
/// laminate to polyethylene, armour among stones. It is an aid to choosing and no approval: that
/// the system is qualified for the project is for the contract to say.
pub fn admissibility(section: &SectionNeeds, system: &SystemProperties) -> Admissibility {
    let mut judge = Judge { reasons: Vec::new() };
    if system.layers.is_empty() {
        judge.say(ReasonCode::LayersUnknown, "the layers of the system are not known".to_owned());
    }
    for layer in &system.layers {
        judge.temperature(section, layer);
    }
    judge.primer(system);
    for pair in system.layers.windows(2) {
        if let [below, above] = pair {
            judge.backings(below, above);
        }
    }
    judge.plant_coating(section, system);
    judge.surface_grade(section, system);
    judge.armour(section, system);
    judge.stress_class(section, system);
    Admissibility { reasons: judge.reasons }
}

struct Judge {
    reasons: Vec<Reason>,
}

impl Judge {
    fn say(&mut self, code: ReasonCode, detail: String) {
        self.reasons.push(Reason { code, detail });
    }

    fn temperature(&mut self, section: &SectionNeeds, layer: &LayerProperties) {
        let material = &layer.material;
        let design = section.design_temperature.as_celsius();
        match layer.operating_max.map(Temperature::as_celsius) {
            Some(limit) if design > limit + TOLERANCE => self.say(
                ReasonCode::TooHot,
                format!("design temperature {design} °C; {material} is good to {limit} °C"),
            ),
            Some(_) => {}
            None => self.say(
                ReasonCode::OperatingLimitsUnknown,
                format!("the highest operating temperature of {material} is not known"),
            ),
        }
        let lowest = section.lowest_temperature.map(Temperature::as_celsius);
        match (lowest, layer.operating_min.map(Temperature::as_celsius)) {
            (Some(lowest), Some(limit)) if lowest < limit - TOLERANCE => self.say(
                ReasonCode::TooCold,
                format!("lowest temperature {lowest} °C; {material} is good from {limit} °C"),
            ),
            (Some(_), None) => self.say(
                ReasonCode::OperatingLimitsUnknown,
                format!("the lowest operating temperature of {material} is not known"),
            ),
            // A section without a lowest temperature asks for none.
            (Some(_), Some(_)) | (None, _) => {}
        }
    }

    fn primer(&mut self, system: &SystemProperties) {
        let Some(first) = system.layers.first() else { return };
        let material = &first.material;
        match (first.needs_primer, system.primer) {
            (Some(true), false) => self.say(
                ReasonCode::PrimerMissing,
                format!("{material} needs a primer and the system has none"),
            ),
            (Some(false), true) => self.say(
                ReasonCode::PrimerNotForeseen,
                format!("{material} goes on bare steel; ask its maker about the primer"),
            ),
            (None, _) => self.say(
                ReasonCode::PrimerNeedUnknown,
                format!("whether {material} needs a primer is not known"),
            ),
            (Some(true), true) | (Some(false), false) => {}
        }
    }

    fn backings(&mut self, below: &LayerProperties, above: &LayerProperties) {
        use Backing as B;
        let (lower, upper) = (&below.material, &above.material);
        match (below.backing, above.backing) {
            (Some(B::PolyvinylChloride), Some(B::Polyethylene))
            | (Some(B::Polyethylene), Some(B::PolyvinylChloride)) => self.say(
                ReasonCode::BackingsDoNotLaminate,
                format!("{upper} on {lower}: polyvinyl chloride does not laminate to polyethylene"),
            ),
            (Some(one), Some(other)) if one == other || one == B::Fabric || other == B::Fabric => {}
            _ => self.say(
                ReasonCode::BackingUnknown,
                format!("whether {upper} laminates to {lower} is not known"),
            ),
        }
    }

    fn plant_coating(&mut self, section: &SectionNeeds, system: &SystemProperties) {
        let plain = |text: &str| text.trim().to_lowercase();
        match (&section.plant_coating, &system.plant_coatings) {
            (Some(kind), Some(fit)) if fit.iter().any(|it| plain(it) == plain(kind)) => {}
            (Some(kind), Some(fit)) => self.say(
                ReasonCode::PlantCoatingIncompatible,
                format!("plant coating {kind}; the system laps onto: {}", fit.join(", ")),
            ),
            (None, _) => self.say(
                ReasonCode::PlantCoatingUnknown,
                "the kind of the plant coating is not known".to_owned(),
            ),
            (Some(kind), None) => self.say(
                ReasonCode::PlantCoatingUnknown,
                format!("whether the system may lap onto {kind} is not known"),
            ),
        }
    }

    fn surface_grade(&mut self, section: &SectionNeeds, system: &SystemProperties) {
        match (section.surface_grade, system.surface_grade) {
            (Some(offered), Some(needed)) if offered < needed => self.say(
                ReasonCode::SurfaceGradeTooLow,
                format!("cleaned to {offered}; the system needs {needed}"),
            ),
            (Some(_), Some(_)) => {}
            (None, _) => self.say(
                ReasonCode::SurfaceGradeUnknown,
                "the grade to which the steel is cleaned is not known".to_owned(),
            ),
            (Some(_), None) => self.say(
                ReasonCode::SurfaceGradeUnknown,
                "the grade that the system needs is not known".to_owned(),
            ),
        }
    }

    fn armour(&mut self, section: &SectionNeeds, system: &SystemProperties) {
        if section.backfill == BackfillKind::Rocky && !system.layers.iter().any(|it| it.armour) {
            self.say(
                ReasonCode::ArmourMissing,
                "rocky backfill; the system has no armour".to_owned(),
            );
        }
    }

    fn stress_class(&mut self, section: &SectionNeeds, system: &SystemProperties) {
        match (section.stress_class, system.stress_class) {
            (Some(asked), Some(has)) if has < asked => self.say(
                ReasonCode::StressClassTooLow,
                format!("class {asked:?} is asked for; the system has class {has:?}"),
            ),
            (Some(asked), None) => self.say(
                ReasonCode::StressClassUnknown,
                format!("class {asked:?} is asked for; the system's class is not known"),
            ),
            (None, _) | (Some(_), Some(_)) => {}
        }
    }
}
