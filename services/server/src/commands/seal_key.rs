//! `jointward seal-key`.

use anyhow::bail;

use crate::{
    cli::{Place, SealArgs},
    seal_key, terminal,
};

/// Makes the key that seals where there is none, and prints the public one.
pub fn run(place: &Place, args: &SealArgs) -> anyhow::Result<()> {
    let Some(path) = seal_key::path(place, args)? else {
        bail!("name a file for the key by --seal-key")
    };
    let made = seal_key::make_missing(&path)?;
    let public = seal_key::read(&path)?.public();
    let what = if made { "A new key was made in" } else { "The key is in" };
    terminal::show(&format!(
        "{what} {}.\nHand the public key to those who will check, by another way than this \
         server:\n\n{}\nIts fingerprint: {}\n",
        path.display(),
        public.to_pem(),
        public.fingerprint(),
    ))
}
