//! Copies of a whole project that can be kept and checked without this server.
//!
//! A copy is a directory of plain text (or the same in one archive): every record in the very bytes
//! that were hashed, the checkpoints with the public key, and a manifest that names the hash of
//! every file and is signed with the key that seals. [`verify_bundle`] needs neither a database nor
//! a server. What it can prove is said in [`domain::seal`]; what was recorded after the last
//! checkpoint is bound by the signature of the manifest alone.

mod archive;
mod ask;
mod bundle;
mod check;
mod joints_csv;
mod manifest;
mod output;
mod readme;
mod run;

pub use archive::{pack, unpack};
pub(crate) use ask::KEPT as EXPORT_KEPT;
pub use ask::{ask, download, show};
pub use bundle::{Copied, write};
pub use check::verify_bundle;
pub use manifest::{Listed, Manifest};
pub use run::run;

/// Bytes of a stored part of an archive; the last one may be shorter.
const PART: usize = 1024 * 1024;

const MANIFEST: &str = "manifest.json";
const MANIFEST_HASH: &str = "manifest.json.sha256";
const MANIFEST_SIGNATURE: &str = "manifest.json.sig";
const SUMS: &str = "SHA256SUMS";
const JOINTS: &str = "joints.csv";
const FACTS: &str = "facts.jsonl";
const CHECKPOINTS: &str = "checkpoints.jsonl";
const LEAVES: &str = "checkpoint-leaves.txt";
const PUBLIC_KEY: &str = "public-key.pem";
const README: &str = "README.txt";

/// The directory for a copy, or the file for an archive, cannot be used right now.
fn not_written(error: &std::io::Error) -> crate::AppError {
    crate::AppError::Unavailable { detail: format!("the files of a copy: {error}") }
}
