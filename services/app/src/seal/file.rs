//! A checkpoint outside of the database: one file of text that stands by itself.
//!
//! Line 1 holds the very bytes that were signed, line 2 the signature and the public key in
//! hexadecimal, and every other line a leaf in the order of the tree. So common tools can check it:
//! the hash of a leaf is SHA-256 of the byte 0 and the line.

use std::{
    fs::{self, File},
    io::{self, BufRead, BufReader, Lines},
    path::{Path, PathBuf},
};

use auth::SealPublicKey;
use domain::{
    joints::chain,
    seal::{Checkpoint, Leaf},
};
use store::checkpoints::StoredCheckpoint;

/// What the names of the files end with.
pub(super) const EXTENSION: &str = "checkpoint";

/// A file is no checkpoint.
#[derive(Debug, thiserror::Error)]
pub enum FileError {
    /// It cannot be read at all.
    #[error("it cannot be read")]
    Io(#[from] io::Error),
    /// A line says something else than it should.
    #[error("line {line} is not as it should be: {what}")]
    Line {
        /// Counted from 1.
        line: usize,
        /// What is wrong with it.
        what: String,
    },
}

/// The checkpoint of a file; its leaves follow one by one.
#[derive(Debug)]
pub struct SealedFile {
    /// What was sealed.
    pub checkpoint: Checkpoint,
    /// The bytes that were signed.
    pub signed: Vec<u8>,
    /// The signature.
    pub signature: Vec<u8>,
    /// The key that the file names; whether it is the right one is for the reader to know.
    pub public_key: SealPublicKey,
    lines: Lines<BufReader<File>>,
    line: usize,
}

impl SealedFile {
    /// Opens a file and reads its first two lines.
    pub fn open(path: &Path) -> Result<Self, FileError> {
        let mut lines = BufReader::new(File::open(path)?).lines();
        let mut next = |line| match lines.next() {
            Some(text) => Ok(text?),
            None => Err(FileError::Line { line, what: "it is missing".to_owned() }),
        };
        let signed = next(1)?.into_bytes();
        let seal = next(2)?;
        let checkpoint = Checkpoint::parse(&signed)
            .map_err(|error| FileError::Line { line: 1, what: error.to_string() })?;
        let (signature, public_key) = seal
            .split_once(' ')
            .and_then(|(signature, key)| {
                Some((hex::decode(signature).ok()?, SealPublicKey::parse(key).ok()?))
            })
            .ok_or_else(|| FileError::Line {
                line: 2,
                what: "a signature and a public key were expected".to_owned(),
            })?;
        Ok(Self { checkpoint, signed, signature, public_key, lines, line: 2 })
    }

    /// The checkpoint as the database would hold it.
    pub(crate) fn as_stored(&self) -> StoredCheckpoint {
        StoredCheckpoint {
            number: self.checkpoint.number,
            day: self.checkpoint.day,
            sealed_at: self.checkpoint.sealed_at,
            hash: chain::hash(&self.signed).to_vec(),
            signed: self.signed.clone(),
            signature: self.signature.clone(),
            public_key: self.public_key.as_bytes().to_vec(),
        }
    }
}

impl Iterator for SealedFile {
    type Item = Result<Leaf, FileError>;

    fn next(&mut self) -> Option<Self::Item> {
        self.line += 1;
        let line = self.line;
        let text = match self.lines.next()? {
            Ok(text) => text,
            Err(error) => return Some(Err(error.into())),
        };
        let wrong =
            |error: domain::seal::LeafError| FileError::Line { line, what: error.to_string() };
        Some(Leaf::parse(&text).map_err(wrong))
    }
}

/// The file at `path`, or all checkpoints below it, in the order of their names.
pub fn find_files(path: &Path) -> io::Result<Vec<PathBuf>> {
    if !path.is_dir() {
        return Ok(vec![path.to_owned()]);
    }
    let mut found = Vec::new();
    for entry in fs::read_dir(path)? {
        let path = entry?.path();
        if path.is_dir() {
            found.extend(find_files(&path)?);
        } else if path.extension().is_some_and(|it| it == EXTENSION) {
            found.push(path);
        }
    }
    found.sort();
    Ok(found)
}

/// The text of the file.
pub(super) fn text(checkpoint: &StoredCheckpoint, leaves: &[Leaf]) -> String {
    use std::fmt::Write as _;
    let mut text = String::from_utf8_lossy(&checkpoint.signed).into_owned();
    // Writing into text cannot fail.
    let seal = (hex::encode(&checkpoint.signature), hex::encode(&checkpoint.public_key));
    let _ = write!(text, "\n{} {}\n", seal.0, seal.1);
    for leaf in leaves {
        let _ = writeln!(text, "{leaf}");
    }
    text
}
