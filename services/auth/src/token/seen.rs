//! Tokens whose signature was checked before.

use std::{
    collections::HashMap,
    sync::{Mutex, MutexGuard, PoisonError},
};

use sha2::{Digest, Sha256};
use uuid::Uuid;

/// More tokens than are in use at a time; one takes some hundred bytes.
const MOST: usize = 4096;

/// A token's SHA-256: the tokens themselves lie nowhere.
pub(super) type Name = [u8; 32];

/// The name of `token`. Whoever finds another token of the same name could pass for its holder;
/// that is as hard as to break the signature.
pub(super) fn name(token: &str) -> Name {
    Sha256::digest(token).into()
}

/// What a token says, its time not looked at yet.
#[derive(Debug, Clone, Copy)]
pub(super) struct Said {
    pub user: Uuid,
    pub session: Uuid,
    /// Seconds since 1970.
    pub not_before: Option<i64>,
    /// Seconds since 1970.
    pub ends: i64,
}

/// What genuine tokens say. It belongs to the keys that checked them and goes when they go, so
/// that a key that is withdrawn takes its tokens with it.
#[derive(Default)]
pub(super) struct Seen(Mutex<HashMap<Name, Said>>);

impl Seen {
    pub fn get(&self, name: &Name) -> Option<Said> {
        self.lock().get(name).copied()
    }

    pub fn keep(&self, name: Name, said: Said) {
        let mut seen = self.lock();
        // To check some again is simpler than to know which is oldest.
        if seen.len() >= MOST {
            seen.clear();
        }
        seen.insert(name, said);
    }

    fn lock(&self) -> MutexGuard<'_, HashMap<Name, Said>> {
        self.0.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn there_are_never_too_many() {
        let seen = Seen::default();
        let said = Said { user: Uuid::nil(), session: Uuid::nil(), not_before: None, ends: 0 };
        for number in 0..2 * MOST {
            seen.keep(name(&number.to_string()), said);
            assert!(seen.lock().len() <= MOST);
        }
        assert!(seen.get(&name("8191")).is_some());
        assert!(seen.get(&name("no token")).is_none());
    }
}
