//! What each host's robots.txt said, and for how long that counts.

use super::rules::{RobotsRules, Verdict};
use chrono::{DateTime, TimeDelta, Utc};
use std::collections::BTreeMap;
use std::time::Duration;

/// What reading a host's robots.txt came to.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Standing {
    Rules(RobotsRules),
    /// There is none: everything may be fetched (RFC 9309 2.3.1.3).
    Missing,
    /// It could not be read: nothing may be fetched (2.3.1.4).
    Unreachable {
        cause: String,
    },
}

/// The standings of all hosts, by `host:port`.
#[derive(Debug, Default)]
pub struct Standings {
    hosts: BTreeMap<String, Entry>,
}

#[derive(Debug)]
struct Entry {
    standing: Standing,
    read_at: DateTime<Utc>,
    tried_at: DateTime<Utc>,
}

/// RFC 9309 2.4: a copy is not used for more than a day.
const KEPT: TimeDelta = TimeDelta::hours(24);
/// A copy that could not be renewed serves this much longer.
const KEPT_UNREACHABLE: TimeDelta = TimeDelta::hours(24);
/// The pause between two attempts at an unreachable file.
const TRIED_AGAIN: TimeDelta = TimeDelta::minutes(15);

impl Standings {
    /// The standing that counts now; `None` when the file has to be read (again).
    pub fn current(&self, authority: &str, now: DateTime<Utc>) -> Option<&Standing> {
        let entry = self.hosts.get(authority)?;
        let failed_since = entry.tried_at > entry.read_at;
        let unreachable = matches!(entry.standing, Standing::Unreachable { .. });
        let good_for = if failed_since || unreachable {
            TRIED_AGAIN
        } else {
            KEPT
        };
        // A clock that was set back makes an entry old, not eternal; fetches that run side by side
        // may be a little apart.
        let age = now - entry.tried_at;
        (-TRIED_AGAIN < age && age < good_for).then_some(&entry.standing)
    }

    /// Records what reading came to. A failure leaves an older copy in use for another day.
    pub fn record(&mut self, authority: &str, standing: Standing, now: DateTime<Utc>) {
        if matches!(standing, Standing::Unreachable { .. })
            && let Some(entry) = self.hosts.get_mut(authority)
            && !matches!(entry.standing, Standing::Unreachable { .. })
            && now - entry.read_at < KEPT + KEPT_UNREACHABLE
        {
            entry.tried_at = now;
            return;
        }
        let entry = Entry {
            standing,
            read_at: now,
            tried_at: now,
        };
        self.hosts.insert(authority.to_owned(), entry);
    }
}

impl Standing {
    /// Whether a path may be fetched; `None` when the file is unreachable.
    pub fn verdict(&self, path_and_query: &str) -> Option<Verdict> {
        match self {
            Standing::Rules(rules) => Some(rules.verdict(path_and_query)),
            Standing::Missing => Some(Verdict::Allowed),
            Standing::Unreachable { .. } => None,
        }
    }

    /// The pause that the file asks for.
    pub fn crawl_delay(&self) -> Option<Duration> {
        match self {
            Standing::Rules(rules) => rules.crawl_delay(),
            Standing::Missing | Standing::Unreachable { .. } => None,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const HOST: &str = "shop.example:443";

    fn at(hours: i64) -> DateTime<Utc> {
        let start: DateTime<Utc> = "2026-06-15T12:00:00Z".parse().unwrap();
        start + TimeDelta::hours(hours)
    }

    fn unreachable() -> Standing {
        Standing::Unreachable {
            cause: "503".to_owned(),
        }
    }

    // RFC 9309 2.4.
    #[test]
    fn a_copy_counts_for_a_day() {
        let mut standings = Standings::default();
        assert_eq!(standings.current(HOST, at(0)), None);
        standings.record(HOST, Standing::Missing, at(0));
        assert_eq!(standings.current(HOST, at(23)), Some(&Standing::Missing));
        assert_eq!(standings.current(HOST, at(24)), None);
        assert_eq!(standings.current(HOST, at(-1)), None);
    }

    // RFC 9309 2.3.1.4; pitfall R01.
    #[test]
    fn an_unreachable_file_means_no_and_is_tried_again_soon() {
        let mut standings = Standings::default();
        standings.record(HOST, unreachable(), at(0));
        let standing = standings.current(HOST, at(0)).unwrap();
        assert_eq!(standing.verdict("/"), None);
        assert_eq!(standings.current(HOST, at(1)), None);
    }

    // RFC 9309 2.3.1.4: "if the robots.txt file is unreachable for a reasonably long period of time
    // (for example, 30 days), crawlers MAY assume that the robots.txt file is unavailable". We do
    // not, whether there was a copy once or never.
    #[test]
    fn an_unreachable_file_means_no_for_longer_than_a_month() {
        for first in [Standing::Missing, unreachable()] {
            let mut standings = Standings::default();
            standings.record(HOST, first, at(0));
            for day in 1..=40 {
                standings.record(HOST, unreachable(), at(24 * day));
            }
            let standing = standings.current(HOST, at(24 * 40)).unwrap();
            assert_eq!(standing.verdict("/"), None);
        }
    }

    #[test]
    fn an_older_copy_serves_one_more_day_while_the_file_is_unreachable() {
        let mut standings = Standings::default();
        standings.record(HOST, Standing::Missing, at(0));
        standings.record(HOST, unreachable(), at(25));
        assert_eq!(standings.current(HOST, at(25)), Some(&Standing::Missing));
        assert_eq!(standings.current(HOST, at(26)), None);
        standings.record(HOST, unreachable(), at(48));
        assert_eq!(standings.current(HOST, at(48)), Some(&unreachable()));
        standings.record(HOST, Standing::Missing, at(49));
        assert_eq!(standings.current(HOST, at(60)), Some(&Standing::Missing));
    }
}
