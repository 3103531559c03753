//! A small set-up, and stories of facts told in given, when and then.

use std::collections::BTreeMap;

use chrono::{DateTime, NaiveDate, TimeDelta, Utc};
use domain::{
    ambient::{Measured, StationReading},
    ids::{EventId, UserId},
    joints::{
        Assessment, Event, Fact, Gate, GateKind, JointKind, JointState, Outside, RegisterEntry,
        assess,
        event::{
            Ambient, Backfilled, CutOut, DamageFound, Excavated, HolidayTested, Lowered,
            PeelSpecimen, PeelTested, Primed, RepairWrap, Repaired, Superseded, SurfacePrepared,
            TestResult, ThicknessMeasured, WeldAccepted, WeldRejected, WeldRepaired, Welded,
            WrapLayer, Wrapped,
        },
        gates,
        release::{Decision, release},
        state::LayerRole,
    },
    setup::{
        Backfill, Calibration, Capability, CoatingSystem, Detector, InspectionPlan, Layer, Lot,
        Material, Person, ProjectSetup, Qualification, Section,
    },
};
use uuid::Uuid;

/// The event of that number; a greater number is a later id.
pub fn id(number: u128) -> EventId {
    EventId(Uuid::from_u128(number))
}

/// The user of that number.
pub fn user(number: u128) -> UserId {
    UserId(Uuid::from_u128(number))
}

/// The applicator's user.
pub const APPLICATOR: u128 = 1;
/// The QA manager's user.
pub const QA_MANAGER: u128 = 2;

/// An instant as people write it.
pub fn at(text: &str) -> DateTime<Utc> {
    DateTime::parse_from_rfc3339(text).unwrap().to_utc()
}

/// A calendar day.
pub fn day(text: &str) -> NaiveDate {
    text.parse().unwrap()
}

fn layer(role: LayerRole, material: &str, thickness_mm: f64) -> Layer {
    let overlap_min_percent = (thickness_mm > 0.0).then_some(55.0);
    Layer { overlap_min_percent, ..Layer::of(role, material, thickness_mm) }
}

/// One section, one system of primer and two tapes of 1 mm, one plan, two people, one detector.
///
/// Thicknesses, overlap of 55 % and peel force are common practice, no source.
pub fn setup() -> ProjectSetup {
    let mut setup = ProjectSetup::empty(chrono_tz::Europe::Berlin);
    let section = Section {
        code: "S1".into(),
        name: "River to road".into(),
        kp_from_km: 0.0,
        kp_to_km: 10.0,
        line_pipe: "LP".into(),
        coating_system: "CT".into(),
        spread: None,
        inspection_plan: "ITP".into(),
        backfill: Backfill::SandPadding,
        design_temperature_c: 30.0,
    };
    setup.sections.insert("S1".into(), section);
    let mut mastic = layer(LayerRole::ProfilingMastic, "MASTIC", 0.0);
    mastic.only_on = vec![JointKind::Fitting];
    let system = CoatingSystem {
        code: "CT".into(),
        name: "Two tapes".into(),
        surface_grade: "St 3".into(),
        thickness_min_mm: Some(2.0),
        layers: vec![
            layer(LayerRole::Primer, "PRIMER", 0.0),
            mastic,
            layer(LayerRole::InnerWrap, "INNER", 1.0),
            layer(LayerRole::OuterWrap, "OUTER", 1.0),
        ],
    };
    setup.systems.insert("CT".into(), system);
    let mut plan = InspectionPlan::with_defaults("ITP");
    plan.peel_force_min_n_per_mm = Some(1.0);
    setup.plans.insert("ITP".into(), plan);
    for code in ["PRIMER", "MASTIC", "INNER", "OUTER"] {
        let limits = calc::Limits::default();
        let (flash_off_min, open_time_min) = (None, None);
        let (code, name) = (code.to_owned(), code.to_owned());
        let lot = format!("L-{code}");
        let made = Lot {
            code: lot.clone(),
            material: code.clone(),
            produced_on: None,
            expires_on: Some(day("2026-12-31")),
            quarantines: vec![],
            extensions: vec![],
        };
        setup.lots.insert(lot, made);
        let material =
            Material { limits, flash_off_min, open_time_min, ..Material::named(&code, &name) };
        setup.materials.insert(code, material);
    }
    for (code, capability, number) in
        [("P-1", Capability::Applicator, APPLICATOR), ("P-2", Capability::Inspector, QA_MANAGER)]
    {
        let qualification = Qualification {
            capability,
            coating_system: "CT".into(),
            valid_from: day("2026-01-01"),
            valid_to: day("2026-12-31"),
        };
        let person = Person {
            code: code.into(),
            name: code.into(),
            user: Some(user(number)),
            qualifications: vec![qualification],
        };
        setup.people.insert(code.into(), person);
    }
    let calibration = Calibration {
        certificate: "C-1".into(),
        valid_from: day("2026-01-01"),
        valid_to: day("2026-12-31"),
    };
    let detector =
        Detector { code: "HD".into(), name: "Detector".into(), calibrations: vec![calibration] };
    setup.detectors.insert("HD".into(), detector);
    setup
}

