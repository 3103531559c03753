//! An answer for people: names, numbers rounded to be read, units.

use anyhow::Context;

use super::ordered::Ordered;

/// Digits that a reader is shown; `--json` shows them all.
const DIGITS: i32 = 6;

/// `answer`, which is JSON, as text.
pub fn table(answer: &str) -> anyhow::Result<String> {
    let answer: Ordered = serde_json::from_str(answer).context("the answer is not JSON")?;
    let mut lines = Vec::new();
    show(&answer, 0, &mut lines);
    lines.push(String::new());
    Ok(lines.join("\n"))
}

fn show(value: &Ordered, depth: usize, lines: &mut Vec<String>) {
    let Ordered::Object(fields) = value else {
        lines.push(format!("{}{}", indent(depth), plain(value)));
        return;
    };
    let one_line = fields.iter().filter(|(_, it)| is_plain(it));
    let rows = one_line.map(|(name, it)| {
        let (label, unit) = named(name);
        vec![label, with_unit(it, unit)]
    });
    columns(&rows.collect::<Vec<_>>(), depth, lines);
    for (name, inner) in fields.iter().filter(|(_, it)| !is_plain(it)) {
        let (label, unit) = named(name);
        match inner {
            Ordered::List(items) if items.is_empty() => {
                lines.push(format!("{}{label}: none", indent(depth)));
            }
            Ordered::List(items) => {
                let unit = if unit.is_empty() { String::new() } else { format!(", {unit}") };
                lines.push(format!("{}{label}{unit}:", indent(depth)));
                list(items, depth + 1, lines);
            }
            _ => {
                lines.push(format!("{}{label}:", indent(depth)));
                show(inner, depth + 1, lines);
            }
        }
    }
}

/// Items with the same plain fields share a head; others stand one below the other.
fn list(items: &[Ordered], depth: usize, lines: &mut Vec<String>) {
    let heads: Vec<_> = items.iter().map(head).collect();
    match heads.first() {
        Some(Some(names)) if heads.iter().all(|it| it.as_ref() == Some(names)) => {
            let head = names.iter().map(|name| match named(name) {
                (label, "") => label,
                (label, unit) => format!("{label}, {unit}"),
            });
            let rows = items.iter().map(|item| match item {
                Ordered::Object(fields) => fields.iter().map(|(_, it)| plain(it)).collect(),
                other => vec![plain(other)],
            });
            columns(&std::iter::once(head.collect()).chain(rows).collect::<Vec<_>>(), depth, lines);
        }
        _ => {
            for (index, item) in items.iter().enumerate() {
                if matches!(item, Ordered::Object(_)) {
                    lines.push(format!("{}{}.", indent(depth), index + 1));
                    show(item, depth + 1, lines);
                } else {
                    lines.push(format!("{}- {}", indent(depth), plain(item)));
                }
            }
        }
    }
}

/// The names of the fields of an item that fits into one row.
fn head(item: &Ordered) -> Option<Vec<String>> {
    let Ordered::Object(fields) = item else { return None };
    let fits = |it: &Ordered| is_plain(it) || matches!(it, Ordered::List(_));
    let all = fields.iter().all(|(_, it)| fits(it)) && !fields.is_empty();
    all.then(|| fields.iter().map(|(name, _)| name.clone()).collect())
}

fn columns(rows: &[Vec<String>], depth: usize, lines: &mut Vec<String>) {
    let width = |column: usize| {
        let cells = rows.iter().filter_map(|row| row.get(column));
        cells.map(|cell| cell.chars().count()).max().unwrap_or(0)
    };
    let widths: Vec<usize> = (0..rows.iter().map(Vec::len).max().unwrap_or(0)).map(width).collect();
    for row in rows {
        let cells = row.iter().zip(&widths).map(|(cell, width)| format!("{cell:<width$}"));
        let line = cells.collect::<Vec<_>>().join("  ");
        lines.push(format!("{}{}", indent(depth), line.trim_end()));
    }
}

