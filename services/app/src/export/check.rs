//! Checks a copy: against its manifest, its chains, its checkpoints and a key.

use std::{
    collections::{BTreeSet, HashMap},
    fs::{self, File},
    io::{self, BufRead, BufReader, Read},
    path::Path,
};

use auth::SealPublicKey;
use domain::{
    ids::JointId,
    joints::chain::{self, Hash, Record},
    seal::{Checkpoint, Leaf, SealedLeaf},
};
use serde::Deserialize;
use sha2::{Digest, Sha256};
use store::checkpoints::StoredCheckpoint;

use super::{
    CHECKPOINTS, FACTS, JOINTS, LEAVES, Listed, MANIFEST, MANIFEST_HASH, MANIFEST_SIGNATURE,
    Manifest, PUBLIC_KEY, SUMS, joints_csv, readme, unpack,
};
use crate::{
    seal::{Checker, Known},
    verify::{Fault, Report},
};

/// Checks the copy at `path`, a directory or an archive. It goes on after a fault: the report names
/// them all. An error means that there is no copy to check.
///
/// The records are read one after the other; what is held in memory is the heads of the joints and
/// the leaves of the checkpoints.
pub fn verify_bundle(path: &Path, known: Known) -> io::Result<Report> {
    if path.is_dir() {
        return check(path, known);
    }
    let dir = tempfile::tempdir()?;
    unpack(&mut BufReader::new(File::open(path)?), dir.path())?;
    check(dir.path(), known)
}

fn check(dir: &Path, known: Known) -> io::Result<Report> {
    let bytes = fs::read(dir.join(MANIFEST))?;
    let manifest: Manifest = serde_json::from_slice(&bytes)?;
    let mut found = Found { code: manifest.code.clone(), report: Report::default() };
    check_manifest(dir, &bytes, &manifest, known, &mut found);
    check_files(dir, &manifest, &mut found)?;
    let heads = read_joints(dir, &mut found)?;
    let leaves = read_leaves(dir, &mut found)?;
    check_facts(dir, &manifest, &heads, &leaves, &mut found)?;
    check_checkpoints(dir, &manifest, &leaves, known, &mut found)?;
    Ok(found.report)
}

struct Found {
    code: String,
    report: Report,
}

impl Found {
    fn add(&mut self, joint: impl Into<String>, seq: Option<i64>, what: impl Into<String>) {
        let (project, joint, what) = (self.code.clone(), joint.into(), what.into());
        self.report.faults.push(Fault { project, joint, seq, what });
    }
}

fn check_manifest(dir: &Path, bytes: &[u8], manifest: &Manifest, known: Known, found: &mut Found) {
    if manifest.purpose != super::manifest::PURPOSE || manifest.version != 1 {
        found.add(MANIFEST, None, "it is no manifest of this form");
    }
    if manifest.to_bytes() != bytes {
        found.add(MANIFEST, None, "it is not in its canonical form");
    }
    let text = |name: &str| fs::read_to_string(dir.join(name)).unwrap_or_default();
    let hash = hex::encode(chain::hash(bytes));
    if text(MANIFEST_HASH) != format!("{hash}  {MANIFEST}\n") {
        found.add(MANIFEST_HASH, None, "the hash is not the one of the manifest");
    }
    if text(SUMS) != readme::sums(manifest) {
        found.add(SUMS, None, "the sums are not those of the manifest");
    }
    let named = SealPublicKey::parse(&text(PUBLIC_KEY)).ok();
    if known.key.is_some() && known.key != named {
        found.add(PUBLIC_KEY, None, "it is another key than the one that is known");
    }
    let Some(key) = known.key.or(named) else {
        found.add(PUBLIC_KEY, None, "there is no public key");
        return;
    };
    if key.fingerprint() != manifest.key {
        found.add(MANIFEST, None, "it names another key");
    }
    let signature = fs::read(dir.join(MANIFEST_SIGNATURE)).unwrap_or_default();
    if !key.verifies(bytes, &signature) {
        found.add(MANIFEST_SIGNATURE, None, "the signature of the manifest is not the key's");
    }
}

fn check_files(dir: &Path, manifest: &Manifest, found: &mut Found) -> io::Result<()> {
    let mut listed: BTreeSet<String> =
        [MANIFEST, MANIFEST_HASH, MANIFEST_SIGNATURE, SUMS].map(str::to_owned).into();
    for file in &manifest.files {
        listed.insert(file.name.clone());
        // A name that leads elsewhere is looked for nowhere.
        if file.name.contains(['/', '\\']) {
            found.add(&*file.name, None, "it is not a plain name");
            continue;
        }
        match sums(&dir.join(&file.name)) {
            Ok((bytes, sha256)) => {
                let Listed { bytes: size, sha256: hash, .. } = file;
                if bytes != *size || sha256 != *hash {
                    found.add(&*file.name, None, "it is not the file that the manifest lists");
                }
            }
            Err(error) if error.kind() == io::ErrorKind::NotFound => {
                found.add(&*file.name, None, "the file is missing");
            }
            Err(error) => return Err(error),
        }
    }
    for name in [JOINTS, FACTS, CHECKPOINTS, LEAVES, PUBLIC_KEY] {
        if !listed.contains(name) {
            found.add(name, None, "the manifest does not list it");
        }
    }
    for entry in fs::read_dir(dir)? {
        let name = entry?.file_name().to_string_lossy().into_owned();
        if !listed.contains(&name) {
            found.add(name, None, "the manifest does not list it");
        }
    }
    Ok(())
}

