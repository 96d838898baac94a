//! Passwords: what may be one, and hashing them without letting guessers take all memory.
//!
//! Argon2id, RFC 9106. Which passwords are refused follows NIST SP 800-63B-4 (2025), section 3.1.1.2: a length and a
//! list of common ones, no rules of composition.

use std::sync::{Arc, OnceLock};

use argon2::{Algorithm, Argon2, Params, PasswordHasher as _, PasswordVerifier as _, Version};
use tokio::sync::{OwnedSemaphorePermit, Semaphore};

use super::{Internal, Result};
use crate::chance::Chance;
use crate::config::PasswordCost;

/// Characters of a password.
const LENGTH: std::ops::RangeInclusive<usize> = 8..=128;
/// Hashes at once: each takes 64 MiB and a core for a sixth of a second.
const AT_ONCE: usize = 2;
/// Common ones of at least 8 characters, in lower case.
const COMMON: &str = include_str!("common_passwords.txt");

/// Hashes and checks passwords. Cheap to clone.
#[derive(Clone, Debug)]
pub struct Passwords {
    cost: PasswordCost,
    room: Arc<Semaphore>,
    /// Hash of a password that nobody has: checked for unknown names, so that they take as long as known ones.
    nobodys: Arc<OnceLock<String>>,
}

/// The right to hash or check one password now.
#[derive(Debug)]
pub struct Turn {
    passwords: Passwords,
    _place: OwnedSemaphorePermit,
}

/// Why a password is not taken, in a sentence with its mend; none when it is fine.
pub fn wrong_with(password: &str, name: &str) -> Option<String> {
    let length = password.chars().count();
    if !LENGTH.contains(&length) {
        return Some(format!(
            "A password has {} to {} characters; this one has {length}.",
            LENGTH.start(),
            LENGTH.end()
        ));
    }
    let lower = password.to_lowercase();
    let all_one = lower.chars().all(|c| lower.starts_with(c));
    let named = !name.trim().is_empty() && lower == name.trim().to_lowercase();
    if all_one || named || COMMON.lines().any(|common| common == lower) {
        return Some(
            "Others guess this password first; take a longer one, such as four unrelated words.".to_owned(),
        );
    }
    None
}

impl Passwords {
    /// With this cost.
    pub fn new(cost: PasswordCost) -> Self {
        Self { cost, room: Arc::new(Semaphore::new(AT_ONCE)), nobodys: Arc::default() }
    }

    /// Waits for a turn.
    ///
    /// # Errors
    /// Never: the queue is not closed.
    pub async fn turn(&self) -> Result<Turn> {
        let place = self.room.clone().acquire_owned().await.map_err(|e| Internal(e.to_string()))?;
        Ok(Turn { passwords: self.clone(), _place: place })
    }

    fn argon2(&self) -> Result<Argon2<'static>> {
        let PasswordCost { memory_kib, rounds, lanes } = self.cost;
        let params = Params::new(memory_kib, rounds, lanes, None).map_err(|e| Internal(e.to_string()))?;
        Ok(Argon2::new(Algorithm::Argon2id, Version::V0x13, params))
    }

    fn hash(&self, password: &str, salt: &[u8]) -> Result<String> {
        let hash = self.argon2()?.hash_password_with_salt(password.as_bytes(), salt);
        Ok(hash.map_err(|e| Internal(e.to_string()))?.to_string())
    }

    fn nobodys(&self) -> Result<String> {
        if let Some(hash) = self.nobodys.get() {
            return Ok(hash.clone());
        }
        let hash = self.hash("", &[0; 16])?;
        Ok(self.nobodys.get_or_init(|| hash).clone())
    }
}

impl Turn {
    /// PHC string of a new password.
    ///
    /// # Errors
    /// When there is no randomness or no memory.
    pub async fn hash(&self, password: String, chance: &Chance) -> Result<String> {
        let (passwords, salt) = (self.passwords.clone(), chance.bytes()?);
        blocking(move || passwords.hash(&password, &salt[..16])).await
    }

    /// Whether the password goes with the hash; without a hash, no, after the same work.
    ///
    /// # Errors
    /// When there is no memory.
    pub async fn check(&self, password: String, hash: Option<String>) -> Result<bool> {
        let passwords = self.passwords.clone();
        blocking(move || {
            let known = hash.is_some();
            let hash = hash.map_or_else(|| passwords.nobodys(), Ok)?;
            let fits = passwords.argon2()?.verify_password(password.as_bytes(), hash.as_str()).is_ok();
            Ok(fits && known)
        })
        .await
    }
}

async fn blocking<T: Send + 'static>(work: impl FnOnce() -> Result<T> + Send + 'static) -> Result<T> {
    tokio::task::spawn_blocking(work).await.map_err(|e| Internal(e.to_string()))?
}

#[cfg(test)]
mod tests {
    use super::*;

    const CHEAP: PasswordCost = PasswordCost { memory_kib: 32, rounds: 1, lanes: 1 };

    #[tokio::test]
    async fn a_password_goes_with_its_own_hash_only() {
        let passwords = Passwords::new(CHEAP);
        let turn = passwords.turn().await.unwrap();
        let hash = turn.hash("seven lamps under".to_owned(), &Chance::seeded(1)).await.unwrap();
        assert!(hash.starts_with("$argon2id$v=19$m=32,t=1,p=1$"), "{hash}");
        assert!(turn.check("seven lamps under".to_owned(), Some(hash.clone())).await.unwrap());
        assert!(!turn.check("seven lamps".to_owned(), Some(hash)).await.unwrap());
        assert!(!turn.check(String::new(), None).await.unwrap());
    }

    /// RFC 9106, section 5.3: test vector of Argon2id (with its secret and associated data).
    #[test]
    fn argon2id_gives_the_published_tag() {
        let mut builder = argon2::ParamsBuilder::new();
        builder.m_cost(32).t_cost(3).p_cost(4).output_len(32);
        builder.data(argon2::AssociatedData::new(&[4; 12]).unwrap());
        let params = builder.build().unwrap();
        let secret = [3; 8];
        let argon2 = Argon2::new_with_secret(&secret, Algorithm::Argon2id, Version::V0x13, params).unwrap();
        let mut tag = [0; 32];
        argon2.hash_password_into(&[1; 32], &[2; 16], &mut tag).unwrap();
        let hex: String = tag.iter().map(|b| format!("{b:02x}")).collect();
        assert_eq!(hex, "0d640df58d78766c08c037a34a8b53c9d01ef0452d75b65eb52520e96b01e659");
    }

    #[test]
    fn short_long_and_common_ones_are_refused_with_a_mend() {
        for wrong in ["", "seven77", "password1", "PASSWORD1", "zzzzzzzz", "maren oake"] {
            assert!(wrong_with(wrong, "Maren Oake").is_some(), "{wrong}");
        }
        assert!(wrong_with(&"ab".repeat(65), "x").is_some());
        for fine in ["éàüößñçø", "seven lamps under", &"ab".repeat(64)] {
            assert_eq!(wrong_with(fine, "Maren Oake"), None, "{fine}");
        }
    }

    #[test]
    fn the_list_is_of_lower_case_words_that_the_length_lets_through() {
        for common in COMMON.lines() {
            assert!(common.len() >= *LENGTH.start() && common == common.to_lowercase(), "{common}");
        }
        assert!(COMMON.lines().count() > 100);
    }
}
