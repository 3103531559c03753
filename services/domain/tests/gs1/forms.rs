//! The forms a scan may have, and the places of its faults.

use domain::stock::gs1::{FaultCode, Label, parse};
use proptest::prelude::*;

use crate::{GS, day, fields, read, today, wrong};

const GTIN: &str = "09506000134352";

fn expected() -> Label {
    Label {
        gtin: Some(GTIN.to_owned()),
        lot: Some("l-4711/aB".to_owned()),
        produced_on: Some(day("2025-11-30")),
        expires_on: Some(day("2027-11-30")),
        serial: Some("R7".to_owned()),
        net_length_m: Some(15.0),
        ..Label::default()
    }
}

/// Each element with whether a separator ends it.
const ELEMENTS: [(&str, &str, bool); 6] = [
    ("01", GTIN, false),
    ("10", "l-4711/aB", true),
    ("11", "251130", false),
    ("17", "271100", false),
    ("21", "R7", true),
    ("3102", "001500", false),
];

/// Heap's way through every order.
fn orders(count: usize, items: &mut Vec<usize>, visit: &mut impl FnMut(&[usize])) {
    if count <= 1 {
        return visit(items);
    }
    for place in 0..count {
        orders(count - 1, items, visit);
        items.swap(if count.is_multiple_of(2) { place } else { 0 }, count - 1);
    }
}

#[test]
fn every_order_gives_the_same_fields() {
    let mut elements = ELEMENTS.to_vec();
    elements[5].0 = "3112";
    elements.push(("240", "X/1", true));
    let mut expected = expected();
    let mut seen = 0;
    orders(elements.len(), &mut (0..elements.len()).collect(), &mut |order| {
        let mut scan = "]C1".to_owned();
        for (place, index) in order.iter().enumerate() {
            let (code, value, ended) = elements[*index];
            scan += code;
            scan += value;
            if ended && place + 1 < order.len() {
                scan += GS;
            }
        }
        let label = read(&scan);
        assert_eq!(label.notices, [], "{scan:?}");
        expected.others = label.others.clone();
        assert_eq!(label, expected, "{scan:?}");
        assert_eq!((label.others.len(), label.others[0].value.as_str()), (1, "X/1"));
        seen += 1;
    });
    assert_eq!(seen, 5040);
}

#[test]
fn all_forms_say_the_same() {
    let gs = GS;
    let element_string = format!("01{GTIN}11251130172711003112001500{gs}10l-4711/aB{gs}21R7");
    let forms = [
        element_string.clone(),
        format!("]C1{element_string}"),
        format!("]d2{element_string}{gs}"),
        format!("]Q3{element_string}\r\n"),
        format!("]e0{element_string}\n"),
        format!("{gs}{element_string}"),
        format!("(01){GTIN}(11)251130(17)271100(3112)001500(10)l-4711/aB(21)R7"),
        format!("(01) {GTIN} (11) 251130 (17) 271100 (3112) 001500 (10) l-4711/aB (21) R7\n"),
        format!(
            "https://id.example/01/{GTIN}/10/l-4711%2FaB/21/R7?11=251130&17=271100&3112=001500"
        ),
        format!(
            "HTTP://ID.EXAMPLE/some/where/01/{GTIN}/10/l-4711%2faB/21/R7/?3112=001500&17=271100&11=251130&utm=x#end"
        ),
        format!(
            "]Q1https://id.example/01/{GTIN}/10/l-4711%2FaB/21/R7?11=251130&17=271100&3112=001500"
        ),
    ];
    for scan in forms {
        let label = read(&scan);
        assert_eq!(label.notices, [], "{scan:?}");
        assert_eq!(fields(label), expected(), "{scan:?}");
    }
}

#[test]
fn a_lot_may_have_twenty_characters_and_small_letters() {
    let lot = "aBc!\"%&'*+,-./:;<=>?";
    assert_eq!(lot.len(), 20);
    assert_eq!(read(&format!("01{GTIN}10{lot}")).lot.as_deref(), Some(lot));
    assert_eq!(wrong(&format!("01{GTIN}10{lot}_")), [(FaultCode::WrongLength, 19)]);
    assert_eq!(read(&format!("01{GTIN}10a")).lot.as_deref(), Some("a"));
    assert_eq!(wrong(&format!("01{GTIN}10{GS}17271130")), [(FaultCode::WrongLength, 19)]);
}

#[test]
fn faults_stand_where_they_are_and_come_all_at_once() {
    // A check digit, a month, what is left as (00), (18) that is none, a blank, a length.
    let scan = format!("]C10109506000134353171313010000{GS}10L{GS}18X{GS}21A B{GS}11251");
    assert_eq!(
        wrong(&scan),
        [
            (FaultCode::CheckDigit, 6),
            (FaultCode::Date, 22),
            (FaultCode::WrongLength, 30),
            (FaultCode::UnknownIdentifier, 37),
            (FaultCode::WrongCharacter, 44),
            (FaultCode::WrongLength, 49),
        ]
    );
    assert_eq!(wrong(&format!("(01){GTIN}(10)é")), [(FaultCode::WrongCharacter, 23)]);
    assert_eq!(wrong(&format!("(01){GTIN}(18)271130")), [(FaultCode::UnknownIdentifier, 19)]);
    assert_eq!(wrong(&format!("01{GTIN}10A{GS}10B")), [(FaultCode::Repeated, 21)]);
    assert_eq!(fields(read(&format!("01{GTIN}10A{GS}10A"))).lot.as_deref(), Some("A"));
    for prefix in ["]C0", "]E0", "]A0", "]Q1"] {
        assert_eq!(wrong(&format!("{prefix}01{GTIN}")), [(FaultCode::Symbology, 1)]);
    }
    for (scan, code) in [
        ("", FaultCode::Empty),
        (" \r\n", FaultCode::Empty),
        ("]C1", FaultCode::Empty),
        (GS, FaultCode::Empty),
        ("Hello", FaultCode::UnknownIdentifier),
        ("(Hello)", FaultCode::UnknownIdentifier),
        ("https://id.example/", FaultCode::DigitalLink),
        ("https://id.example/gtin/09506000134352", FaultCode::DigitalLink),
        ("https://id.example/01", FaultCode::DigitalLink),
        ("https://id.example/01/9506000134352", FaultCode::WrongLength),
        ("https://id.example/01/09506000134352?21=A", FaultCode::DigitalLink),
        ("https://id.example/01/09506000134352?18=A", FaultCode::UnknownIdentifier),
        ("https://id.example/01/09506000134352/10/A%2", FaultCode::DigitalLink),
    ] {
        assert_eq!(wrong(scan)[0].0, code, "{scan:?}");
    }
}

proptest! {
    /// Whatever is typed gets an answer, and every fault stands inside of it.
    #[test]
    fn anything_is_answered(
        scan in prop_oneof![
            any::<String>(),
            "[0-9\u{1d}]{0,60}",
            "(\\]C1|\\(01\\)|01|10|17|https://a/01/|/10/|\\?17=|%|[0-9]{1,14}|[a-zA-Z\u{1d}é()]){0,12}",
        ]
    ) {
        match parse(&scan, today()) {
            Ok(label) => prop_assert!(label != Label::default()),
            Err(faults) => {
                prop_assert!(!faults.is_empty());
                prop_assert!(faults.is_sorted_by_key(|it| it.position));
                for fault in faults {
                    prop_assert!(fault.position >= 1, "{fault:?}");
                    prop_assert!(fault.position <= scan.chars().count() + 1, "{fault:?}");
                }
            }
        }
    }
}