fn sums(path: &Path) -> io::Result<(u64, String)> {
    let mut file = File::open(path)?;
    let (mut hash, mut bytes, mut buffer) = (Sha256::new(), 0, vec![0; 1 << 16]);
    loop {
        let read = file.read(&mut buffer)?;
        if read == 0 {
            return Ok((bytes, hex::encode(hash.finalize())));
        }
        hash.update(&buffer[..read]);
        bytes += read as u64;
    }
}

/// What the table of the joints says of each.
struct Told {
    number: String,
    chain_seq: i64,
    chain_head: Hash,
}

fn read_joints(dir: &Path, found: &mut Found) -> io::Result<HashMap<JointId, Told>> {
    let mut heads = HashMap::new();
    let mut lines = csv::Reader::from_path(dir.join(JOINTS)).map_err(io::Error::other)?;
    for (place, line) in lines.records().enumerate() {
        let Some(head) = line.ok().as_ref().and_then(joints_csv::read) else {
            found.add(JOINTS, None, format!("line {} cannot be read", place + 2));
            continue;
        };
        let joints_csv::Line { joint, number, chain_seq, chain_head } = head;
        let told = Told { number: number.clone(), chain_seq, chain_head };
        if heads.insert(joint, told).is_some() {
            found.add(number, None, "the joint is there twice");
        }
        found.report.joints += 1;
    }
    Ok(heads)
}

fn read_leaves(dir: &Path, found: &mut Found) -> io::Result<Vec<SealedLeaf>> {
    let mut leaves: Vec<SealedLeaf> = Vec::new();
    for (place, line) in lines_of(dir, LEAVES)?.enumerate() {
        let line = line?;
        let line = std::str::from_utf8(&line).unwrap_or_default();
        let read = line.split_once(' ').and_then(|(number, leaf)| {
            Some(SealedLeaf { number: number.parse().ok()?, leaf: Leaf::parse(leaf).ok()? })
        });
        match read {
            Some(leaf) => leaves.push(leaf),
            None => found.add(LEAVES, None, format!("line {} cannot be read", place + 1)),
        }
    }
    Ok(leaves)
}

/// The lines of a file as they are, whatever bytes they hold.
fn lines_of(dir: &Path, name: &str) -> io::Result<impl Iterator<Item = io::Result<Vec<u8>>>> {
    Ok(BufReader::new(File::open(dir.join(name))?).split(b'\n'))
}

/// The chain of one joint while its records go by.
struct Chain {
    joint: JointId,
    seq: i64,
    head: Hash,
}

fn check_facts(
    dir: &Path,
    manifest: &Manifest,
    heads: &HashMap<JointId, Told>,
    leaves: &[SealedLeaf],
    found: &mut Found,
) -> io::Result<()> {
    let mut sealed: HashMap<JointId, Vec<&SealedLeaf>> = HashMap::new();
    for leaf in leaves {
        sealed.entry(leaf.leaf.joint).or_default().push(leaf);
    }
    let name = |joint: JointId| heads.get(&joint).map_or(joint.to_string(), |it| it.number.clone());
    let mut over: BTreeSet<JointId> = BTreeSet::new();
    let mut chain: Option<Chain> = None;
    for line in lines_of(dir, FACTS)? {
        let line = line?;
        found.report.facts += 1;
        let hash = chain::hash(&line);
        let record: Record = match serde_json::from_slice(&line) {
            Ok(record) => record,
            Err(error) => {
                let (joint, seq) = match &mut chain {
                    Some(chain) => {
                        (chain.seq, chain.head) = (chain.seq + 1, hash);
                        (name(chain.joint), Some(chain.seq))
                    }
                    None => (FACTS.to_owned(), None),
                };
                found.add(joint, seq, format!("the record cannot be read: {error}"));
                continue;
            }
        };
        let joint = record.joint;
        if chain.as_ref().is_none_or(|it| it.joint != joint) {
            if let Some(chain) = chain.take() {
                end(&chain, heads, &sealed, found);
                over.insert(chain.joint);
            }
            if over.contains(&joint) {
                let what = "the record stands among those of another joint";
                found.add(name(joint), Some(record.seq), what);
            }
            chain = Some(Chain { joint, seq: 0, head: chain::START });
        }
        let Some(chain) = &mut chain else { continue };
        link(&record, chain, &name(joint), found);
        if record.project != manifest.project {
            found.add(name(joint), Some(record.seq), "the record is of another project");
        }
        (chain.seq, chain.head) = (record.seq, hash);
        for leaf in sealed.get(&joint).into_iter().flatten() {
            if leaf.leaf.chain_seq == record.seq && leaf.leaf.chain_head != hash {
                let number = leaf.number;
                let what = format!("checkpoint {number} sealed another record in this place");
                found.add(name(joint), Some(record.seq), what);
            }
        }
    }
    if let Some(chain) = chain.take() {
        end(&chain, heads, &sealed, found);
        over.insert(chain.joint);
    }
    // Joints of which no record is there at all.
    for joint in heads.keys().chain(sealed.keys()).collect::<BTreeSet<_>>() {
        if !over.contains(joint) {
            let nothing = Chain { joint: *joint, seq: 0, head: chain::START };
            end(&nothing, heads, &sealed, found);
        }
    }
    Ok(())
}

