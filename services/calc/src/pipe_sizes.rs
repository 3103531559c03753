//! Sizes of steel pipe after ASME B36.10M, by NPS and DN.

mod table;

use units::{Length, UnitError};

use table::{SCHEDULES, SIZES};

/// Where a size is known from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum SizeProvenance {
    /// Outside diameter seen in a published table; walls from the open-source library `fluids`
    /// 1.3.1 (module `piping`), not held against the standard.
    Published,
    /// Outside diameter and walls from the open-source library `fluids` 1.3.1, not held against
    /// the standard.
    Fluids,
    /// Outside diameter from memory, unverified: 25.4 mm times the NPS, rounded to whole mm.
    Memory,
}

/// One nominal size.
///
/// A default to fill a form with: the outside diameter of a project is data of its own pipe
/// (NPS 10 and 12 are 273.0 and 323.8 mm here, 273.1 and 323.9 mm in API 5L and ISO 3183; from
/// memory, unverified).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PipeSize {
    /// Nominal pipe size, such as `12` or `1 1/2`.
    pub nps: &'static str,
    /// Nominal diameter.
    pub dn: u16,
    /// Outside diameter, mm.
    pub outside_diameter_mm: f64,
    /// Where it is known from.
    pub provenance: SizeProvenance,
    /// In the order of the schedules, 0 where none is known.
    walls_mm: [f64; 14],
}

impl PipeSize {
    /// The outside diameter.
    pub fn outside_diameter(&self) -> Result<Length, UnitError> {
        Length::from_millimetres(self.outside_diameter_mm)
    }

    /// The walls by schedule, mm, as far as they are known here.
    pub fn walls_mm(&self) -> impl Iterator<Item = (&'static str, f64)> {
        SCHEDULES.into_iter().zip(self.walls_mm).filter(|(_, wall_mm)| *wall_mm > 0.0)
    }

    /// The wall of a schedule, such as `40` or `STD`, in any case.
    pub fn wall_mm(&self, schedule: &str) -> Option<f64> {
        let plain = schedule.trim();
        self.walls_mm().find(|(name, _)| name.eq_ignore_ascii_case(plain)).map(|(_, wall)| wall)
    }
}

/// All sizes, the smallest first.
pub fn pipe_sizes() -> &'static [PipeSize] {
    &SIZES
}

/// The size of an NPS: `12`, `1 1/2`, `1-1/2`, `1.5`.
pub fn pipe_size_by_nps(nps: &str) -> Option<&'static PipeSize> {
    let asked = inches(nps)?;
    SIZES.iter().find(|it| inches(it.nps) == Some(asked))
}

/// The size of a DN.
pub fn pipe_size_by_dn(dn: u16) -> Option<&'static PipeSize> {
    SIZES.iter().find(|it| it.dn == dn)
}

/// Plain-end mass of steel pipe, kg/m: 0.0246615 (D − t) t, both in mm; the factor is π · 7.85
/// g/cm³ (from memory, unverified; 0.02466 seen second-hand).
pub fn plain_end_mass_kg_per_m(outside_diameter: Length, wall: Length) -> f64 {
    let (diameter, wall) = (outside_diameter.as_millimetres(), wall.as_millimetres());
    0.024_661_5 * (diameter - wall) * wall
}

/// `1 1/2` in thousandths of an inch: every NPS is an exact number of them.
fn inches(text: &str) -> Option<u32> {
    let plain = text.trim().replace('-', " ");
    let mut parts = plain.split_whitespace();
    match (parts.next(), parts.next(), parts.next()) {
        (Some(one), None, None) => fraction(one).or_else(|| decimal(one)),
        (Some(whole), Some(rest), None) => {
            let whole: u16 = whole.parse().ok()?;
            Some(1000 * u32::from(whole) + fraction(rest)?)
        }
        _ => None,
    }
}

/// A proper fraction of an inch, `1/8`.
fn fraction(text: &str) -> Option<u32> {
    let (above, below) = text.split_once('/')?;
    let (above, below): (u32, u32) = (above.parse().ok()?, below.parse().ok()?);
    (0 < above && above < below && below <= 16).then(|| 1000 * above / below)
}

#[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "the range is checked")]
fn decimal(text: &str) -> Option<u32> {
    let value: f64 = text.parse().ok()?;
    let thousandths = (value * 1000.0).round();
    (1.0..=1e6).contains(&thousandths).then_some(thousandths as u32)
}
