//! Randomness, as an argument: tokens that nobody can guess and the short keys of pieces, passes and figures.

use std::sync::atomic::{AtomicU64, Ordering};
use std::sync::{Arc, Mutex, PoisonError};

use rand::TryRng as _;
use rand::rngs::SysRng;
use sha2::{Digest as _, Sha256};

/// Letters and digits of keys: no `i`, `l`, `o`, `u`, which are misread or spell words. 32 of them: 5 bits each.
const LETTERS: &[u8; 32] = b"0123456789abcdefghjkmnpqrstvwxyz";

/// Characters of a key: 60 bits.
const KEY_LENGTH: usize = 12;

/// Gives random bytes. Cheap to clone.
#[derive(Clone, Debug)]
pub struct Chance {
    source: Source,
    /// Drawn when it is first needed, and gone with the process.
    secret: Arc<Mutex<Option<[u8; 32]>>>,
}

#[derive(Clone, Debug)]
enum Source {
    System,
    Seeded(u64, Arc<AtomicU64>),
}

/// The operating system gave no random bytes.
#[derive(Debug, thiserror::Error)]
#[error("the operating system gave no random bytes: {0}")]
pub struct NoChance(String);

/// 256 random bits as 64 hexadecimal digits: shown once, kept only as a hash.
#[derive(Clone, PartialEq, Eq)]
pub struct Token(String);

impl Token {
    fn of(bytes: [u8; 32]) -> Self {
        Self(bytes.iter().map(|b| format!("{b:02x}")).collect())
    }

    /// What the bearer shows.
    pub fn as_str(&self) -> &str {
        &self.0
    }

    /// What the store keeps.
    pub fn hash(&self) -> [u8; 32] {
        token_hash(&self.0)
    }
}

impl std::fmt::Debug for Token {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str("Token(hidden)")
    }
}

/// SHA-256 of a token as its bearer shows it: under this it is looked up.
pub fn token_hash(shown: &str) -> [u8; 32] {
    Sha256::digest(shown.as_bytes()).into()
}

impl Chance {
    /// The operating system's generator.
    pub fn system() -> Self {
        Self { source: Source::System, secret: Arc::default() }
    }

    /// The same bytes on every run, for the demo and for tests. Never for a real team's tokens.
    pub fn seeded(seed: u64) -> Self {
        Self { source: Source::Seeded(seed, Arc::new(AtomicU64::new(0))), secret: Arc::default() }
    }

    /// 32 random bytes.
    pub fn bytes(&self) -> Result<[u8; 32], NoChance> {
        match &self.source {
            Source::System => {
                let mut out = [0; 32];
                SysRng.try_fill_bytes(&mut out).map_err(|e| NoChance(e.to_string()))?;
                Ok(out)
            }
            Source::Seeded(seed, drawn) => {
                let n = drawn.fetch_add(1, Ordering::SeqCst);
                let mut hash = Sha256::new();
                hash.update(seed.to_be_bytes());
                hash.update(n.to_be_bytes());
                Ok(hash.finalize().into())
            }
        }
    }

    /// A token of 256 bits.
    pub fn token(&self) -> Result<Token, NoChance> {
        Ok(Token::of(self.bytes()?))
    }

    /// A token that is the same for the same request as long as the process runs, so that a second try is told what
    /// the first was, and nobody else can guess it. The inner hash has a fixed length: nothing can be added to it.
    pub fn token_for(&self, request: &str) -> Result<Token, NoChance> {
        let mut secret = self.secret.lock().unwrap_or_else(PoisonError::into_inner);
        let secret = match *secret {
            Some(drawn) => drawn,
            None => *secret.insert(self.bytes()?),
        };
        Ok(Token::of(Sha256::digest([secret, token_hash(request)].concat()).into()))
    }

    /// A key for an address: 12 characters, 60 bits.
    pub fn key(&self) -> Result<String, NoChance> {
        let bytes = self.bytes()?;
        Ok(bytes.iter().take(KEY_LENGTH).map(|b| char::from(LETTERS[usize::from(b & 31)])).collect())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn seeded_chance_repeats_and_does_not_stand_still() {
        let (a, b) = (Chance::seeded(7), Chance::seeded(7));
        let first = a.key().unwrap();
        assert_eq!(first, b.key().unwrap());
        assert_ne!(first, a.key().unwrap());
        assert_ne!(first, Chance::seeded(8).key().unwrap());
    }

    #[test]
    fn system_tokens_differ_and_do_not_show_in_debug_output() {
        let chance = Chance::system();
        let (a, b) = (chance.token().unwrap(), chance.token().unwrap());
        assert_ne!(a, b);
        assert_eq!(a.as_str().len(), 64);
        assert_eq!(a.hash(), token_hash(a.as_str()));
        assert!(!format!("{a:?}").contains(a.as_str()));
    }

    #[test]
    fn a_request_has_one_token_in_this_process_and_another_one_has_another() {
        let chance = Chance::system();
        let first = chance.token_for("person 1 /people/keys k").unwrap();
        assert_eq!(first, chance.clone().token_for("person 1 /people/keys k").unwrap());
        assert_ne!(first, chance.token_for("person 2 /people/keys k").unwrap());
        assert_ne!(first, Chance::system().token_for("person 1 /people/keys k").unwrap());
        assert_eq!(first.as_str().len(), 64);
    }

    #[test]
    fn keys_use_only_the_letters_that_are_not_misread() {
        let chance = Chance::seeded(1);
        for _ in 0..50 {
            let key = chance.key().unwrap();
            assert_eq!(key.len(), KEY_LENGTH);
            assert!(key.bytes().all(|b| LETTERS.contains(&b)), "{key}");
        }
    }
}
