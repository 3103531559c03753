//! The form of checkpoints and leaves: a contract with our own past.

use domain::{
    ids::{JointId, ProjectId},
    seal::{Checkpoint, CheckpointError, Leaf, LeafError, Tally, merkle},
};
use expect_test::expect;
use uuid::Uuid;

fn leaf(joint: u128, chain_seq: i64) -> Leaf {
    Leaf { joint: JointId(Uuid::from_u128(joint)), chain_seq, chain_head: [0xab; 32] }
}

fn checkpoint() -> Checkpoint {
    Checkpoint {
        purpose: "jointward checkpoint".into(),
        version: 1,
        project: ProjectId(Uuid::from_u128(10)),
        number: 3,
        day: "2026-06-12".parse().unwrap(),
        sealed_at: "2026-06-11T23:05:00Z".parse().unwrap(),
        joints: 2,
        facts: 9,
        root: hex::encode([1; 32]),
        feed_seq: 40,
        previous: hex::encode([2; 32]),
        key: hex::encode([3; 32]),
    }
}

#[test]
fn the_bytes_that_are_signed_never_change() {
    expect![[r#"{"day":"2026-06-12","facts":9,"feed_seq":40,"joints":2,"key":"0303030303030303030303030303030303030303030303030303030303030303","number":3,"previous":"0202020202020202020202020202020202020202020202020202020202020202","project":"00000000-0000-0000-0000-00000000000a","purpose":"jointward checkpoint","root":"0101010101010101010101010101010101010101010101010101010101010101","sealed_at":"2026-06-11T23:05:00Z","version":1}"#]].assert_eq(std::str::from_utf8(&checkpoint().to_bytes()).unwrap());
}

#[test]
fn only_the_canonical_bytes_are_a_checkpoint() {
    let bytes = checkpoint().to_bytes();
    assert_eq!(Checkpoint::parse(&bytes).unwrap(), checkpoint());
    let text = String::from_utf8(bytes).unwrap();
    let spaced = text.replacen(':', ": ", 1);
    assert!(matches!(Checkpoint::parse(spaced.as_bytes()), Err(CheckpointError::NotCanonical)));
    let other = text.replace("jointward checkpoint", "something else");
    assert!(matches!(Checkpoint::parse(other.as_bytes()), Err(CheckpointError::OtherForm)));
    let more = text.replacen('{', "{\"also\":1,", 1);
    assert!(matches!(Checkpoint::parse(more.as_bytes()), Err(CheckpointError::Unreadable(_))));
}

#[test]
fn a_leaf_has_one_spelling() {
    let text = leaf(11, 7).to_string();
    let head = "ab".repeat(32);
    assert_eq!(text, format!("00000000-0000-0000-0000-00000000000b 7 {head}"));
    assert_eq!(Leaf::parse(&text), Ok(leaf(11, 7)));
    for wrong in [
        String::new(),
        text.to_uppercase(),
        format!("{text} "),
        text.replace(" 7 ", " 07 "),
        text.replace(" 7 ", " -7 "),
        text.replace(" 7 ", "  7 "),
        text.replace('-', ""),
        text[..text.len() - 2].to_owned(),
    ] {
        assert_eq!(Leaf::parse(&wrong), Err(LeafError), "{wrong}");
    }
}

#[test]
fn a_tally_keeps_the_newest_leaf_of_each_joint_in_the_order_of_the_tree() {
    let mut tally = Tally::default();
    for it in [leaf(2, 1), leaf(1, 4), leaf(2, 5)] {
        tally.take(it);
    }
    let expected = [leaf(1, 4), leaf(2, 5)];
    assert_eq!(tally.leaves().copied().collect::<Vec<_>>(), expected);
    let root = merkle::root(&expected.map(|it| it.hash()));
    assert_eq!(tally.sums(), (2, 9, root));
    assert!(tally.holds(&leaf(2, 5)) && !tally.holds(&leaf(2, 1)) && !tally.holds(&leaf(3, 1)));
}
