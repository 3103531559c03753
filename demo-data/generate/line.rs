//! The line and its register: sections, pipes, welds.

use domain::joints::JointKind;

use super::{
    calendar,
    rng::{Rng, one_decimal},
};

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum System {
    Plain,
    Rocky,
    Hot,
}

impl System {
    pub const ALL: [Self; 3] = [Self::Plain, Self::Rocky, Self::Hot];

    pub const fn code(self) -> &'static str {
        match self {
            Self::Plain => "CT-A",
            Self::Rocky => "CT-R",
            Self::Hot => "CT-H",
        }
    }
}

pub struct Stretch {
    pub code: &'static str,
    pub name: &'static str,
    pub from_km: f64,
    pub to_km: f64,
    pub system: System,
    pub spread: &'static str,
}

const fn stretch(
    code: &'static str,
    name: &'static str,
    (from_km, to_km): (f64, f64),
    system: System,
    spread: &'static str,
) -> Stretch {
    Stretch { code, name, from_km, to_km, system, spread }
}

pub const STRETCHES: [Stretch; 7] = [
    stretch("S1", "Marl plain west", (0.0, 6.2), System::Plain, "A"),
    stretch("S2", "Grey ridge", (6.2, 9.4), System::Rocky, "A"),
    stretch("S3", "Cork slope", (9.4, 12.5), System::Plain, "A"),
    stretch("S4", "Compressor yard discharge", (12.5, 13.1), System::Hot, "B"),
    stretch("S5", "Heath", (13.1, 20.0), System::Plain, "B"),
    stretch("S6", "Slate cut", (20.0, 22.4), System::Rocky, "B"),
    stretch("S7", "Marl plain east", (22.4, 25.0), System::Plain, "B"),
];

pub struct Joint {
    pub number: String,
    pub spread: &'static str,
    /// Place on the spread, in rising KP.
    pub index: usize,
    /// Joints on the spread.
    pub of: usize,
    pub kp_mm: u32,
    pub section: &'static str,
    pub system: System,
    pub kind: JointKind,
    pub pipe_before: String,
    pub pipe_after: String,
    pub heat_before: String,
    pub heat_after: String,
    pub welder: &'static str,
    /// The weld is cut out; the next joint of the register is the new one.
    pub cut_out: bool,
}

/// The place on spread A of the weld that is cut out.
const CUT_OUT: usize = 447;

impl Joint {
    /// Kilometres with three decimals, as the register has it.
    pub fn kp(&self) -> String {
        format!("{}.{:03}", self.kp_mm / 1_000_000, self.kp_mm / 1000 % 1000)
    }

    pub fn rng(&self, purpose: u64) -> Rng {
        let spread = u64::from(self.spread == "B");
        Rng::of(&[spread, u64::try_from(self.index).unwrap_or(0), purpose])
    }

    /// The working day on which it is welded, and its place in the day's welds.
    pub fn weld_slot(&self) -> (usize, usize) {
        let days = calendar::working_days();
        let day = self.index * days / self.of;
        (day, self.index - (day * self.of).div_ceil(days))
    }
}

/// Every joint, in rising KP.
pub fn joints() -> Vec<Joint> {
    let mut joints = Vec::new();
    let mut pipe = 1_u32;
    for spread in ["A", "B"] {
        let mut on_spread = spread_joints(spread, &mut pipe);
        let of = on_spread.len();
        for (index, joint) in on_spread.iter_mut().enumerate() {
            (joint.index, joint.of) = (index, of);
        }
        joints.append(&mut on_spread);
    }
    joints
}

fn spread_joints(spread: &'static str, pipe: &mut u32) -> Vec<Joint> {
    let mut rng = Rng::of(&[3, u64::from(spread == "B")]);
    let stretches: Vec<&Stretch> = STRETCHES.iter().filter(|it| it.spread == spread).collect();
    let start = stretches.first().map_or(0.0, |it| it.from_km);
    let end = stretches.last().map_or(0.0, |it| it.to_km);
    let mut joints: Vec<Joint> = Vec::new();
    let mut metre = start * 1000.0;
    let mut serials = [0_u32; 3];
    let welders = if spread == "A" { ["W-041", "W-042"] } else { ["W-043", "W-044"] };
    loop {
        let turn = joints.len();
        let (kind, word, length) = match turn % 84 {
            40 => (JointKind::TieIn, "TI", rng.between(3.0, 8.0)),
            61 | 62 => (JointKind::Fitting, "FB", rng.between(2.0, 4.0)),
            _ => (JointKind::Mainline, "ML", rng.between(11.6, 12.7)),
        };
        metre = one_decimal(metre + length);
        if metre >= end * 1000.0 {
            return joints;
        }
        let Some(here) = stretches.iter().find(|it| metre <= it.to_km * 1000.0) else {
            return joints;
        };
        let serial = &mut serials[match kind {
            JointKind::TieIn => 1,
            JointKind::Fitting => 2,
            _ => 0,
        }];
        *serial += 1;
        let cut_out = spread == "A" && turn == CUT_OUT;
        let mut joint = Joint {
            number: format!("GL5-{spread}-{word}-{serial:04}"),
            spread,
            index: 0,
            of: 0,
            kp_mm: millimetres(metre),
            section: here.code,
            system: here.system,
            kind,
            pipe_before: pipe_number(*pipe),
            pipe_after: pipe_number(*pipe + 1),
            heat_before: heat(*pipe),
            heat_after: heat(*pipe + 1),
            welder: welders[turn % 2],
            cut_out,
        };
        *pipe += 1;
        if cut_out {
            let number = format!("{}C1", joint.number);
            let anew = Joint { number, cut_out: false, kp_mm: joint.kp_mm + 400, ..clone(&joint) };
            joint.cut_out = true;
            joints.extend([joint, anew]);
        } else {
            joints.push(joint);
        }
    }
}

fn clone(joint: &Joint) -> Joint {
    Joint {
        number: joint.number.clone(),
        pipe_before: joint.pipe_before.clone(),
        pipe_after: joint.pipe_after.clone(),
        heat_before: joint.heat_before.clone(),
        heat_after: joint.heat_after.clone(),
        ..*joint
    }
}

#[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "0 to 25 km")]
fn millimetres(metre: f64) -> u32 {
    (metre * 1000.0).round() as u32
}

fn pipe_number(pipe: u32) -> String {
    format!("P{pipe:05}")
}

/// Some twenty pipes come from one heat.
fn heat(pipe: u32) -> String {
    format!("H{:05}", 41_200 + (pipe / 21) * 7)
}

/// The register as CSV.
pub fn register(joints: &[Joint]) -> anyhow::Result<String> {
    let mut writer = csv::Writer::from_writer(Vec::new());
    writer.write_record([
        "joint_number",
        "kp",
        "section",
        "kind",
        "pipe_before",
        "pipe_after",
        "heat_before",
        "heat_after",
        "welder",
        "weld_date",
    ])?;
    for joint in joints {
        let welded =
            calendar::working_day(joint.weld_slot().0).map(|day| calendar::date(day).to_string());
        writer.write_record([
            joint.number.as_str(),
            &joint.kp(),
            joint.section,
            joint.kind.name(),
            &joint.pipe_before,
            &joint.pipe_after,
            &joint.heat_before,
            &joint.heat_after,
            joint.welder,
            &welded.unwrap_or_default(),
        ])?;
    }
    Ok(String::from_utf8(writer.into_inner()?)?)
}
