//! The hash chain of one joint.

use domain::{
    ids::{JointId, ProjectId},
    joints::{
        chain::{Record, START, canonical, hash},
        fact::NewFact,
    },
};
use expect_test::expect;
use proptest::prelude::*;
use serde_json::{Value, json};
use uuid::Uuid;

use crate::builder::{APPLICATOR, at, id, passed, user};

fn record() -> Record {
    let fact = NewFact {
        id: id(3),
        occurred_at: at("2026-06-01T10:00:00.123456+02:00"),
        supersedes: Some(id(2)),
        reason: Some("Schälprüfung: wrong day".into()),
        event: passed(),
    };
    let joint = (ProjectId(Uuid::from_u128(10)), JointId(Uuid::from_u128(11)));
    Record::new(joint, &fact, (at("2026-06-01T09:00:00Z"), user(APPLICATOR)), 2, &START)
}

#[test]
fn the_canonical_bytes_of_a_record_never_change() {
    let bytes = record().to_bytes();
    expect![[r#"{"event":{"detector":"HD","holidays_found":0,"inspector":"P-2","kind":"holiday_tested","result":"pass","voltage_kv":15},"id":"00000000-0000-0000-0000-000000000003","joint":"00000000-0000-0000-0000-00000000000b","occurred_at":"2026-06-01T08:00:00.123456Z","previous":"0000000000000000000000000000000000000000000000000000000000000000","project":"00000000-0000-0000-0000-00000000000a","reason":"Schälprüfung: wrong day","recorded_at":"2026-06-01T09:00:00Z","recorded_by":"00000000-0000-0000-0000-000000000001","seq":2,"supersedes":"00000000-0000-0000-0000-000000000002","version":1}"#]].assert_eq(std::str::from_utf8(&bytes).unwrap());
    expect!["23aa1a6d4c38a47c361cb6bfb155dd23fdd3e15d941d58d706b023bed5d054cb"]
        .assert_eq(&hex::encode(hash(&bytes)));
}

#[test]
fn a_record_read_from_its_bytes_gives_the_same_bytes() {
    let record = record();
    let read: Record = serde_json::from_slice(&record.to_bytes()).unwrap();
    assert_eq!(read, record);
    assert_eq!(read.to_bytes(), record.to_bytes());
}

#[test]
fn the_hash_is_sha_256() {
    // FIPS 180-2, appendix B.1, the message "abc": from memory.
    let expected = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad";
    assert_eq!(hex::encode(hash(b"abc")), expected);
}

#[test]
fn numbers_texts_and_literals_are_written_as_rfc_8785_shows() {
    // RFC 8785, 3.2.2 and 3.2.3: from memory.
    let sample: Value = serde_json::from_str(
        r#"{
            "numbers": [333333333.33333329, 1E30, 4.50, 2e-3, 0.000000000000000000000000001],
            "string": "\u20ac$\u000F\u000aA'\u0042\u0022\u005c\\\"\/",
            "literals": [null, true, false]
        }"#,
    )
    .unwrap();
    let expected = concat!(
        r#"{"literals":[null,true,false],"#,
        r#""numbers":[333333333.3333333,1e+30,4.5,0.002,1e-27],"#,
        r#""string":"€$\u000f\nA'B\"\\\\\"/"}"#
    );
    assert_eq!(std::str::from_utf8(&canonical(&sample)).unwrap(), expected);
}

#[test]
fn names_are_ordered_by_utf_16_units_as_rfc_8785_shows() {
    // RFC 8785, 3.2.3: from memory. The emoji comes before U+FB33 only in UTF-16 order.
    let sample = json!({
        "\u{20ac}": "Euro Sign",
        "\r": "Carriage Return",
        "\u{fb33}": "Hebrew Letter Dalet With Dagesh",
        "1": "One",
        "\u{1f600}": "Emoji: Grinning Face",
        "\u{80}": "Control",
        "\u{f6}": "Latin Small Letter O With Diaeresis",
    });
    let text = String::from_utf8(canonical(&sample)).unwrap();
    let expected =
        ["Carriage Return", "One", "Control", "Latin Small", "Euro Sign", "Emoji", "Hebrew"];
    let places: Vec<usize> = expected.iter().map(|it| text.find(it).unwrap()).collect();
    assert!(places.is_sorted(), "{text}");
}

proptest! {
    #[test]
    fn any_changed_byte_changes_the_hash(place in any::<prop::sample::Index>(), flip in 1..=255u8) {
        let bytes = record().to_bytes();
        let mut changed = bytes.clone();
        changed[place.index(bytes.len())] ^= flip;
        prop_assert_ne!(hash(&bytes), hash(&changed));
    }
}
