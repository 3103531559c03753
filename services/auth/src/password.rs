//! Passwords: the rules for a new one, its hash, and the check against a hash.

use std::sync::{
    Arc,
    atomic::{AtomicUsize, Ordering},
};

use argon2::{
    Algorithm, Argon2, Params, PasswordHash, PasswordHasher, PasswordVerifier, Version,
    password_hash,
};
use base64::{Engine, engine::general_purpose::STANDARD_NO_PAD};
use secrecy::{ExposeSecret, SecretString};
use tokio::sync::Semaphore;

/// The fewest characters a password may have. Length is what costs a guesser most; rules about
/// kinds of characters only make people write predictable ones.
pub const MIN_PASSWORD: usize = 12;

/// The most characters a password may have: room for any passphrase, and still a bound.
pub const MAX_PASSWORD: usize = 128;

/// A password that a guesser with lists of common passwords, words and keyboard patterns finds
/// within so many attempts is refused; a throttled sign-in lets through a hundred a day.
const TOO_FEW_GUESSES: u64 = 10_000_000;

const PARAMS: Params = match Params::new(19_456, 2, 1, None) {
    Ok(params) => params,
    Err(_) => panic!("the parameters are within argon2's bounds"),
};

const CHEAP: Params = match Params::new(64, 1, 1, None) {
    Ok(params) => params,
    Err(_) => panic!("the parameters are within argon2's bounds"),
};

/// Why a password could not be hashed or checked. A wrong password is not an error.
#[derive(Debug, thiserror::Error)]
pub enum HashError {
    /// The stored hash is not a PHC string with a salt and an output.
    #[error("the stored password hash cannot be read")]
    Stored,
    /// The computation itself failed: no memory, no randomness, an unknown algorithm.
    #[error("the password could not be hashed")]
    Failed(#[source] password_hash::Error),
    /// Too many are waiting already.
    #[error("too many passwords are waiting to be hashed")]
    Busy,
    /// The computation was dropped before it ended, as when the runtime shuts down.
    #[error("hashing was stopped before it ended")]
    Stopped,
}

/// Hashes passwords with argon2id, off the async threads and a bounded number at a time.
///
/// Each computation takes 19 MiB and a core for tens of milliseconds. Without the bound, a burst
/// of sign-ins would take all memory; with it, they queue. Clones share the bound.
#[derive(Clone)]
pub struct Hasher {
    shared: Arc<Shared>,
    permits: Arc<Semaphore>,
    waiting: Arc<AtomicUsize>,
}

/// Whoever waits behind so many others is better refused at once: at a hundred a second and more,
/// this is about half a second.
const MOST_WAITING: usize = 64;

struct Shared {
    argon2: Argon2<'static>,
    /// Stands in for the hash of a user who does not exist.
    dummy: String,
}

impl Hasher {
    /// A hasher with the parameters for service (m = 19 MiB, t = 2, p = 1), computing at most
    /// `permits` hashes at once: the number of cores, as more would only wait for each other.
    /// Zero counts as one, since a hasher that never answers serves nobody.
    pub fn new(permits: usize) -> Self {
        Self::with(PARAMS, permits)
    }

    /// A hasher that protects nothing (m = 64 KiB, t = 1), for tests that sign in often.
    pub fn cheap_for_tests() -> Self {
        Self::with(CHEAP, 4)
    }

    fn with(params: Params, permits: usize) -> Self {
        let dummy = dummy(&params);
        let argon2 = Argon2::new(Algorithm::Argon2id, Version::V0x13, params);
        let permits = permits.clamp(1, Semaphore::MAX_PERMITS);
        Self {
            shared: Arc::new(Shared { argon2, dummy }),
            permits: Arc::new(Semaphore::new(permits)),
            waiting: Arc::default(),
        }
    }

    /// The hash of a password under a new random salt, as a PHC string.
    pub async fn hash(&self, password: SecretString) -> Result<String, HashError> {
        self.run(move |shared| {
            shared
                .argon2
                .hash_password(password.expose_secret().as_bytes())
                .map(|hash| hash.to_string())
                .map_err(HashError::Failed)
        })
        .await
    }

    /// Whether the password belongs to the hash.
    ///
    /// `None` stands for a user who does not exist: the answer is always `false`, after the same
    /// work, so that the time of the answer does not tell which users exist. (A stored hash is
    /// checked with its own parameters; one made under others takes its own time.)
    pub async fn verify(
        &self,
        password: SecretString,
        hash: Option<String>,
    ) -> Result<bool, HashError> {
        self.run(move |shared| {
            let stored = hash.as_deref().unwrap_or(&shared.dummy);
            let matches = matches(&shared.argon2, &password, stored)?;
            Ok(matches && hash.is_some())
        })
        .await
    }

