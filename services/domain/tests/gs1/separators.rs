//! Separators that did not arrive.

use domain::stock::gs1::FaultCode;

use crate::{GS, faults, read, wrong};

const GTIN: &str = "0109506000134352";

#[test]
fn what_carries_its_own_proof_is_missed() {
    for (lot_and_more, position) in [
        ("10L-471117271130", 25),
        ("10L-47111125113021R7", 25),
        ("10L-471121R717271130", 29),
        ("10L-47113112001500", 25),
        ("10L-4711800101000001507610", 25),
        ("21R710L-471115271130", 29),
    ] {
        let scan = format!("{GTIN}{lot_and_more}");
        assert_eq!(wrong(&scan), [(FaultCode::MissingSeparator, position)], "{scan}");
        let detail = faults(&scan).remove(0).detail;
        assert!(detail.contains("ASCII 29"), "{detail}");
    }
}

#[test]
fn what_does_not_is_noticed() {
    for more in ["10L-471121R7", "21R710L-4711", "10L-4711240X", "10L-47113012"] {
        let label = read(&format!("{GTIN}{more}"));
        let codes: Vec<_> = label.notices.iter().map(|it| it.code.as_str()).collect();
        assert_eq!(codes, ["MAYBE_MISSING_SEPARATOR"], "{more}");
    }
}

#[test]
fn a_text_that_only_looks_like_it_is_left_alone() {
    // No such month; a day that stands on the label already; far from today; typed in brackets.
    for scan in [
        format!("{GTIN}10L-471117271330"),
        format!("{GTIN}1728010110L-471117271130"),
        format!("{GTIN}10L-471117601130"),
        "(01)09506000134352(10)L-471117271130".to_owned(),
    ] {
        let label = read(&scan);
        assert_eq!(label.notices, [], "{scan}");
    }
    // The advice says how to type it.
    let detail = faults(&format!("{GTIN}10L-471117271130")).remove(0).detail;
    assert!(detail.contains("(10)L-471117271130"), "{detail}");
}

#[test]
fn a_text_too_long_says_why() {
    let scan = format!("{GTIN}10ABCDEFGHIJKLMNOPQRST17271130");
    assert_eq!(wrong(&scan), [(FaultCode::MissingSeparator, 39)]);
    let scan = format!("{GTIN}10ABCDEFGHIJKLMNOPQRST240ABC");
    assert_eq!(wrong(&scan), [(FaultCode::MissingSeparator, 39)]);
    let scan = format!("{GTIN}30510L{GS}17271130");
    assert_eq!(wrong(&scan), [(FaultCode::MissingSeparator, 20)]);
}

#[test]
fn free_texts_of_one_s_own_are_noticed_only() {
    let label = read(&format!("{GTIN}10L{GS}91REF-17271130"));
    assert_eq!(label.notices[0].code, "MAYBE_MISSING_SEPARATOR");
}
