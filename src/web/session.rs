//! Who is signed in, and which forms are ours.
//!
//! A session is a random word in a cookie; only its digest is kept, in memory, so that everybody signs
//! in again when the daemon starts anew. A form carries a word that is bound to the session (OWASP CSRF
//! Prevention Cheat Sheet, "Employing HMAC CSRF Tokens"); a page of somebody else cannot read it.

use super::password::PasswordHash;
use base64::Engine as _;
use base64::engine::general_purpose::URL_SAFE_NO_PAD;
use ring::digest::{SHA256, digest};
use ring::hmac::{self, HMAC_SHA256, Key};
use ring::rand::{SecureRandom as _, SystemRandom};
use std::collections::BTreeMap;
use std::sync::{Mutex, MutexGuard, PoisonError};
use std::time::{Duration, Instant};

/// So long somebody stays signed in.
pub const LIFETIME: Duration = Duration::from_secs(14 * 24 * 60 * 60);
/// So many are signed in at once; the one that ends first makes room.
const SESSIONS: usize = 64;

pub struct Sessions {
    random: SystemRandom,
    key: Key,
    /// When each ends, by the digest of its word.
    open: Mutex<BTreeMap<Vec<u8>, Instant>>,
    /// The password that a program gave last and that was right, under the key, with its hash: checking
    /// it anew at each request would take longer than the answer.
    right: Mutex<Option<(PasswordHash, Vec<u8>)>>,
}

/// The system has no randomness to give.
#[derive(Debug, thiserror::Error)]
#[error("the system gives no random bytes")]
pub struct NoRandomness;

fn locked<T>(mutex: &Mutex<T>) -> MutexGuard<'_, T> {
    mutex.lock().unwrap_or_else(PoisonError::into_inner)
}

impl Sessions {
    /// # Errors
    /// Without randomness there are none.
    pub fn new() -> Result<Sessions, NoRandomness> {
        let random = SystemRandom::new();
        let key = Key::generate(HMAC_SHA256, &random).map_err(|_| NoRandomness)?;
        Ok(Sessions {
            random,
            key,
            open: Mutex::default(),
            right: Mutex::default(),
        })
    }

    /// The word of a new session.
    ///
    /// # Errors
    /// Without randomness there is none.
    pub fn open(&self, now: Instant) -> Result<String, NoRandomness> {
        let mut bytes = [0; 32];
        self.random.fill(&mut bytes).map_err(|_| NoRandomness)?;
        let word = URL_SAFE_NO_PAD.encode(bytes);
        let mut open = locked(&self.open);
        open.retain(|_, ends| *ends > now);
        while open.len() >= SESSIONS {
            let first = open.iter().min_by_key(|(_, ends)| **ends);
            let Some(first) = first.map(|(word, _)| word.clone()) else {
                break;
            };
            open.remove(&first);
        }
        open.insert(digest_of(&word), now + LIFETIME);
        Ok(word)
    }

    pub fn is_open(&self, word: &str, now: Instant) -> bool {
        let open = locked(&self.open);
        open.get(&digest_of(word)).is_some_and(|ends| *ends > now)
    }

    pub fn close(&self, word: &str) {
        locked(&self.open).remove(&digest_of(word));
    }

    /// Signs everybody out.
    pub fn close_all(&self) {
        locked(&self.open).clear();
        *locked(&self.right) = None;
    }

    /// The word that a form carries for whoever signed in; where nobody does, all have the same.
    pub fn form_word(&self, session: Option<&str>) -> String {
        URL_SAFE_NO_PAD.encode(hmac::sign(&self.key, &form(session)))
    }

    /// Whether a form carries the word of whoever signed in. Takes the same time whatever is wrong.
    pub fn is_form_word(&self, word: &str, session: Option<&str>) -> bool {
        let Ok(tag) = URL_SAFE_NO_PAD.decode(word) else {
            return false;
        };
        hmac::verify(&self.key, &form(session), &tag).is_ok()
    }

