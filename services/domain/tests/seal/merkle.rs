//! The tree against the vectors of the Certificate Transparency project (github.com/
//! transparency-dev/merkle, v0.0.2: testonly/constants.go, testonly/reference_test.go,
//! rfc6962/rfc6962_test.go, compact/range_test.go; published).

use base64::{Engine, engine::general_purpose::STANDARD};
use domain::seal::merkle::{Tree, leaf_hash, node_hash, path, root, root_by_path};
use proptest::prelude::*;

type Hash = [u8; 32];

/// `testonly.LeafInputs`.
const LEAVES: [&str; 8] = [
    "",
    "00",
    "10",
    "2021",
    "3031",
    "40414243",
    "5051525354555657",
    "606162636465666768696a6b6c6d6e6f",
];

/// `testonly.RootHashes`, of no leaf to eight.
const ROOTS: [&str; 9] = [
    "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855",
    "6e340b9cffb37a989ca544e6bb780a2c78901d3fb33738768511a30617afa01d",
    "fac54203e7cc696cf0dfcb42c92a1d9dbaf70ad9e621f4bd8d98662f00e3c125",
    "aeb6bcfe274b70a14fb067a5e5578264db0fa9b51af5e0ba159158f329e06e77",
    "d37ee418976dd95753c1c73862b9398fa2a2cf9b4ff0fdfe8b30cd95209614b7",
    "4e3bbb1f7b478dcfe71fb631631519a3bca12c9aefca1612bfce4c13a86264d4",
    "76e67dadbcdf1e10e1b74ddc608abd2f98dfb16fbce75277b5232a127f2087ef",
    "ddb89be403809e325750d3d263cd78929c2942b7942a34b77e122c9594a74c8c",
    "5dc9da79a70659a9ad559cb701ded9a2ab9d823aad2f4960cfe370eff4604328",
];

/// Index, size and path: `TestRefInclusionProof`.
const PATHS: [(u64, usize, &[&str]); 7] = [
    (0, 1, &[]),
    (0, 2, &["96a296d224f285c67bee93c30f8a309157f0daa35dc5b87e410b78630a09cfc7"]),
    (1, 2, &["6e340b9cffb37a989ca544e6bb780a2c78901d3fb33738768511a30617afa01d"]),
    (2, 3, &["fac54203e7cc696cf0dfcb42c92a1d9dbaf70ad9e621f4bd8d98662f00e3c125"]),
    (
        1,
        5,
        &[
            "6e340b9cffb37a989ca544e6bb780a2c78901d3fb33738768511a30617afa01d",
            "5f083f0a1a33ca076a95279832580db3e0ef4584bdff1f54c8a360f50de3031e",
            "bc1a0643b12e4d2d7c77918f44e0f4f79a838b6cf9ec5b5c283e1f4d88599e6b",
        ],
    ),
    (
        0,
        8,
        &[
            "96a296d224f285c67bee93c30f8a309157f0daa35dc5b87e410b78630a09cfc7",
            "5f083f0a1a33ca076a95279832580db3e0ef4584bdff1f54c8a360f50de3031e",
            "6b47aaf29ee3c2af9af889bc1fb9254dabd31177f16232dd6aab035ca39bf6e4",
        ],
    ),
    (
        5,
        8,
        &[
            "bc1a0643b12e4d2d7c77918f44e0f4f79a838b6cf9ec5b5c283e1f4d88599e6b",
            "ca854ea128ed050b41b35ffc1b87b8eb2bde461e9e3b5596ece6b9d5975a0ae0",
            "d37ee418976dd95753c1c73862b9398fa2a2cf9b4ff0fdfe8b30cd95209614b7",
        ],
    ),
];

fn hash(text: &str) -> Hash {
    hex::decode(text).unwrap().try_into().unwrap()
}

fn leaves() -> Vec<Hash> {
    LEAVES.iter().map(|it| leaf_hash(&hex::decode(it).unwrap())).collect()
}

#[test]
fn the_published_roots_come_out() {
    for (size, expected) in ROOTS.iter().enumerate() {
        assert_eq!(hex::encode(root(&leaves()[..size])), *expected, "{size} leaves");
    }
}