/// Whether the record follows the one before it.
fn link(record: &Record, chain: &Chain, name: &str, found: &mut Found) {
    let expected = chain.seq + 1;
    if record.seq > expected {
        let what = format!("a record is missing: the next one is {}", record.seq);
        found.add(name, Some(expected), what);
    } else if record.seq < expected {
        let what = format!("place {expected} was expected: a record is there twice");
        found.add(name, Some(record.seq), what);
    }
    if record.previous != hex::encode(chain.head) {
        let what = "the record does not hold the hash of the record before it";
        found.add(name, Some(record.seq), what);
        if chain.seq > 0 {
            let what = "the record is not the one that the record after it names";
            found.add(name, Some(chain.seq), what);
        }
    }
}

/// Whether the last record is the one that the joint and the checkpoints name.
fn end(
    chain: &Chain,
    heads: &HashMap<JointId, Told>,
    sealed: &HashMap<JointId, Vec<&SealedLeaf>>,
    found: &mut Found,
) {
    let mut name = chain.joint.to_string();
    match heads.get(&chain.joint) {
        None => found.add(&*name, Some(chain.seq), "the joint is not among the joints"),
        Some(told) => {
            name.clone_from(&told.number);
            if told.chain_seq > chain.seq {
                let what = format!("a record is missing: the joint remembers {}", told.chain_seq);
                found.add(&*name, Some(chain.seq + 1), what);
            } else if told.chain_seq < chain.seq {
                let what = format!("the joint remembers no such record, but {}", told.chain_seq);
                found.add(&*name, Some(told.chain_seq + 1), what);
            }
            if told.chain_head != chain.head {
                let what = "the hash of the newest record is not the hash that the joint remembers";
                found.add(&*name, Some(chain.seq), what);
            }
        }
    }
    for leaf in sealed.get(&chain.joint).into_iter().flatten() {
        if leaf.leaf.chain_seq > chain.seq {
            let what = format!("the record that checkpoint {} sealed is missing", leaf.number);
            found.add(&*name, Some(leaf.leaf.chain_seq), what);
        }
    }
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Line {
    number: i64,
    signed: String,
    signature: String,
    public_key: String,
}

impl Line {
    fn stored(self) -> Option<StoredCheckpoint> {
        let says = Checkpoint::parse(self.signed.as_bytes()).ok()?;
        Some(StoredCheckpoint {
            number: self.number,
            day: says.day,
            sealed_at: says.sealed_at,
            hash: chain::hash(self.signed.as_bytes()).to_vec(),
            signed: self.signed.into_bytes(),
            signature: hex::decode(self.signature).ok()?,
            public_key: hex::decode(self.public_key).ok()?,
        })
    }
}

fn check_checkpoints(
    dir: &Path,
    manifest: &Manifest,
    leaves: &[SealedLeaf],
    known: Known,
    found: &mut Found,
) -> io::Result<()> {
    let mut checker = Checker::default();
    let mut of: HashMap<i64, Vec<SealedLeaf>> = HashMap::new();
    for leaf in leaves {
        of.entry(leaf.number).or_default().push(*leaf);
    }
    for (place, line) in lines_of(dir, CHECKPOINTS)?.enumerate() {
        let line: Option<Line> = serde_json::from_slice(&line?).ok();
        let Some(stored) = line.and_then(Line::stored) else {
            found.add(CHECKPOINTS, None, format!("line {} cannot be read", place + 1));
            continue;
        };
        found.report.checkpoints += 1;
        let leaves = of.remove(&stored.number).unwrap_or_default();
        for what in checker.next(manifest.project, &stored, &leaves, known) {
            found.add(format!("checkpoint {}", stored.number), None, what);
        }
    }
    for number in of.into_keys().collect::<BTreeSet<_>>() {
        found.add(format!("checkpoint {number}"), None, "it is missing, but its leaves are there");
    }
    Ok(())
}