fn indent(depth: usize) -> String {
    "  ".repeat(depth)
}

fn is_plain(value: &Ordered) -> bool {
    !matches!(value, Ordered::List(_) | Ordered::Object(_))
}

fn with_unit(value: &Ordered, unit: &str) -> String {
    match value {
        Ordered::Null => plain(value),
        _ if unit.is_empty() => plain(value),
        _ => format!("{} {unit}", plain(value)),
    }
}

fn plain(value: &Ordered) -> String {
    match value {
        Ordered::Null => "-".to_owned(),
        Ordered::Bool(value) => if *value { "yes" } else { "no" }.to_owned(),
        Ordered::Whole(value) => value.to_string(),
        Ordered::Number(value) => rounded(*value),
        Ordered::Text(text) => text.clone(),
        Ordered::List(items) => items.iter().map(plain).collect::<Vec<_>>().join("; "),
        Ordered::Object(fields) => {
            let fields = fields.iter().map(|(name, it)| {
                let (label, unit) = named(name);
                format!("{label} {}", with_unit(it, unit))
            });
            fields.collect::<Vec<_>>().join(", ")
        }
    }
}

/// The one rounding for the terminal: six significant digits, no zeros at the end.
#[expect(clippy::cast_possible_truncation, reason = "the logarithm of a double is under 400")]
fn rounded(value: f64) -> String {
    if value == 0.0 {
        return "0".to_owned();
    }
    let magnitude = value.abs().log10().floor() as i32;
    let Ok(decimals @ 0..=12) = usize::try_from((DIGITS - 1 - magnitude).max(0)) else {
        return format!("{value:.5e}");
    };
    if magnitude > 14 {
        return format!("{value:.5e}");
    }
    let fixed = format!("{value:.decimals$}");
    if fixed.contains('.') {
        fixed.trim_end_matches('0').trim_end_matches('.').to_owned()
    } else {
        fixed
    }
}

/// A field's name in words, and its unit.
fn named(name: &str) -> (String, &'static str) {
    const UNITS: [(&str, &str); 13] = [
        ("_m3_per_m", "m³/m"),
        ("_price_per_m3", "per m³"),
        ("_percent", "%"),
        ("_days", "days"),
        ("_mm", "mm"),
        ("_m2", "m²"),
        ("_kv", "kV"),
        ("_kg", "kg"),
        ("_m", "m"),
        ("_l", "L"),
        ("_h", "h"),
        // A difference of temperatures.
        ("margin_c", "K"),
        ("_c", "°C"),
    ];
    let known = UNITS.iter().find(|(suffix, _)| name.ends_with(suffix));
    let (stem, unit) = match known {
        Some(("margin_c", unit)) => (name.trim_end_matches("_c"), *unit),
        Some((suffix, unit)) => (name.trim_end_matches(suffix), *unit),
        None => (name, ""),
    };
    (stem.replace('_', " "), unit)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_are_rounded_to_be_read() {
        let cases = [
            (13.769_498_7, "13.7695"),
            (0.1 + 0.2, "0.3"),
            (-9.201_4, "-9.2014"),
            (123_456_789.0, "123456789"),
            (2.0, "2"),
            (1e-9, "1.00000e-9"),
            (1e20, "1.00000e20"),
        ];
        for (value, expected) in cases {
            assert_eq!(rounded(value), expected);
        }
    }

    #[test]
    fn an_answer_is_a_table_with_units_in_the_order_of_the_answer() {
        let answer = r#"{"voltage_kv": 15.0, "valid_to_mm": null, "meets": true, "margin_c": 3.05,
            "broken": [], "cautions": ["one", "two"],
            "points": [{"p": 0.5, "tape_m": 1}, {"p": 0.25, "tape_m": 20}]}"#;
        let expected = "\
voltage   15 kV
valid to  -
meets     yes
margin    3.05 K
broken: none
cautions:
  - one
  - two
points:
  p     tape, m
  0.5   1
  0.25  20
";
        assert_eq!(table(answer).unwrap(), expected);
    }
}
