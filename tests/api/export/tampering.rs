//! Somebody who has a copy in hand and wants it to say something else.

use std::{fs, ops::RangeInclusive, path::Path};

use app::export::Manifest;
use auth::SealKey;
use chrono::TimeDelta;
use domain::joints::chain::{self, Record};
use tempfile::TempDir;

#[derive(Debug, Clone, Copy)]
pub enum Act {
    ChangeBit,
    Delete,
    Insert,
    Swap,
    CutOff,
    RollBack,
    Copy,
    MakeAnew,
}

impl Act {
    pub const ALL: [Self; 8] = [
        Self::ChangeBit,
        Self::Delete,
        Self::Insert,
        Self::Swap,
        Self::CutOff,
        Self::RollBack,
        Self::Copy,
        Self::MakeAnew,
    ];
}

/// A copy of the copy.
pub struct Forger(TempDir);

impl Forger {
    pub fn new(dir: &Path) -> Self {
        let own = tempfile::tempdir().unwrap();
        for entry in fs::read_dir(dir).unwrap() {
            let entry = entry.unwrap();
            fs::copy(entry.path(), own.path().join(entry.file_name())).unwrap();
        }
        Self(own)
    }

    pub fn dir(&self) -> &Path {
        self.0.path()
    }

    fn lines(&self) -> Vec<Vec<u8>> {
        let bytes = fs::read(self.dir().join("facts.jsonl")).unwrap();
        let mut lines: Vec<Vec<u8>> = bytes.split(|it| *it == b'\n').map(<[u8]>::to_vec).collect();
        lines.pop();
        lines
    }

    fn write(&self, lines: &[Vec<u8>]) {
        let bytes = [lines.join(&b'\n'), b"\n".to_vec()].concat();
        fs::write(self.dir().join("facts.jsonl"), bytes).unwrap();
    }

    /// The id of a joint, and where its records are among the lines.
    fn at(&self, joint: &str) -> (String, RangeInclusive<usize>) {
        let mut table = csv::Reader::from_path(self.dir().join("joints.csv")).unwrap();
        let row = table.records().map(Result::unwrap).find(|it| &it[1] == joint).unwrap();
        let id = format!("\"joint\":\"{}\"", &row[0]);
        let is_own = |it: &Vec<u8>| String::from_utf8_lossy(it).contains(&id);
        let lines = self.lines();
        let first = lines.iter().position(is_own).unwrap();
        let last = lines.iter().rposition(is_own).unwrap();
        (row[0].to_owned(), first..=last)
    }

    /// Writes another head of a joint into the table.
    fn heads(&self, id: &str, seq: usize, head: &str) {
        let path = self.dir().join("joints.csv");
        let mut table = csv::Reader::from_path(&path).unwrap();
        let mut out = csv::Writer::from_writer(Vec::new());
        out.write_record(table.headers().unwrap().clone().iter()).unwrap();
        for row in table.records().map(Result::unwrap) {
            let mut row: Vec<String> = row.iter().map(str::to_owned).collect();
            if row[0] == id {
                (row[9], row[10]) = (seq.to_string(), head.to_owned());
            }
            out.write_record(&row).unwrap();
        }
        fs::write(&path, out.into_inner().unwrap()).unwrap();
    }

    /// Changes record `place` of a joint and links everything after it again.
    pub fn makes_anew(&self, joint: &str, place: usize) {
        let (id, range) = self.at(joint);
        let mut lines = self.lines();
        let mut before = None;
        for (number, line) in lines[range.clone()].iter_mut().enumerate() {
            let mut record: Record = serde_json::from_slice(line).unwrap();
            if number + 1 == place {
                record.recorded_at += TimeDelta::seconds(1);
            }
            record.previous = before.unwrap_or(record.previous);
            *line = record.to_bytes();
            before = Some(hex::encode(chain::hash(line)));
        }
        self.write(&lines);
        self.heads(&id, range.count(), &before.unwrap());
    }

    /// Does it to `J-2`, which has nine records, all sealed; which places have to be named.
    pub fn does(&self, act: Act) -> (&'static str, RangeInclusive<i64>) {
        let (id, range) = self.at("J-2");
        let (first, last) = (*range.start(), *range.end());
        let mut lines = self.lines();
        match act {
            Act::ChangeBit => {
                let text = String::from_utf8(lines[first + 3].clone()).unwrap();
                let changed = text.replace("St 3", "St 2").replace("L-PRIMER", "L-PRIMES");
                assert_ne!(changed, text);
                lines[first + 3] = changed.into_bytes();
                self.write(&lines);
                ("J-2", 4..=4)
            }
            Act::Delete => {
                lines.remove(first + 4);
                self.write(&lines);
                ("J-2", 5..=5)
            }
            Act::Insert => {
                let copy = lines[first + 1].clone();
                lines.insert(first + 5, copy);
                self.write(&lines);
                ("J-2", 2..=6)
            }
            Act::Swap => {
                lines.swap(first + 2, first + 3);
                self.write(&lines);
                ("J-2", 3..=4)
            }
            Act::CutOff => {
                lines.drain(first + 7..=last);
                let head = hex::encode(chain::hash(&lines[first + 6]));
                self.write(&lines);
                self.heads(&id, 7, &head);
                ("J-2", 8..=9)
            }
            Act::RollBack => {
                let head = hex::encode(chain::hash(&lines[first + 6]));
                self.heads(&id, 7, &head);
                ("J-2", 8..=8)
            }
            Act::Copy => {
                let (_, other) = self.at("J-1");
                let copy = lines[*other.start() + 4].clone();
                lines.splice(first + 4..=first + 4, [copy]);
                self.write(&lines);
                ("J-2", 5..=6)
            }
            Act::MakeAnew => {
                self.makes_anew("J-2", 6);
                ("J-2", 6..=9)
            }
        }
    }

    fn manifest(&self) -> Manifest {
        let mut manifest: Manifest =
            serde_json::from_slice(&fs::read(self.dir().join("manifest.json")).unwrap()).unwrap();
        for file in &mut manifest.files {
            let bytes = fs::read(self.dir().join(&file.name)).unwrap();
            file.bytes = bytes.len() as u64;
            file.sha256 = hex::encode(chain::hash(&bytes));
        }
        manifest
    }

    fn keep(&self, manifest: &Manifest) {
        let bytes = manifest.to_bytes();
        let lines = manifest.files.iter().map(|it| format!("{}  {}", it.sha256, it.name));
        let sums = lines.collect::<Vec<_>>().join("\n") + "\n";
        let hash = hex::encode(chain::hash(&bytes));
        fs::write(self.dir().join("SHA256SUMS"), sums).unwrap();
        let hash = format!("{hash}  manifest.json\n");
        fs::write(self.dir().join("manifest.json.sha256"), hash).unwrap();
        fs::write(self.dir().join("manifest.json"), bytes).unwrap();
    }

    /// Makes every sum right again; the signature cannot be.
    pub fn mends_all_sums(&self) {
        self.keep(&self.manifest());
    }

    /// Signs it with a key of one's own and puts that into the copy.
    pub fn signs_all_anew(&self) {
        let key = SealKey::generate().unwrap();
        fs::write(self.dir().join("public-key.pem"), key.public().to_pem()).unwrap();
        let mut manifest = self.manifest();
        manifest.key = key.public().fingerprint();
        self.keep(&manifest);
        let signature = key.sign(&manifest.to_bytes());
        fs::write(self.dir().join("manifest.json.sig"), signature).unwrap();
    }
}