/// A mainline joint of section S1.
pub fn entry() -> RegisterEntry {
    RegisterEntry {
        joint_number: "J-1".into(),
        kp_m: 100.0,
        section: "S1".into(),
        kind: JointKind::Mainline,
        coating_system: None,
        pipe_before: None,
        pipe_after: None,
        heat_before: None,
        heat_after: None,
        welder: None,
        welded_on: None,
    }
}

/// Air at 20 °C and 60 %, steel at 25 °C: far inside the plan's limits.
pub fn weather() -> Ambient {
    Ambient { air_c: 20.0, relative_humidity_percent: 60.0, steel_c: 25.0, measured_at: None }
}

/// The weld is made.
pub fn welded() -> Event {
    Event::Welded(Welded { welder: None, note: None })
}

/// The weld is accepted.
pub fn accepted() -> Event {
    Event::WeldAccepted(WeldAccepted { inspector: None, report: None, note: None })
}

/// The weld is rejected.
pub fn rejected() -> Event {
    Event::WeldRejected(WeldRejected { inspector: None, report: None, cause: None, note: None })
}

/// The weld is repaired.
pub fn weld_repaired() -> Event {
    Event::WeldRepaired(WeldRepaired { welder: None, note: None })
}

/// The weld is cut out.
pub fn cut_out() -> Event {
    Event::CutOut(CutOut { cause: None, note: None })
}

/// The steel is prepared as the system asks.
pub fn prepared() -> Event {
    Event::SurfacePrepared(preparation())
}

/// The fields of [`prepared`].
pub fn preparation() -> SurfacePrepared {
    SurfacePrepared {
        grade: "St 3".into(),
        crew: None,
        applicator: Some("P-1".into()),
        ambient: Some(weather()),
        note: None,
    }
}

/// The primer is on.
pub fn primed() -> Event {
    Event::Primed(priming())
}

/// The fields of [`primed`].
pub fn priming() -> Primed {
    Primed {
        lots: vec!["L-PRIMER".into()],
        quantities: BTreeMap::new(),
        crew: None,
        applicator: Some("P-1".into()),
        ambient: Some(weather()),
        note: None,
    }
}

/// A wrap is on.
pub fn wrapped(layer: WrapLayer) -> Event {
    Event::Wrapped(wrapping(layer))
}

/// The fields of [`wrapped`].
pub fn wrapping(layer: WrapLayer) -> Wrapped {
    let lot = if layer == WrapLayer::Inner { "L-INNER" } else { "L-OUTER" };
    Wrapped {
        layer,
        lots: vec![lot.into()],
        quantities: BTreeMap::new(),
        overlap_percent: Some(55.0),
        crew: None,
        applicator: Some("P-1".into()),
        ambient: Some(weather()),
        note: None,
    }
}

