//! The rules as published.

use domain::stock::gs1::{FaultCode, Winding, check_digit, has_right_check_digit, parse};

use crate::{day, faults, read, today, wrong};

/// Numbers with right and wrong check digits: GS1 Barcode Syntax Dictionary (published), its own
/// tests of the routine `csum`, commit dc1102e6114a.
#[test]
fn check_digits_are_those_of_the_dictionary() {
    let right =
        ["02345673", "416000336108", "1234567890128", "12345678901231", "123456789012345675"];
    for number in right {
        assert!(has_right_check_digit(number), "{number}");
        let (body, last) = number.split_at(number.len() - 1);
        assert_eq!(check_digit(body).unwrap().to_string(), last);
    }
    let wrong = [
        "12345673",
        "416000336109",
        "1234567890129",
        "12345678901232",
        "123456789012345670",
        " 23456789012345675",
        "12345678 012345675",
        "12345678901234567 ",
        "",
        "0",
    ];
    for number in wrong {
        assert!(!has_right_check_digit(number), "{number}");
    }
}

/// Dates that are right and wrong: the same dictionary, its tests of the routine `yymmd0`, commit
/// 38d3767d0532.
#[test]
fn dates_are_those_of_the_dictionary() {
    let right = [
        "000606", "250606", "500606", "750606", "990606", "200131", "200229", "200331", "200430",
        "200531", "200630", "200731", "200831", "200930", "201031", "201130", "201231", "210228",
        "220228", "230228", "240229", "000229", "040229", "960229", "200600",
    ];
    for date in right {
        assert!(parse(&format!("(01)12345678901231(17){date}"), today()).is_ok(), "{date}");
    }
    let wrong_dates = [
        "200010", "201310", "209910", "200132", "200230", "200332", "200431", "200532", "200631",
        "200732", "200832", "200931", "201032", "201131", "201232", "210229", "220229", "230229",
        "240230", "000230", "040230", "960230",
    ];
    for date in wrong_dates {
        let scan = format!("(01)12345678901231(17){date}");
        assert_eq!(wrong(&scan), [(FaultCode::Date, 23)], "{date}");
    }
    for date in ["x00131", "20x131", "20013x"] {
        let scan = format!("(01)12345678901231(17){date}");
        assert_eq!(wrong(&scan)[0].0, FaultCode::WrongCharacter, "{date}");
    }
    for date in ["", "1", "11111", "1111111"] {
        let scan = format!("(01)12345678901231(17){date}");
        assert_eq!(wrong(&scan)[0].0, FaultCode::WrongLength, "{date}");
    }
}

/// The window of GS1 General Specifications 7.12, as the dictionary's routine has it
/// (second-hand): 51 to 99 years ahead is the last century, 50 and more behind the next one.
#[test]
fn two_digit_years_slide_with_the_year() {
    let cases = [
        ("2026-12-31", "76", 2076),
        ("2026-12-31", "77", 1977),
        ("2027-01-01", "77", 2077),
        ("2027-01-01", "78", 1978),
        ("2049-06-01", "00", 2000),
        ("2050-12-31", "00", 2100),
        ("2050-12-31", "01", 2001),
        ("2051-01-01", "01", 2101),
        ("2099-12-31", "49", 2149),
        ("2099-12-31", "50", 2050),
        ("2100-01-01", "50", 2150),
        ("2100-01-01", "51", 2051),
    ];
    for (today, two, year) in cases {
        let scan = format!("(01)12345678901231(17){two}0200");
        let label = parse(&scan, today.parse().unwrap()).unwrap();
        let last = if year % 4 == 0 && year != 2100 { 29 } else { 28 };
        assert_eq!(label.expires_on, Some(day(&format!("{year}-02-{last}"))), "{two} in {today}");
    }
}

/// The winding is 0, 1 or 9, and no dimension is zero: the same dictionary, routines `winding` and
/// `nonzero` and the row of (8001).
#[test]
fn a_roll_has_dimensions() {
    let roll = read("(01)12345678901231(8001)01000001507610").roll_dimensions.unwrap();
    assert_eq!((roll.width_mm, roll.length_m, roll.core_mm), (100, 15, 76));
    assert_eq!((roll.winding, roll.splices), (Winding::FaceIn, Some(0)));
    for winding in 0..10 {
        let scan = format!("(01)12345678901231(8001)010000015076{winding}0");
        match winding {
            0 | 1 | 9 => drop(read(&scan)),
            _ => assert_eq!(wrong(&scan), [(FaultCode::WrongValue, 37)]),
        }
    }
    for zero in ["00000001507610", "01000000007610", "01000001500010"] {
        assert_eq!(wrong(&format!("(01)12345678901231(8001){zero}"))[0].0, FaultCode::WrongValue);
    }
}

/// The rows of (01), (02), (37), (311n), (21) and (235) of the dictionary.
#[test]
fn what_excludes_each_other_is_refused() {
    let gtin = "(01)12345678901231";
    for (scan, position) in [
        ("(01)12345678901231(37)12", 19),
        ("(37)12(01)12345678901231", 7),
        ("(01)12345678901231(02)12345678901231(37)1", 19),
        ("(01)12345678901231(3110)000015(3111)000150", 31),
        ("(01)12345678901231(21)1(235)2", 24),
        ("(01)12345678901231(8006)123456789012310101", 19),
    ] {
        assert!(wrong(scan).contains(&(FaultCode::NotTogether, position)), "{:?}", faults(scan));
    }
    let advice = faults("(01)12345678901231(37)12").remove(0).detail;
    assert!(advice.contains("(02)") && advice.contains("(30)"), "{advice}");
    // Different measures, and the same one of the thing and of the unit it is packed in.
    drop(read(&format!("{gtin}(3110)000015(3100)000002(3310)000016")));
}

/// What must stand with another one may do so in another symbol of the label, says the dictionary.
#[test]
fn what_stands_alone_is_noticed() {
    let noticed = |scan: &str| {
        let notices = read(scan).notices;
        notices.into_iter().map(|it| (it.code, it.detail)).collect::<Vec<_>>()
    };
    for scan in ["(10)L-1", "(17)271130", "(01)12345678901231(250)A", "(02)12345678901231(37)1"] {
        let found = noticed(scan);
        assert_eq!(found.len(), 1, "{found:?}");
        assert_eq!(found[0].0, "INCOMPLETE");
    }
    assert_eq!(noticed("(00)123456789012345675(02)12345678901231(37)1(10)L"), []);
    assert!(noticed("(10)L-1")[0].1.contains("(01) or (02) or (03)"));
}

/// The dictionary's example of the key (01): `22,10,21|235` in this order, some left out, never
/// mixed.
#[test]
fn qualifiers_of_a_link_have_an_order() {
    let link = |path: &str| format!("https://id.example/01/12345678901231{path}");
    for path in ["/22/A/10/B/21/C", "/22/A/21/C", "/10/B", "/235/D", "", "/", "?17=271130&x=y"] {
        drop(read(&link(path)));
    }
    for path in ["/10/B/22/A", "/22/A/10/B/235/D", "/21/C/10/B", "/10/B/10/B", "/17/271130"] {
        assert!(wrong(&link(path)).iter().any(|it| it.0 == FaultCode::DigitalLink), "{path}");
    }
}
