//! Secrets that are shown once and kept only as a hash: tokens for programs, codes for people.

use base64::{Engine, engine::general_purpose::URL_SAFE_NO_PAD};
use sha2::{Digest, Sha256};

/// Crockford's base 32: digits and capitals without I, L, O (read as digits) and U. Having 32, it
/// takes five bits of a random byte evenly.
const ALPHABET: &[u8; 32] = b"0123456789ABCDEFGHJKMNPQRSTVWXYZ";
const GROUP: usize = 5;
const GROUPS: usize = 4;

/// A secret for programs: 32 random bytes in base64url without padding, 43 characters.
///
/// # Panics
///
/// When the system gives no randomness: a secret that can be guessed is worse than none.
pub fn random_token() -> String {
    URL_SAFE_NO_PAD.encode(random::<32>())
}

/// What is stored of a token. Plain SHA-256 is enough: the tokens here carry 100 bits or more of
/// randomness, which no dictionary shortens, and an exact hash can be looked up by an index.
pub fn hash_token(token: &str) -> [u8; 32] {
    Sha256::digest(token.as_bytes()).into()
}

/// A secret for people to copy by hand, such as `7K2QD-0V9XA-M3HTE-R5WBN`: 100 random bits.
///
/// # Panics
///
/// When the system gives no randomness: a secret that can be guessed is worse than none.
pub fn one_time_code() -> String {
    let characters =
        random::<{ GROUP * GROUPS }>().map(|byte| char::from(ALPHABET[usize::from(byte & 31)]));
    grouped(characters.into_iter())
}

/// A code as [`one_time_code`] writes it, from what somebody typed: case, spaces and dashes do
/// not matter, and O, I and L are taken for the digits they were read from. Any other character
/// stays, so that a wrong code stays wrong.
pub fn normalise_code(typed: &str) -> String {
    grouped(
        typed
            .chars()
            .filter(|character| !character.is_whitespace() && !"-–—".contains(*character))
            .map(|character| match character.to_ascii_uppercase() {
                'O' => '0',
                'I' | 'L' => '1',
                other => other,
            }),
    )
}

fn grouped(characters: impl Iterator<Item = char>) -> String {
    let mut code = String::with_capacity(GROUPS * (GROUP + 1));
    for (index, character) in characters.enumerate() {
        if index > 0 && index.is_multiple_of(GROUP) {
            code.push('-');
        }
        code.push(character);
    }
    code
}

fn random<const N: usize>() -> [u8; N] {
    let mut bytes = [0; N];
    if let Err(error) = getrandom::fill(&mut bytes) {
        panic!("the system gives no randomness: {error}");
    }
    bytes
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn tokens_are_32_bytes_and_differ() {
        let token = random_token();
        assert_eq!(token.len(), 43);
        assert_eq!(URL_SAFE_NO_PAD.decode(&token).unwrap().len(), 32);
        assert_ne!(token, random_token());
    }

    #[test]
    fn the_hash_is_sha_256() {
        // The one-block example "abc" of FIPS 180.
        assert_eq!(
            hex::encode(hash_token("abc")),
            "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
        );
    }

    #[test]
    fn codes_are_four_groups_of_five_from_the_alphabet() {
        for _ in 0..200 {
            let code = one_time_code();
            let groups: Vec<_> = code.split('-').collect();
            assert_eq!(groups.len(), 4, "{code}");
            for group in groups {
                assert_eq!(group.len(), 5, "{code}");
                assert!(group.bytes().all(|byte| ALPHABET.contains(&byte)), "{code}");
            }
        }
        assert_ne!(one_time_code(), one_time_code());
    }

    #[test]
    fn a_code_is_its_own_normal_form() {
        let code = one_time_code();
        assert_eq!(normalise_code(&code), code);
    }

    #[test]
    fn typing_habits_do_not_matter() {
        let code = "7K2QD-0V9XA-M3HTE-R1WBN";
        for typed in [
            "7k2qd-0v9xa-m3hte-r1wbn",
            " 7K2QD 0V9XA M3HTE R1WBN\n",
            "7K2QDOV9XAM3HTERLWBN",
            "7K2QD–oV9XA–M3HTE–RiWBN",
        ] {
            assert_eq!(normalise_code(typed), code, "{typed}");
        }
    }

    #[test]
    fn other_characters_stay_and_nothing_is_nothing() {
        assert_ne!(normalise_code("7K2QD-0V9XA-M3HTE-R1WBN!"), "7K2QD-0V9XA-M3HTE-R1WBN");
        assert_eq!(normalise_code(" - "), "");
    }
}