/// A passed test at the required voltage.
pub fn passed() -> Event {
    Event::HolidayTested(test(15.0))
}

/// A failed test that counted one holiday.
pub fn failed() -> Event {
    let failed = HolidayTested { result: TestResult::Fail, holidays_found: Some(1), ..test(15.0) };
    Event::HolidayTested(failed)
}

/// The fields of [`passed`] at a voltage.
pub fn test(voltage_kv: f64) -> HolidayTested {
    HolidayTested {
        result: TestResult::Pass,
        voltage_kv,
        detector: "HD".into(),
        holidays_found: Some(0),
        travel_speed_mm_s: None,
        inspector: Some("P-2".into()),
        ambient: None,
        note: None,
    }
}

/// A damage is found.
pub fn damage() -> Event {
    Event::DamageFound(DamageFound { description: None, clock_position_h: None, note: None })
}

/// A full repair of everything open, or of one fact.
pub fn repaired(repairs: Option<EventId>) -> Event {
    Event::Repaired(Repaired {
        repairs,
        damaged_area_removed: true,
        cleaned: true,
        primed: true,
        wrap: RepairWrap::FullCircumference,
        lots: vec!["L-OUTER".into()],
        quantities: BTreeMap::new(),
        crew: None,
        applicator: Some("P-1".into()),
        ambient: Some(weather()),
        note: None,
    })
}

/// A strip is peeled.
pub fn peeled(result: TestResult, force: f64, specimen: PeelSpecimen) -> Event {
    let force_n_per_mm = Some(force);
    Event::PeelTested(PeelTested { result, force_n_per_mm, specimen, inspector: None, note: None })
}

/// A thickness is measured.
pub fn thick(thickness_mm: f64) -> Event {
    Event::ThicknessMeasured(ThicknessMeasured { thickness_mm, inspector: None, note: None })
}

/// The pipe is lowered.
pub fn lowered() -> Event {
    Event::Lowered(Lowered { note: None })
}

/// The joint is covered.
pub fn backfilled() -> Event {
    Event::Backfilled(Backfilled { note: None })
}

/// The joint is dug up.
pub fn excavated() -> Event {
    Event::Excavated(Excavated { cause: None, note: None })
}

/// Nothing takes the place of an entry.
pub fn withdrawn() -> Event {
    Event::Superseded(Superseded { note: None })
}

/// A fact, recorded by the applicator in the minute after it happened.
pub fn fact(number: u128, occurred_at: DateTime<Utc>, event: Event) -> Fact {
    Fact {
        id: id(number),
        occurred_at,
        recorded_at: occurred_at + TimeDelta::minutes(1),
        recorded_by: user(APPLICATOR),
        supersedes: None,
        event,
    }
}

/// A joint, its set-up and what has happened to it.
#[derive(Clone)]
pub struct Story {
    /// Set-up.
    pub setup: ProjectSetup,
    /// Register.
    pub entry: RegisterEntry,
    /// Release and nonconformances.
    pub outside: Outside,
    /// Facts.
    pub facts: Vec<Fact>,
    /// When the next fact happens, and when the joint is judged.
    pub now: DateTime<Utc>,
}

impl Story {
    /// A joint of which nothing is known.
    pub fn given_nothing() -> Self {
        Self {
            setup: setup(),
            entry: entry(),
            outside: Outside::default(),
            facts: vec![],
            now: at("2026-06-01T08:00:00Z"),
        }
    }

    /// A joint that is welded, coated and tested, and nothing is wrong with it.
    ///
    /// The facts 1 to 7: welded, accepted, prepared, primed, inner, outer, passed.
    pub fn given_clean() -> Self {
        let story = Self::given_nothing().when(welded()).when(accepted()).when(prepared());
        story
            .when(primed())
            .when(wrapped(WrapLayer::Inner))
            .when(wrapped(WrapLayer::Outer))
            .when(passed())
    }

