//! Texts that have swallowed the element behind them, because FNC1 did not arrive.
//!
//! A scanner in keyboard mode often drops the separator: `10L-4711␝17271130` arrives as
//! `10L-471117271130`, and the lot reads `L-471117271130`. Nothing tells such a text from a lot of
//! that name but what it ends with, so the rule is ours (common practice, no source): a text that
//! ends with whole, right elements, of which one has proof in itself (a check digit, a date
//! within fifteen years, the dimensions of a roll, a net weight, length or volume) is refused; one
//! that ends with elements of free text alone gives a notice. Elements that the label has
//! already, or that exclude one of its own, are not looked for. Who means the text as it is types
//! it in brackets.

use chrono::NaiveDate;

use super::{
    calendar, element_strings,
    fault::{FaultCode, ScanFault, ScanNotice},
    identifier::Check,
    pairs,
    source::{Element, Source},
    value,
};

/// Free texts that follow a lot or a serial often enough to ask for them.
const OFTEN: [&str; 9] = ["10", "21", "22", "30", "37", "240", "241", "400", "8002"];

/// Judges `element`, whose value has the faults `found`.
pub(super) fn judge(
    element: &Element,
    all: &[Element],
    found: Vec<ScanFault>,
    today: NaiveDate,
    faults: &mut Vec<ScanFault>,
    notices: &mut Vec<ScanNotice>,
) {
    if element.identifier.fixed {
        faults.extend(found);
        return;
    }
    let tails = tails(element, all, today);
    let proven = tails.iter().find(|tail| tail.iter().any(|it| is_proven(it, today)));
    let (code, value) = (&element.code, &element.value);
    let internal = code.starts_with('9');
    if let Some(tail) = proven.or(tails.first()).filter(|_| !found.is_empty()) {
        let at = tail.first().map_or(element.value_at, |it| it.at);
        let detail = format!("({code}) `{value}` is wrong{}", advice(tail));
        faults.push(ScanFault::new(FaultCode::MissingSeparator, at, detail));
    } else if let Some(tail) = proven.filter(|_| !internal) {
        let at = tail.first().map_or(element.value_at, |it| it.at);
        let detail = format!(
            "({code}) `{value}` cannot be told from another one{}; if the text is right as it is, \
             type the label with brackets, ({code}){value}",
            advice(tail)
        );
        faults.push(ScanFault::new(FaultCode::MissingSeparator, at, detail));
    } else if found.is_empty() {
        let often =
            |tail: &&Vec<Element>| tail.first().is_some_and(|it| OFTEN.contains(&it.code.as_str()));
        if let Some(tail) = proven.or(tails.iter().find(often)) {
            let detail = format!("look at ({code}) `{value}`{}", advice(tail));
            notices.push(ScanNotice::new("MAYBE_MISSING_SEPARATOR", detail));
        }
    } else {
        faults.extend(found);
    }
}

fn advice(tail: &[Element]) -> String {
    let elements: Vec<_> = tail.iter().map(|it| format!("({}){}", it.code, it.value)).collect();
    let elements = elements.concat();
    format!(
        ": it ends like {elements}, as if the separator before that were missing; let the scanner \
         send FNC1 as the character ASCII 29 (GS), in keyboard mode too"
    )
}

/// Every way in which the value could end with whole elements, the longest tail first.
fn tails(element: &Element, all: &[Element], today: NaiveDate) -> Vec<Vec<Element>> {
    let value = &element.value;
    let right = |tail: &Vec<Element>| {
        tail.iter().enumerate().all(|(place, it)| {
            let alone = |other: &Element| other.code != it.code && !pairs::exclude(other, it);
            all.iter().all(alone)
                && tail.iter().take(place).all(alone)
                && value::faults(&Source::new(""), it, today).is_empty()
        })
    };
    (1..value.len())
        .filter_map(|from| {
            element_strings::read_exactly(value.get(from..)?, element.value_at + from)
        })
        .filter(right)
        .collect()
}

/// Whether chance alone would hardly write this.
fn is_proven(element: &Element, today: NaiveDate) -> bool {
    let Element { identifier, code, value, .. } = element;
    let measure = ["310", "311", "315"].iter().any(|it| code.starts_with(it));
    let part = identifier.parts.first().map(|it| it.check);
    match part {
        Some(Check::LastDigit | Check::NotZero) => true,
        Some(Check::MonthOrDay | Check::Day) => {
            let day = value.get(..6).and_then(|it| calendar::day(it, true, today).ok());
            day.is_some_and(|day| (day - today).num_days().abs() <= 15 * 366)
        }
        _ => measure,
    }
}
