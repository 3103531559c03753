//! One line of the register, with all its faults at once.

use chrono::NaiveDate;
use csv::StringRecord;
use units::{Kp, KpError};

use super::{
    RowError,
    header::{Column, Header},
};
use crate::{
    joints::{JointKind, RegisterEntry},
    setup::{ProjectSetup, Section},
};

/// Longest number of a joint, pipe or heat, characters.
const LONGEST: usize = 60;

impl Header {
    /// Reads the line `row`, or names every fault in it.
    pub fn entry(
        &self,
        row: u64,
        record: &StringRecord,
        setup: &ProjectSetup,
    ) -> Result<RegisterEntry, Vec<RowError>> {
        if record.len() != self.columns.len() {
            let detail = format!(
                "{} fields where the header has {}; put a text that holds the delimiter in quotes",
                record.len(),
                self.columns.len()
            );
            return Err(vec![RowError::new(row, "", "WRONG_FIELD_COUNT", detail)]);
        }
        let mut line = Line { header: self, row, record, faults: Vec::new() };
        let joint_number = line.required(Column::JointNumber, number);
        let section = line.required(Column::Section, |code| section(code, setup));
        let kp_m = line.required(Column::Kp, |text| kp(text, section));
        let kind = line.required(Column::Kind, kind);
        let coating_system = line.optional(Column::CoatingSystem, |code| system(code, setup));
        let pipe_before = line.optional(Column::PipeBefore, short_text);
        let pipe_after = line.optional(Column::PipeAfter, short_text);
        let heat_before = line.optional(Column::HeatBefore, short_text);
        let heat_after = line.optional(Column::HeatAfter, short_text);
        let welder = line.optional(Column::Welder, short_text);
        let welded_on = line.optional(Column::WeldDate, date);
        match (joint_number, kp_m, section, kind) {
            (Some(joint_number), Some(kp_m), Some(section), Some(kind))
                if line.faults.is_empty() =>
            {
                Ok(RegisterEntry {
                    joint_number,
                    kp_m,
                    section: section.code.clone(),
                    kind,
                    coating_system,
                    pipe_before,
                    pipe_after,
                    heat_before,
                    heat_after,
                    welder,
                    welded_on,
                })
            }
            _ => Err(line.faults),
        }
    }
}

/// A code and what is wrong and what would be right.
type Fault = (&'static str, String);

struct Line<'a> {
    header: &'a Header,
    row: u64,
    record: &'a StringRecord,
    faults: Vec<RowError>,
}

impl Line<'_> {
    fn required<T>(
        &mut self,
        column: Column,
        read: impl FnOnce(&str) -> Result<T, Fault>,
    ) -> Option<T> {
        if self.cell(column).is_none() {
            let detail = format!("`{}` is empty; every joint needs it", column.name());
            self.faults.push(RowError::new(self.row, column.name(), "REQUIRED", detail));
        }
        self.optional(column, read)
    }

    fn optional<T>(
        &mut self,
        column: Column,
        read: impl FnOnce(&str) -> Result<T, Fault>,
    ) -> Option<T> {
        match read(self.cell(column)?) {
            Ok(value) => Some(value),
            Err((code, detail)) => {
                self.faults.push(RowError::new(self.row, column.name(), code, detail));
                None
            }
        }
    }

    fn cell(&self, column: Column) -> Option<&str> {
        let place = self.header.columns.iter().position(|it| *it == column)?;
        self.record.get(place).map(str::trim).filter(|text| !text.is_empty())
    }
}

fn number(text: &str) -> Result<String, Fault> {
    let length = text.chars().count();
    if length > LONGEST {
        let detail = format!("{length} characters are too many; at most {LONGEST}");
        return Err(("WRONG_LENGTH", detail));
    }
    if text.parse::<uuid::Uuid>().is_ok() {
        // A joint can be named by its number or by its id; a name must not mean two joints.
        let detail = "a number in the form of a UUID could be the id of another joint".to_owned();
        return Err(("LOOKS_LIKE_AN_ID", detail));
    }
    match text.chars().find(|c| !c.is_alphanumeric() && !"-_./".contains(*c)) {
        None => Ok(text.to_owned()),
        Some(wrong) => {
            let detail =
                format!("`{wrong}` cannot be in a number; use letters, digits and - _ . /");
            Err(("WRONG_CHARACTER", detail))
        }
    }
}

fn short_text(text: &str) -> Result<String, Fault> {
    let length = text.chars().count();
    if length > LONGEST {
        let detail = format!("{length} characters are too many; at most {LONGEST}");
        return Err(("WRONG_LENGTH", detail));
    }
    if text.chars().any(char::is_control) {
        let detail = "a line break or control character is in it; write one line".to_owned();
        return Err(("WRONG_CHARACTER", detail));
    }
    Ok(text.to_owned())
}

fn section<'a>(code: &str, setup: &'a ProjectSetup) -> Result<&'a Section, Fault> {
    setup.sections.get(code).ok_or_else(|| {
        let detail = format!("`{code}` is no section; known: {}", list(setup.sections.keys()));
        ("UNKNOWN_SECTION", detail)
    })
}

fn system(code: &str, setup: &ProjectSetup) -> Result<String, Fault> {
    if setup.systems.contains_key(code) {
        return Ok(code.to_owned());
    }
    let detail = format!("`{code}` is no coating system; known: {}", list(setup.systems.keys()));
    Err(("UNKNOWN_COATING_SYSTEM", detail))
}

fn kind(text: &str) -> Result<JointKind, Fault> {
    JointKind::parse(text).ok_or_else(|| {
        let known = JointKind::ALL.map(JointKind::name).join(", ");
        ("UNKNOWN_KIND", format!("`{text}` is no kind of joint; known: {known}"))
    })
}

fn kp(text: &str, section: Option<&Section>) -> Result<f64, Fault> {
    let kp = Kp::parse(text).map_err(|error| {
        let code = match error {
            KpError::DecimalComma(_) => "DECIMAL_COMMA",
            KpError::Unreadable(_) => "WRONG_FORMAT",
            KpError::OutOfRange(_) => "OUT_OF_RANGE",
        };
        (code, error.to_string())
    })?;
    let Some(section) = section else { return Ok(kp.as_metres()) };
    // Whole millimetres, so that a joint exactly on the border is inside.
    let border = |km: f64| Kp::from_metres(km * 1000.0).ok();
    let from_on = border(section.kp_from_km).is_none_or(|from| from <= kp);
    if from_on && border(section.kp_to_km).is_none_or(|to| kp <= to) {
        return Ok(kp.as_metres());
    }
    let detail = format!(
        "KP {:.3} is outside section {}, which goes from {:.3} to {:.3}",
        kp.as_kilometres(),
        section.code,
        section.kp_from_km,
        section.kp_to_km
    );
    Err(("OUT_OF_RANGE", detail))
}

fn date(text: &str) -> Result<NaiveDate, Fault> {
    let shape = text.bytes().enumerate().all(|(place, byte)| match place {
        4 | 7 => byte == b'-',
        _ => byte.is_ascii_digit(),
    });
    if text.len() != 10 || !shape {
        let detail = format!("`{text}` is no date; write year-month-day, such as 2026-05-31");
        return Err(("WRONG_FORMAT", detail));
    }
    text.parse().map_err(|_| ("OUT_OF_RANGE", format!("`{text}` is no day of the calendar")))
}

fn list<'a>(codes: impl Iterator<Item = &'a String>) -> String {
    let codes: Vec<&str> = codes.map(String::as_str).collect();
    if codes.is_empty() { "none is set up yet".to_owned() } else { codes.join(", ") }
}