#[test]
fn the_published_leaf_and_node_come_out() {
    let leaf = "395aa064aa4c29f7010acfe3f25db9485bbd4b91897b6ad7ad547639252b4d56";
    assert_eq!(hex::encode(leaf_hash(b"L123456")), leaf);
    let level = [
        "fac54203e7cc696cf0dfcb42c92a1d9dbaf70ad9e621f4bd8d98662f00e3c125",
        "5f083f0a1a33ca076a95279832580db3e0ef4584bdff1f54c8a360f50de3031e",
    ];
    assert_eq!(hex::encode(node_hash(&hash(level[0]), &hash(level[1]))), ROOTS[4]);
}

/// `TestGetRootHashGolden`: leaf i is i in two bytes, the lower one first.
#[test]
fn the_published_roots_of_larger_trees_come_out() {
    for (size, expected) in [
        (10, "VjWMPSYNtCuCNlF/RLnQy6HcwSk6CIipfxm+hettA+4="),
        (15, "j4SulYmocFuxdeyp12xXCIgK6PekBcxzAIj4zbQzNEI="),
        (16, "c+4Uc6BCMOZf/v3NZK1kqTUJe+bBoFtOhP+P3SayKRE="),
        (100, "dUh9hYH88p0CMoHkdr1wC2szbhcLAXOejWpINIooKUY="),
    ] {
        let mut tree = Tree::default();
        for leaf in 0_u16..size {
            tree.push(leaf_hash(&leaf.to_le_bytes()));
        }
        assert_eq!(STANDARD.encode(tree.root()), expected, "{size} leaves");
        assert_eq!(tree.size(), u64::from(size));
    }
}

#[test]
fn the_published_paths_come_out_and_lead_to_the_root() {
    for (index, size, expected) in PATHS {
        let at = usize::try_from(index).unwrap();
        let found = path(&leaves()[..size], at).unwrap();
        assert_eq!(
            found.iter().map(hex::encode).collect::<Vec<_>>(),
            expected,
            "{index} of {size}"
        );
        let length = u64::try_from(size).unwrap();
        let reached = root_by_path(&leaves()[at], index, length, &found).unwrap();
        assert_eq!(hex::encode(reached), ROOTS[size]);
    }
    assert_eq!(path(&leaves(), 8), None);
}

/// The definition itself (RFC 9162, section 2.1.1), said a second time.
fn by_definition(leaves: &[Hash]) -> Hash {
    let Some(split) = leaves.len().checked_sub(1).filter(|it| *it > 0).map(|it| 1 << it.ilog2())
    else {
        return leaves.first().copied().unwrap_or_else(|| hash(ROOTS[0]));
    };
    node_hash(&by_definition(&leaves[..split]), &by_definition(&leaves[split..]))
}

proptest! {
    #[test]
    fn the_tree_is_the_one_of_the_definition(size in 0_u16..300) {
        let leaves: Vec<Hash> = (0..size).map(|it| leaf_hash(&it.to_be_bytes())).collect();
        prop_assert_eq!(root(&leaves), by_definition(&leaves));
    }

    /// The right path leads to the root; the same path for another leaf, another place, another
    /// size, or with a hash changed, missing or added, does not.
    #[test]
    fn only_the_right_path_leads_to_the_root(size in 1_usize..200, pick in any::<prop::sample::Index>(), bit in 0_usize..256) {
        let leaves: Vec<Hash> = (0..size).map(|it| leaf_hash(&it.to_be_bytes())).collect();
        let (at, top) = (pick.index(size), root(&leaves));
        let found = path(&leaves, at).unwrap();
        let reach = |leaf: &Hash, at: usize, size: usize, path: &[Hash]| {
            root_by_path(leaf, at as u64, size as u64, path) == Some(top)
        };
        prop_assert!(reach(&leaves[at], at, size, &found));
        prop_assert!(!reach(&leaf_hash(b"another"), at, size, &found));
        if size > 1 {
            let other = (at + 1) % size;
            prop_assert!(!reach(&leaves[at], other, size, &found));
            for place in 0..found.len() {
                let mut wrong = found.clone();
                wrong[place][bit / 8] ^= 1 << (bit % 8);
                prop_assert!(!reach(&leaves[at], at, size, &wrong));
            }
            prop_assert!(!reach(&leaves[at], at, size, &found[1..]));
        }
        let longer = [&found[..], &[top]].concat();
        prop_assert!(!reach(&leaves[at], at, size, &longer));
        prop_assert!(!reach(&leaves[at], size, size, &found), "no such leaf");
    }
}
