//! The password of the page: never kept, only an Argon2id hash of it in the settings
//! (RFC 9106; written as a PHC string).

use argon2::password_hash::phc::{self, Output};
use argon2::password_hash::{PasswordHasher as _, PasswordVerifier as _};
use argon2::{Argon2, Params};

/// A shorter one is guessed. NIST SP 800-63B-4 asks for 15 where a password is the only factor (from
/// memory).
pub const SHORTEST: usize = 15;
/// Nobody types more; more would only keep the machine busy.
pub const LONGEST_BYTES: usize = 1024;

/// Memory that checking takes, in KiB. Less is cheap to guess at: the least of the settings in OWASP's
/// Password Storage Cheat Sheet (from memory). More would keep the machine from its work.
const MEMORY: std::ops::RangeInclusive<u32> = 7168..=1_048_576;
/// Passes over the memory. More keeps a core busy for long.
const PASSES: std::ops::RangeInclusive<u32> = 1..=16;

/// A password's hash, as the settings have it.
#[derive(Clone, PartialEq, Eq)]
pub struct PasswordHash {
    text: String,
}

impl std::fmt::Debug for PasswordHash {
    fn fmt(&self, formatter: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        formatter.write_str("PasswordHash")
    }
}

/// Why something cannot be a password or a hash.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum PasswordFault {
    #[error("this is no Argon2id hash")]
    NoHash,
    #[error("this hash takes {memory} KiB and {passes} passes, which is too little or too much")]
    Cost { memory: u32, passes: u32 },
    #[error("a password has at least {SHORTEST} characters")]
    Short,
    #[error("a password has at most {LONGEST_BYTES} bytes")]
    Long,
    #[error("the password cannot be hashed: {0}")]
    Hash(String),
}

impl PasswordHash {
    /// Reads a hash.
    ///
    /// # Errors
    /// It is none, or one whose cost no honest hash has.
    pub fn parse(text: &str) -> Result<PasswordHash, PasswordFault> {
        let hash = phc::PasswordHash::new(text).map_err(|_| PasswordFault::NoHash)?;
        let is_whole = hash.salt.is_some() && hash.hash.as_ref().is_some_and(is_long);
        if hash.algorithm.as_str() != "argon2id" || !is_whole {
            return Err(PasswordFault::NoHash);
        }
        let params = Params::try_from(&hash).map_err(|_| PasswordFault::NoHash)?;
        let (memory, passes) = (params.m_cost(), params.t_cost());
        if !MEMORY.contains(&memory) || !PASSES.contains(&passes) {
            return Err(PasswordFault::Cost { memory, passes });
        }
        Ok(PasswordHash {
            text: text.to_owned(),
        })
    }

    /// Hashes a password, with a salt of its own, at the cost that the library holds for right: 19 MiB
    /// and two passes.
    ///
    /// # Errors
    /// The password is too short or too long.
    pub fn of(password: &str) -> Result<PasswordHash, PasswordFault> {
        if password.chars().count() < SHORTEST {
            return Err(PasswordFault::Short);
        }
        if password.len() > LONGEST_BYTES {
            return Err(PasswordFault::Long);
        }
        let hash = Argon2::default().hash_password(password.as_bytes());
        let hash = hash.map_err(|error| PasswordFault::Hash(error.to_string()))?;
        Ok(PasswordHash {
            text: hash.to_string(),
        })
    }

    /// Whether it is this one. Takes a moment and memory on purpose.
    pub fn is_of(&self, password: &str) -> bool {
        if password.len() > LONGEST_BYTES {
            return false;
        }
        let Ok(hash) = phc::PasswordHash::new(&self.text) else {
            return false;
        };
        let verified = Argon2::default().verify_password(password.as_bytes(), &hash);
        verified.is_ok()
    }

    pub fn as_str(&self) -> &str {
        &self.text
    }
}

/// RFC 9106, section 3.1: the tag; 16 bytes are the least that cannot be met by chance.
fn is_long(output: &Output) -> bool {
    output.as_bytes().len() >= 16
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_password_is_known_by_its_hash_and_no_other_is() {
        let password = "five blue benches by the weir";
        let hash = PasswordHash::of(password).unwrap();
        assert!(hash.as_str().starts_with("$argon2id$v=19$m=19456,t=2,p=1$"));
        assert_eq!(PasswordHash::parse(hash.as_str()), Ok(hash.clone()));
        assert!(hash.is_of(password));
        for other in ["", "five blue benches by the weiR", &"x".repeat(5000)] {
            assert!(!hash.is_of(other), "{other}");
        }
        // A salt of its own each time.
        assert_ne!(PasswordHash::of(password).unwrap(), hash);
        assert_eq!(format!("{hash:?}"), "PasswordHash");
    }

    #[test]
    fn what_another_program_hashed_is_known() {
        // argon2-cffi 25.1 (PyPI), PasswordHasher(time_cost=2, memory_cost=19456, parallelism=1)
        // with salt=b"sixteen bytes...": made by tests/reference/password.py.
        let hash = include_str!("../../tests/reference/password.txt").trim_end();
        let hash = PasswordHash::parse(hash).unwrap();
        assert!(hash.is_of("five blue benches by the weir"));
        assert!(!hash.is_of("five blue benches by the wei"));
    }

    #[test]
    fn what_is_no_hash_or_a_cheap_one_is_refused() {
        let tag = "dGhpcnR5LXR3byBieXRlcyBvZiBhIGhhc2ggLi4uLi4";
        let salt = "c29tZXNhbHRzb21lc2FsdA";
        let whole = |head: &str| format!("{head}${salt}${tag}");
        assert!(PasswordHash::parse(&whole("$argon2id$v=19$m=19456,t=2,p=1")).is_ok());
        for none in [
            String::new(),
            "five blue benches by the weir".to_owned(),
            whole("$argon2i$v=19$m=19456,t=2,p=1"),
            whole("$scrypt$ln=17,r=8,p=1"),
            format!("$argon2id$v=19$m=19456,t=2,p=1${salt}"),
            format!("$argon2id$v=19$m=19456,t=2,p=1${salt}$dGhpcnR5"),
        ] {
            assert_eq!(
                PasswordHash::parse(&none),
                Err(PasswordFault::NoHash),
                "{none}"
            );
        }
        for cost in ["m=64,t=2,p=1", "m=4194304,t=2,p=1", "m=19456,t=500,p=1"] {
            let parsed = PasswordHash::parse(&whole(&format!("$argon2id$v=19${cost}")));
            assert!(matches!(parsed, Err(PasswordFault::Cost { .. })), "{cost}");
        }
        assert_eq!(
            PasswordHash::of("fourteen chars"),
            Err(PasswordFault::Short)
        );
        assert_eq!(
            PasswordHash::of(&"x".repeat(2000)),
            Err(PasswordFault::Long)
        );
    }
}
