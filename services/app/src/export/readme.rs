//! What stands in a copy for whoever opens it years from now.

use super::{Listed, Manifest};

/// The text of `README.txt`. It is listed in the manifest, so it cannot name it.
pub(super) fn text(code: &str, name: &str, exported_at: &str, key: &str) -> String {
    format!(
        "A copy of the project {code}, {name}, as it was on {exported_at}.\n{TEXT}\n\
         The fingerprint of the key that signed this copy (SHA-256 of the public key as\n\
         SubjectPublicKeyInfo). Compare it with what you were told by another way:\n{key}\n"
    )
}

const TEXT: &str = r#"
What is in it

joints.csv               the joints, with the number and the hash of their newest record
facts.jsonl              everything that was recorded, one record a line, in the order of joints
                         and of their chains: exactly the bytes that were hashed
releases.jsonl           releases for backfill, each with its signature and certificate
nonconformances.jsonl    nonconformances, each with its entries and concessions
stock-movements.jsonl    movements of stock
setup.jsonl              the set-up as it is; setup-history.jsonl: every version of it
weather-readings.jsonl   readings of the weather; weather-outlooks.jsonl: forecasts
people.jsonl             names of those whose ids stand in the other files
checkpoints.jsonl        what was sealed: the text that was signed, signature, public key
checkpoint-leaves.txt    number of the checkpoint, joint, number of records, newest hash;
                         a joint that has rested is not repeated
manifest.json            name, size, number of records and SHA-256 of every file

All text is UTF-8. Times are UTC. Text in joints.csv that a spreadsheet would take for a formula
has an apostrophe before it.

How to check it with the program:

    jointward verify --bundle DIRECTORY --key PUBLIC-KEY-FROM-ELSEWHERE

How to check it by hand, with the usual tools:

1. The files are the ones that the manifest lists, and the manifest is the one that was signed:
       sha256sum -c SHA256SUMS
       sha256sum -c manifest.json.sha256
       openssl pkeyutl -verify -pubin -inkey public-key.pem -rawin \
           -in manifest.json -sigfile manifest.json.sig
2. A record is the one that the next record of its joint names in "previous"; the newest one is the
   one that joints.csv names in chain_head:
       sed -n 1p facts.jsonl | tr -d '\n' | sha256sum
3. A checkpoint is signed:
       sed -n 1p checkpoints.jsonl | jq -j .signed > signed
       sed -n 1p checkpoints.jsonl | jq -r .signature | xxd -r -p > signature
       openssl pkeyutl -verify -pubin -inkey public-key.pem -rawin -in signed -sigfile signature
   Its "root" is the Merkle tree hash (RFC 9162, section 2.1.1) over one leaf for each joint, in
   the order of their ids: "<joint> <number of records> <newest hash>". The hash of a leaf is
       printf '\0%s' "$leaf" | sha256sum

What it proves and what not

It proves that nothing in this copy was changed since it was signed, and that the records which a
checkpoint covers are those that were there on that day, as far as the key was kept safe. It does
not prove that a reading was true, nor that a record was not replaced before the first checkpoint
that covers it.
"#;

/// The sums as `sha256sum -c` reads them.
pub(super) fn sums(manifest: &Manifest) -> String {
    let line = |it: &Listed| format!("{}  {}", it.sha256, it.name);
    let lines: Vec<String> = manifest.files.iter().map(line).collect();
    lines.join("\n") + "\n"
}