    async fn run<T: Send + 'static>(
        &self,
        work: impl FnOnce(&Shared) -> Result<T, HashError> + Send + 'static,
    ) -> Result<T, HashError> {
        let permit = {
            let _place = Place::take(&self.waiting)?;
            Arc::clone(&self.permits).acquire_owned().await.map_err(|_| HashError::Stopped)?
        };
        let shared = Arc::clone(&self.shared);
        tokio::task::spawn_blocking(move || {
            // Held by the work, not by the caller: one who hangs up does not stop the work, and
            // must not make room for more of it.
            let _permit = permit;
            work(&shared)
        })
        .await
        .map_err(|_| HashError::Stopped)?
    }
}

/// A place in the queue; dropped, also by a caller who hangs up, it is free again.
struct Place<'a>(&'a AtomicUsize);

impl<'a> Place<'a> {
    fn take(waiting: &'a AtomicUsize) -> Result<Self, HashError> {
        let place = Place(waiting);
        if waiting.fetch_add(1, Ordering::Relaxed) >= MOST_WAITING {
            return Err(HashError::Busy);
        }
        Ok(place)
    }
}

impl Drop for Place<'_> {
    fn drop(&mut self) {
        self.0.fetch_sub(1, Ordering::Relaxed);
    }
}

/// A PHC string that costs as much to check as a real one. It needs no computing: its output is
/// that of no known password, and what the check says of it is thrown away.
fn dummy(params: &Params) -> String {
    let salt = STANDARD_NO_PAD.encode([0; argon2::RECOMMENDED_SALT_LEN]);
    let output = STANDARD_NO_PAD.encode([0; Params::DEFAULT_OUTPUT_LEN]);
    let (m, t, p) = (params.m_cost(), params.t_cost(), params.p_cost());
    format!("$argon2id$v=19$m={m},t={t},p={p}${salt}${output}")
}

fn matches(argon2: &Argon2<'_>, password: &SecretString, stored: &str) -> Result<bool, HashError> {
    let stored = PasswordHash::new(stored).map_err(|_| HashError::Stored)?;
    if stored.salt.is_none() || stored.hash.is_none() {
        return Err(HashError::Stored);
    }
    match argon2.verify_password(password.expose_secret().as_bytes(), &stored) {
        Ok(()) => Ok(true),
        Err(password_hash::Error::PasswordInvalid) => Ok(false),
        Err(error) => Err(HashError::Failed(error)),
    }
}

/// Every reason why this cannot be a new password, at once, so that nobody has to try repeatedly;
/// empty when it can. Characters are counted, not bytes.
pub fn check_rules(password: &str) -> Vec<String> {
    let mut reasons = Vec::new();
    let length = password.chars().count();
    if length < MIN_PASSWORD {
        reasons.push(format!("must have at least {MIN_PASSWORD} characters"));
    }
    if length > MAX_PASSWORD {
        reasons.push(format!("must have at most {MAX_PASSWORD} characters"));
    }
    // Of a longer one the beginning says enough, and the estimate takes time by the length.
    let beginning: String = password.chars().take(MAX_PASSWORD).collect();
    if zxcvbn::zxcvbn(&beginning, &[]).guesses() < TOO_FEW_GUESSES {
        reasons.push("is guessed too easily: use several unrelated words".to_owned());
    }
    reasons
}

#[cfg(test)]
mod tests {
    use std::time::Duration;

    use super::*;

    fn secret(text: &str) -> SecretString {
        SecretString::from(text)
    }

    #[tokio::test]
    async fn a_password_matches_its_own_hash_only() {
        let hasher = Hasher::cheap_for_tests();
        let hash = hasher.hash(secret("a long enough one")).await.unwrap();
        assert!(hash.starts_with("$argon2id$v=19$m=64,t=1,p=1$"), "{hash}");
        assert!(hasher.verify(secret("a long enough one"), Some(hash.clone())).await.unwrap());
        assert!(!hasher.verify(secret("a long enough One"), Some(hash)).await.unwrap());
    }

    #[tokio::test]
    async fn hashes_of_one_password_differ() {
        let hasher = Hasher::cheap_for_tests();
        let first = hasher.hash(secret("a long enough one")).await.unwrap();
        assert_ne!(first, hasher.hash(secret("a long enough one")).await.unwrap());
    }