    /// Whether this password was found right before.
    pub fn is_known_right(&self, hash: &PasswordHash, password: &str) -> bool {
        let right = locked(&self.right);
        right.as_ref().is_some_and(|(known, tag)| {
            known == hash && hmac::verify(&self.key, &given(password), tag).is_ok()
        })
    }

    pub fn found_right(&self, hash: &PasswordHash, password: &str) {
        let tag = hmac::sign(&self.key, &given(password));
        *locked(&self.right) = Some((hash.clone(), tag.as_ref().to_vec()));
    }
}

fn digest_of(word: &str) -> Vec<u8> {
    digest(&SHA256, word.as_bytes()).as_ref().to_vec()
}

/// What is signed differs by purpose, so that no tag serves another.
fn form(session: Option<&str>) -> Vec<u8> {
    [b"form\0", session.unwrap_or("").as_bytes()].concat()
}

fn given(password: &str) -> Vec<u8> {
    [b"password\0", password.as_bytes()].concat()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_session_ends_by_itself_and_when_it_is_closed() {
        let sessions = Sessions::new().unwrap();
        let now = Instant::now();
        let (one, other) = (sessions.open(now).unwrap(), sessions.open(now).unwrap());
        assert_ne!(one, other);
        // 32 random bytes: RFC 4648, section 5, without padding.
        assert_eq!(one.len(), 43);
        assert!(sessions.is_open(&one, now) && sessions.is_open(&other, now));
        assert!(!sessions.is_open("", now) && !sessions.is_open(&one[1..], now));
        sessions.close(&one);
        assert!(!sessions.is_open(&one, now));
        assert!(!sessions.is_open(&other, now + LIFETIME));
        sessions.close_all();
        assert!(!sessions.is_open(&other, now));
    }

    #[test]
    fn sessions_take_no_more_room_than_is_set_aside() {
        let sessions = Sessions::new().unwrap();
        let now = Instant::now();
        let first = sessions.open(now).unwrap();
        let later = now + Duration::from_secs(1);
        for _ in 0..SESSIONS {
            sessions.open(later).unwrap();
        }
        assert!(!sessions.is_open(&first, later));
        assert_eq!(sessions.open.lock().unwrap().len(), SESSIONS);
    }

    #[test]
    fn a_form_of_one_session_is_none_of_another() {
        let sessions = Sessions::new().unwrap();
        let word = sessions.form_word(Some("one"));
        assert!(sessions.is_form_word(&word, Some("one")));
        for session in [None, Some(""), Some("other")] {
            assert!(!sessions.is_form_word(&word, session), "{session:?}");
        }
        for wrong in ["", "AAAA", "not base64!", &word[1..]] {
            assert!(!sessions.is_form_word(wrong, Some("one")), "{wrong}");
        }
        let others = Sessions::new().unwrap();
        assert!(!others.is_form_word(&word, Some("one")));
        // The tag of a password is no form's.
        let tag = URL_SAFE_NO_PAD.encode(hmac::sign(&sessions.key, &given("one")));
        assert!(!sessions.is_form_word(&tag, Some("one")));
    }

    #[test]
    fn a_right_password_is_remembered_for_its_hash_alone() {
        let sessions = Sessions::new().unwrap();
        let hash = |tag: &str| {
            let head = "$argon2id$v=19$m=19456,t=2,p=1$c29tZXNhbHRzb21lc2FsdA$";
            PasswordHash::parse(&format!("{head}{tag}")).unwrap()
        };
        let one = hash("dGhpcnR5LXR3byBieXRlcyBvZiBhIGhhc2ggLi4uLi4");
        let other = hash("dGhpcnR5LXR3byBieXRlcyBvZiBhIGhhc2ggLi4uLi8");
        assert!(!sessions.is_known_right(&one, "secret"));
        sessions.found_right(&one, "secret");
        assert!(sessions.is_known_right(&one, "secret"));
        assert!(!sessions.is_known_right(&one, "Secret"));
        assert!(!sessions.is_known_right(&other, "secret"));
    }
}
