//! Whether a value is what its identifier asks for.

use chrono::NaiveDate;

use super::{
    calendar,
    check_digit::{check_digit, has_right_check_digit},
    fault::{FaultCode, ScanFault},
    identifier::{Check, Part},
    source::{Element, Source},
};

/// What is wrong with the value of `element`.
pub(super) fn faults(source: &Source, element: &Element, today: NaiveDate) -> Vec<ScanFault> {
    let Element { identifier, code, value, value_at, .. } = element;
    let title = identifier.title;
    let (least, most) = (identifier.least(), identifier.most());
    if value.len() < least || value.len() > most {
        let length = identifier.length();
        let detail = format!("({code}) {title} has {length} characters, here are {}", value.len());
        return vec![ScanFault::new(FaultCode::WrongLength, *value_at, detail)];
    }
    let mut faults = Vec::new();
    let mut rest = value.as_str();
    for part in identifier.parts {
        if rest.is_empty() && part.optional {
            break;
        }
        let (chunk, further) = rest.split_at(part.most.min(rest.len()));
        let at = value_at + value.len() - rest.len();
        if chunk.len() < part.least {
            let detail = format!(
                "({code}) {title}: here stand {} characters or none, not {}",
                part.least,
                chunk.len()
            );
            faults.push(ScanFault::new(FaultCode::WrongLength, at, detail));
        } else if let Some(wrong) = chunk.chars().position(|it| !part.characters.allow(it)) {
            let detail = format!(
                "({code}) {title}: {} may not stand here, {} may",
                source.in_words(at + wrong),
                part.characters.in_words()
            );
            faults.push(ScanFault::new(FaultCode::WrongCharacter, at + wrong, detail));
        } else if let Err((fault, what)) = content(part, chunk, today) {
            let detail = format!("({code}) {title} `{value}`: {what}");
            faults.push(ScanFault::new(fault, at, detail));
        }
        rest = further;
    }
    faults
}

fn content(part: &Part, chunk: &str, today: NaiveDate) -> Result<(), (FaultCode, String)> {
    let wrong = |what: &str| Err((FaultCode::WrongValue, what.to_owned()));
    let zero = chunk.bytes().all(|it| it == b'0');
    match part.check {
        Check::LastDigit if !has_right_check_digit(chunk) => {
            let (body, last) = chunk.split_at(chunk.len().saturating_sub(1));
            let right = check_digit(body).map(String::from).unwrap_or_default();
            let what = format!("the check digit is {last}, right for the digits before is {right}");
            Err((FaultCode::CheckDigit, what))
        }
        Check::MonthOrDay => day(chunk, true, today),
        Check::Day => day(chunk, false, today),
        Check::NotZero if zero => wrong(&format!("`{chunk}` may not be zero")),
        Check::Zero if !zero => wrong(&format!("`{chunk}` has to be zero")),
        Check::Winding if !["0", "1", "9"].contains(&chunk) => {
            wrong("the winding is 0 for face out, 1 for face in, 9 for undefined")
        }
        Check::YesNo if !["0", "1"].contains(&chunk) => wrong("it is 0 for no or 1 for yes"),
        _ => Ok(()),
    }
}

fn day(digits: &str, zero_is_last: bool, today: NaiveDate) -> Result<(), (FaultCode, String)> {
    calendar::day(digits, zero_is_last, today).map(drop).map_err(|what| (FaultCode::Date, what))
}
