//! Bulletins: one message to a person.

use chrono::{DateTime, Utc};
use ring::digest::{Context, SHA256};
use std::fmt;

/// Names a bulletin for good, so that a receiver can drop repeats.
///
/// It is derived from what the bulletin is about, never drawn at random: a process that decides
/// the same again after a crash writes the same bulletin, not a second one.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct BulletinId(String);

/// One message to a person about one brief.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Bulletin {
    pub id: BulletinId,
    pub brief: String,
    pub at: DateTime<Utc>,
    /// One line.
    pub subject: String,
    /// Plain text of several lines.
    pub text: String,
    /// The same for programs.
    pub data: serde_json::Value,
}

impl BulletinId {
    /// The id of what is said at `at` about an answer to a brief: 32 hexadecimal digits.
    pub fn derive(brief: &str, answer: &str, at: DateTime<Utc>) -> BulletinId {
        let mut context = Context::new(&SHA256);
        // Lengths keep ("ab", "c") and ("a", "bc") apart.
        for text in [brief, answer, &at.timestamp_millis().to_string()] {
            context.update(&(text.len() as u64).to_be_bytes());
            context.update(text.as_bytes());
        }
        let digest = context.finish();
        let bytes = &digest.as_ref()[..16];
        BulletinId(bytes.iter().map(|byte| format!("{byte:02x}")).collect())
    }

    /// An id as it was derived before and stored.
    pub fn from_stored(id: impl Into<String>) -> BulletinId {
        BulletinId(id.into())
    }

    pub fn as_str(&self) -> &str {
        &self.0
    }
}

impl fmt::Display for BulletinId {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(&self.0)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_id_depends_on_brief_answer_and_instant_alone() {
        let at = DateTime::UNIX_EPOCH;
        let id = BulletinId::derive("media room", "{}", at);
        assert_eq!(BulletinId::derive("media room", "{}", at), id);
        assert_eq!(id.as_str().len(), 32);
        let later = at + chrono::TimeDelta::milliseconds(1);
        for other in [
            BulletinId::derive("media room", "{}", later),
            BulletinId::derive("media room", "[]", at),
            BulletinId::derive("media roo", "m{}", at),
        ] {
            assert_ne!(other, id);
        }
    }

    #[test]
    fn an_id_begins_a_sha_256_digest() {
        // Computed apart from this code, with coreutils sha256sum, over the lengths as eight
        // big-endian bytes and the texts: "a", "b", "0".
        let id = BulletinId::derive("a", "b", DateTime::UNIX_EPOCH);
        assert_eq!(id.as_str(), "c1f6dce84c98d7115ae7a485b2a01237");
    }
}