    /// Ten minutes later.
    pub fn when(self, event: Event) -> Self {
        let now = self.now + TimeDelta::minutes(10);
        self.when_at(now, event)
    }

    /// At a given time.
    pub fn when_at(mut self, occurred_at: DateTime<Utc>, event: Event) -> Self {
        let highest = self.facts.iter().map(|fact| fact.id.0.as_u128()).max();
        let number = highest.unwrap_or(0) + 1;
        self.facts.push(fact(number, occurred_at, event));
        self.now = self.now.max(occurred_at);
        self
    }

    /// The fact of that number happened otherwise.
    pub fn but(mut self, number: usize, event: Event) -> Self {
        self.facts[number - 1].event = event;
        self
    }

    /// The fact of that number never happened.
    pub fn without(mut self, number: u128) -> Self {
        self.facts.retain(|fact| fact.id != id(number));
        self
    }

    /// The fact of that number was recorded in error.
    pub fn superseding(mut self, number: u128, event: Event) -> Self {
        self = self.when(event);
        self.facts.last_mut().unwrap().supersedes = Some(id(number));
        self
    }

    /// The set-up is another one.
    pub fn with(mut self, change: impl FnOnce(&mut Self)) -> Self {
        change(&mut self);
        self
    }

    /// The inspection plan.
    pub fn plan(&mut self) -> &mut InspectionPlan {
        self.setup.plans.get_mut("ITP").unwrap()
    }

    /// A material.
    pub fn material(&mut self, code: &str) -> &mut Material {
        self.setup.materials.get_mut(code).unwrap()
    }

    /// A gauge of the spread is read: air and steel in °C, the humidity is 60 %.
    pub fn read(&mut self, when: &str, air_c: f64, steel_c: Option<f64>) {
        let steel = steel_c.map(|it| units::Temperature::from_celsius(it).unwrap());
        let number = 1000 + self.outside.readings.len() as u128;
        self.outside.readings.push(StationReading {
            id: Uuid::from_u128(number),
            station: "MAST".into(),
            read_at: at(when),
            recorded_at: at(when),
            measured: Measured {
                air: units::Temperature::from_celsius(air_c).unwrap(),
                relative_humidity: Some(units::RelativeHumidity::from_percent(60.0).unwrap()),
                steel,
                wind_m_s: None,
                rain_mm: None,
            },
        });
    }

    /// The fold.
    pub fn state(&self) -> JointState {
        JointState::fold(&self.facts)
    }

    /// The judgement.
    pub fn judged(&self) -> Assessment {
        assess(&self.state(), &self.entry, &self.setup, &self.outside, self.now)
    }

    /// The gates.
    pub fn gates(&self) -> Vec<Gate> {
        gates::all(&self.state(), &self.entry, &self.setup, &self.outside, self.now)
    }

    /// The codes of a gate's reasons.
    pub fn codes(&self, kind: GateKind) -> Vec<String> {
        let gate = self.gates().into_iter().find(|gate| gate.gate == kind).unwrap();
        gate.reasons.into_iter().map(|reason| reason.code).collect()
    }

    /// The answer to the QA manager's ask.
    pub fn decided(&self) -> Decision {
        self.decided_for(QA_MANAGER)
    }

    /// The answer to somebody's ask.
    pub fn decided_for(&self, number: u128) -> Decision {
        let in_force = self.outside.release.as_ref();
        release(&self.state(), &self.judged(), in_force, user(number), &self.setup)
    }

    /// What the QA manager is told against the release.
    pub fn refusals(&self, number: u128) -> Vec<String> {
        match self.decided_for(number) {
            Decision::Refused(why) => why.into_iter().map(|it| it.code).collect(),
            Decision::Granted { .. } | Decision::AlreadySo(_) => vec![],
        }
    }
}