    #[tokio::test]
    async fn the_parameters_for_service_are_written_into_the_hash() {
        let hash = Hasher::new(1).hash(secret("a long enough one")).await.unwrap();
        assert!(hash.starts_with("$argon2id$v=19$m=19456,t=2,p=1$"), "{hash}");
    }

    #[tokio::test]
    async fn an_unknown_user_is_refused_without_error() {
        assert!(!Hasher::cheap_for_tests().verify(secret("anything"), None).await.unwrap());
    }

    #[tokio::test]
    async fn the_dummy_asks_for_the_same_work_as_a_real_hash() {
        for hasher in [Hasher::new(1), Hasher::cheap_for_tests()] {
            let real = hasher.hash(secret("a long enough one")).await.unwrap();
            let real = PasswordHash::new(&real).unwrap();
            let dummy = PasswordHash::new(&hasher.shared.dummy).unwrap();
            assert_eq!(real.algorithm, dummy.algorithm);
            assert_eq!(real.version, dummy.version);
            assert_eq!(real.params, dummy.params);
            assert_eq!(real.salt.unwrap().len(), dummy.salt.unwrap().len());
            assert_eq!(real.hash.unwrap().len(), dummy.hash.unwrap().len());
        }
    }

    #[tokio::test]
    async fn an_unreadable_stored_hash_is_an_error_not_a_refusal() {
        let hasher = Hasher::cheap_for_tests();
        for stored in ["", "plain text", "$argon2id$v=19$m=64,t=1,p=1"] {
            let answer = hasher.verify(secret("anything"), Some(stored.to_owned())).await;
            assert!(matches!(answer, Err(HashError::Stored)), "{stored}: {answer:?}");
        }
    }

    #[tokio::test]
    async fn work_waits_for_a_permit() {
        let hasher = Hasher::with(CHEAP, 1);
        let held = Arc::clone(&hasher.permits).acquire_owned().await.unwrap();
        let clone = hasher.clone();
        let mut work = tokio::spawn(async move { clone.hash(secret("a long enough one")).await });
        assert!(tokio::time::timeout(Duration::from_millis(50), &mut work).await.is_err());
        drop(held);
        work.await.unwrap().unwrap();
        assert_eq!(hasher.permits.available_permits(), 1);
    }

    #[tokio::test]
    async fn no_permits_counts_as_one() {
        Hasher::with(CHEAP, 0).hash(secret("a long enough one")).await.unwrap();
    }

    /// Characters that no guesser expects in this order, two bytes each.
    fn unexpected(length: usize) -> String {
        let letters = "éñþøßçåðæžšłěďťůœ".chars().cycle().step_by(5);
        letters.take(length).collect()
    }

    #[test]
    fn length_is_counted_in_characters_and_both_edges_are_allowed() {
        assert_eq!(check_rules(&unexpected(11)).len(), 1);
        assert!(check_rules(&unexpected(12)).is_empty());
        assert!(check_rules(&unexpected(128)).is_empty());
        assert_eq!(check_rules(&unexpected(129)).len(), 1);
    }

    #[test]
    fn what_is_guessed_first_is_refused_with_all_reasons() {
        for guessed in ["passwordpassword", "Qwertyuiop123", "1234567890123", "aaaaaaaaaaaa"] {
            assert_eq!(check_rules(guessed).len(), 1, "{guessed}");
        }
        assert_eq!(check_rules("Password123").len(), 2);
        assert!(check_rules("a long walk along the trench").is_empty());
    }

    #[tokio::test]
    async fn whoever_would_wait_too_long_is_told_so() {
        let hasher = Hasher::with(CHEAP, 1);
        let held = Arc::clone(&hasher.permits).acquire_owned().await.unwrap();
        let waiting = (0..MOST_WAITING).map(|_| {
            let hasher = hasher.clone();
            tokio::spawn(async move { hasher.hash(secret("a long enough one")).await })
        });
        let waiting: Vec<_> = waiting.collect();
        tokio::task::yield_now().await;
        while hasher.waiting.load(Ordering::Relaxed) < MOST_WAITING {
            tokio::task::yield_now().await;
        }
        let refused = hasher.hash(secret("a long enough one")).await;
        assert!(matches!(refused, Err(HashError::Busy)), "{refused:?}");
        drop(held);
        for one in waiting {
            one.await.unwrap().unwrap();
        }
        hasher.hash(secret("a long enough one")).await.unwrap();
    }
}
