//! robots.txt: what a host lets programs fetch, RFC 9309.
//!
//! Pure: text and time in, verdicts out. [`RobotsRules`] reads and applies one file,
//! [`Standings`] remembers what each host said and for how long that counts. The file itself is
//! fetched in `http`.
//!
//! A robots.txt that cannot be reached means no, however long that lasts. After about 30 days
//! RFC 9309 section 2.3.1.4 would let a program take it for missing, and go everywhere; this one
//! stays out until the file answers, because a shop that is broken that long has not agreed.

mod rules;
mod standing;

pub use rules::{RobotsRules, Verdict};
pub use standing::{Standing, Standings};

/// As much of a robots.txt as is read, in bytes: RFC 9309 section 2.5 asks for at least this.
pub const READ_BYTES: u64 = 500 * 1024;
