//! A feed's health: what a run of failures means, when to ask again, and what to say about it.
//!
//! Pure: the state before and what a poll came to go in, the state after and a notice for the
//! journal come out. May not poll, sleep or write. The state is kept between runs, so that a
//! restart is no way round a pause.

use super::http::FaultKind;
use super::retry::Backoff;
use crate::market::FeedId;
use chrono::{DateTime, TimeDelta, Utc};
use std::collections::BTreeSet;
use std::net::IpAddr;
use std::time::Duration;

/// How a feed has fared since its last good poll.
#[derive(Debug, Clone, Default, PartialEq, Eq, serde::Serialize, serde::Deserialize)]
pub struct Health {
    /// Failed polls in a row.
    pub failures: u32,
    /// When the first of them was.
    pub failing_since: Option<DateTime<Utc>>,
    /// When to ask again, whatever the schedule says; `None` leaves it to the schedule.
    pub retry_at: Option<DateTime<Utc>>,
    pub breaker: Breaker,
    /// Whole days of failing that have been told of.
    #[serde(default)]
    pub told_days: i64,
}

/// Whether a feed is still polled as usual.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, serde::Serialize, serde::Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Breaker {
    #[default]
    Closed,
    /// Too many failures: one attempt at the end of each pause, and one success closes it.
    Open,
    /// The host does not let the program in: the same, with longer pauses from the start.
    Blocked,
}

/// What a poll came to.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Attempt {
    /// Fresh or unchanged, and judged whole.
    Good,
    Failed {
        cause: Cause,
        /// How long the host asked to be left alone.
        retry_after: Option<Duration>,
    },
    /// Nothing can be reached from here, which says nothing about the feed.
    NoNetwork,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Cause {
    Fetch(FaultKind),
    /// The body could not be decoded, or its counts were doubted.
    Content,
}

/// Why a feed is left alone although its schedule has or may come.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Pause {
    /// It failed, and each failure in a row makes the pause longer.
    BackingOff,
    /// Its host does not let the program in.
    Unwelcome,
    /// Its host asked for more time (`Retry-After`) than the program would have given it.
    Asked,
    /// Nothing could be reached from here.
    NoNetwork,
}

impl Pause {
    /// A stable word for it.
    pub fn name(self) -> &'static str {
        match self {
            Pause::BackingOff => "backing_off",
            Pause::Unwelcome => "unwelcome",
            Pause::Asked => "retry_after",
            Pause::NoNetwork => "no_network",
        }
    }
}

/// What the journal is told. A feed that goes on failing is summed up once a day.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Notice {
    /// The first failure after a good poll.
    Failing {
        retry_at: DateTime<Utc>,
    },
    /// The breaker opened.
    Opened {
        failures: u32,
        since: DateTime<Utc>,
        retry_at: DateTime<Utc>,
    },
    /// The host does not let the program in.
    Blocked {
        retry_at: DateTime<Utc>,
    },
    /// Another day of failures, with all of them counted.
    StillFailing {
        failures: u32,
        since: DateTime<Utc>,
        retry_at: DateTime<Utc>,
    },
    Recovered {
        failures: u32,
        since: DateTime<Utc>,
    },
}

/// Failures in a row that open the breaker. Common practice, no source.
const OPENS_AFTER: u32 = 5;

/// The pause while there is no network here.
const NETWORK_PAUSE: TimeDelta = TimeDelta::minutes(1);

impl Health {
    /// The health after a poll, and what to say about it.
    pub fn after(
        &self,
        feed: &FeedId,
        attempt: Attempt,
        now: DateTime<Utc>,
    ) -> (Health, Option<Notice>) {
        let (cause, retry_after) = match attempt {
            Attempt::Good => return (Health::default(), self.recovery(now)),
            Attempt::NoNetwork => return (self.waiting_until(now + NETWORK_PAUSE), None),
            Attempt::Failed { cause, retry_after } => (cause, retry_after.unwrap_or_default()),
        };
        if cause == Cause::Fetch(FaultKind::Resting) {
            // The feed was not asked, so it has not failed.
            let pause = retry_after.max(Duration::from_secs(1));
            return (self.waiting_until(now + pause), None);
        }
        let failures = self.failures.saturating_add(1);
        let unwelcome = matches!(cause, Cause::Fetch(FaultKind::Blocked | FaultKind::Robots));
        let breaker = match self.breaker {
            _ if unwelcome => Breaker::Blocked,
            Breaker::Closed if failures < OPENS_AFTER => Breaker::Closed,
            _ => Breaker::Open,
        };
        let backoff = match breaker {
            Breaker::Blocked => Backoff::UNWELCOME,
            Breaker::Closed | Breaker::Open => Backoff::USUAL,
        };
        let retry_at = now + backoff.pause(feed, failures).max(retry_after);
        let since = self.failing_since.unwrap_or(now);
        let days = (now - since).num_days();
        let notice = match (self.breaker, breaker) {
            (before, after) if before == after => match failures {
                1 => Some(Notice::Failing { retry_at }),
                _ if days > self.told_days => Some(Notice::StillFailing {
                    failures,
                    since,
                    retry_at,
                }),
                _ => None,
            },
            (_, Breaker::Blocked) => Some(Notice::Blocked { retry_at }),
            // A wall that gave way to another fault was announced as a wall.
            (Breaker::Blocked, _) => None,
            _ => Some(Notice::Opened {
                failures,
                since,
                retry_at,
            }),
        };
        let after = Health {
            failures,
            failing_since: Some(since),
            retry_at: Some(retry_at),
            breaker,
            told_days: days.max(self.told_days),
        };
        (after, notice)
    }

    /// When to poll next: at the end of the pause, or else when the schedule says.
    pub fn next_poll(&self, scheduled: DateTime<Utc>) -> DateTime<Utc> {
        self.retry_at.unwrap_or(scheduled)
    }

    /// Why the feed is put off, if it is; `polled` is when it was last asked.
    pub fn pause(&self, feed: &FeedId, polled: DateTime<Utc>) -> Option<Pause> {
        // Stored instants are rounded.
        const ROUNDED: TimeDelta = TimeDelta::seconds(1);
        let pause = self.retry_at? - polled;
        let is_network = (pause - NETWORK_PAUSE).abs() < ROUNDED;
        let own = Backoff::USUAL.pause(feed, self.failures);
        let own = TimeDelta::from_std(own).unwrap_or_default();
        let is_own = pause < own + ROUNDED;
        Some(match self.breaker {
            Breaker::Blocked => Pause::Unwelcome,
            _ if self.failures == 0 && is_network => Pause::NoNetwork,
            _ if self.failures == 0 || !is_own => Pause::Asked,
            _ => Pause::BackingOff,
        })
    }

    fn waiting_until(&self, retry_at: DateTime<Utc>) -> Health {
        Health {
            // A longer pause of its own goes on.
            retry_at: self.retry_at.max(Some(retry_at)),
            ..self.clone()
        }
    }

    fn recovery(&self, now: DateTime<Utc>) -> Option<Notice> {
        let since = self.failing_since.unwrap_or(now);
        let failures = self.failures;
        (failures > 0).then_some(Notice::Recovered { failures, since })
    }
}

/// The latest poll of one feed, for [`is_without_network`].
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct LatestPoll<'a> {
    /// The host that was asked.
    pub host: &'a str,
    /// `None` when the poll was good.
    pub fault: Option<FaultKind>,
}

/// True when the polls of one round say that there is no network here: every host with a name
/// failed to resolve, and there were at least two.
///
/// Hosts in digits and `localhost` need no network's name servers, so they prove nothing.
pub fn is_without_network(polls: &[LatestPoll<'_>]) -> bool {
    let mut named = polls.iter().filter(|poll| needs_a_name_server(poll.host));
    let hosts: BTreeSet<&str> = named.clone().map(|poll| poll.host).collect();
    hosts.len() >= 2 && named.all(|poll| poll.fault == Some(FaultKind::Dns))
}

fn needs_a_name_server(host: &str) -> bool {
    let bare = host.trim_start_matches('[').trim_end_matches(']');
    bare.parse::<IpAddr>().is_err() && bare != "localhost" && !bare.ends_with(".localhost")
}

#[cfg(test)]
mod tests {
    use super::*;

    const SERVER: Attempt = Attempt::Failed {
        cause: Cause::Fetch(FaultKind::Server),
        retry_after: None,
    };
    const WALL: Attempt = Attempt::Failed {
        cause: Cause::Fetch(FaultKind::Blocked),
        retry_after: None,
    };

    fn start() -> DateTime<Utc> {
        "2026-06-15T12:00:00Z".parse().unwrap()
    }

    /// Plays polls, each as soon as its pause is over.
    fn play(attempts: &[Attempt]) -> (Health, Vec<Option<Notice>>, DateTime<Utc>) {
        let feed = FeedId::new("kestrel/all");
        let (mut health, mut now, mut notices) = (Health::default(), start(), Vec::new());
        for attempt in attempts {
            now = health.next_poll(now + TimeDelta::hours(1));
            let (after, notice) = health.after(&feed, *attempt, now);
            health = after;
            notices.push(notice);
        }
        (health, notices, now)
    }

    #[test]
    fn a_good_poll_leaves_the_next_to_the_schedule() {
        let (health, notices, _) = play(&[Attempt::Good, Attempt::Good]);
        assert_eq!(health, Health::default());
        assert_eq!(notices, [None, None]);
        assert_eq!(health.next_poll(start()), start());
    }

    #[test]
    fn five_failures_open_the_breaker_and_it_is_said_once() {
        let (health, notices, now) = play(&[SERVER; 8]);
        assert_eq!((health.failures, health.breaker), (8, Breaker::Open));
        assert!(matches!(notices[0], Some(Notice::Failing { .. })));
        assert_eq!(notices[1..4], [None; 3]);
        let first = start() + TimeDelta::hours(1);
        let Some(Notice::Opened {
            failures: 5, since, ..
        }) = notices[4]
        else {
            panic!("{notices:?}");
        };
        assert_eq!(since, first);
        assert_eq!(notices[5..], [None; 3]);
        assert!(health.retry_at.unwrap() > now + TimeDelta::hours(1));
    }

    // Pitfall D17.
    #[test]
    fn a_week_of_failures_is_told_once_and_then_summed_up_once_a_day() {
        let feed = FeedId::new("kestrel/all");
        let (mut health, mut asked, mut notices) = (Health::default(), 0, Vec::new());
        let minutes = (0..7 * 24 * 60).map(|minute| start() + TimeDelta::minutes(minute));
        for now in minutes.filter(|now| now.timestamp() % 60 == 0) {
            if health.next_poll(now) <= now {
                let (after, notice) = health.after(&feed, SERVER, now);
                health = after;
                asked += 1;
                notices.extend(notice);
            }
        }
        assert!(asked < 7 * 24, "asked {asked} times");
        assert!(matches!(notices[0], Notice::Failing { .. }), "{notices:?}");
        assert!(matches!(notices[1], Notice::Opened { failures: 5, .. }));
        let counted = notices[2..].iter().map(|notice| match notice {
            Notice::StillFailing {
                failures, since, ..
            } if *since == start() => *failures,
            other => panic!("{other:?}"),
        });
        let counted: Vec<u32> = counted.collect();
        assert_eq!(counted.len(), 6, "{counted:?}");
        assert!(counted.is_sorted_by(|one, next| one < next), "{counted:?}");
        let end = start() + TimeDelta::days(7);
        let (_, recovered) = health.after(&feed, Attempt::Good, end);
        let expected = Notice::Recovered {
            failures: asked,
            since: start(),
        };
        assert_eq!(recovered, Some(expected));
    }

    #[test]
    fn one_success_closes_the_breaker_and_says_so() {
        let attempts = [&[SERVER; 6][..], &[Attempt::Good]].concat();
        let (health, notices, _) = play(&attempts);
        assert_eq!(health, Health::default());
        let since = start() + TimeDelta::hours(1);
        assert_eq!(notices[6], Some(Notice::Recovered { failures: 6, since }));
    }

    // Pitfall H10: blocked, growing pause, one notice.
    #[test]
    fn a_wall_is_said_once_and_its_pauses_grow() {
        let (first, notices, now) = play(&[WALL]);
        assert!(matches!(notices[0], Some(Notice::Blocked { .. })));
        let first_pause = first.retry_at.unwrap() - now;
        assert!(first_pause >= TimeDelta::minutes(30));
        let (health, notices, now) = play(&[WALL; 5]);
        assert_eq!(notices[1..], [None; 4]);
        assert!(health.retry_at.unwrap() - now > first_pause * 4);
        let (health, notices, _) = play(&[WALL, SERVER, WALL, Attempt::Good]);
        assert_eq!(health, Health::default());
        assert!(matches!(
            notices[3],
            Some(Notice::Recovered { failures: 3, .. })
        ));
    }

    #[test]
    fn a_hosts_own_wish_outlasts_a_shorter_pause() {
        let retry_after = Some(Duration::from_secs(7200));
        let cause = Cause::Fetch(FaultKind::Server);
        let (health, _, now) = play(&[Attempt::Failed { cause, retry_after }]);
        assert_eq!(health.retry_at, Some(now + TimeDelta::hours(2)));
    }

    #[test]
    fn a_pause_is_known_by_its_length() {
        let feed = FeedId::new("kestrel/all");
        let pause = |attempts: &[Attempt]| {
            let (health, _, polled) = play(attempts);
            health.pause(&feed, polled)
        };
        let asked = |cause| Attempt::Failed {
            cause: Cause::Fetch(cause),
            retry_after: Some(Duration::from_secs(7200)),
        };
        assert_eq!(pause(&[Attempt::Good]), None);
        assert_eq!(pause(&[SERVER; 4]), Some(Pause::BackingOff));
        assert_eq!(pause(&[SERVER, WALL]), Some(Pause::Unwelcome));
        assert_eq!(pause(&[asked(FaultKind::Server)]), Some(Pause::Asked));
        assert_eq!(pause(&[asked(FaultKind::Resting)]), Some(Pause::Asked));
        assert_eq!(pause(&[Attempt::NoNetwork]), Some(Pause::NoNetwork));
    }

    #[test]
    fn a_resting_host_and_a_missing_network_are_no_failures_of_the_feed() {
        let resting = Attempt::Failed {
            cause: Cause::Fetch(FaultKind::Resting),
            retry_after: Some(Duration::from_secs(600)),
        };
        for (attempt, minutes) in [(resting, 10), (Attempt::NoNetwork, 1)] {
            let (health, notices, now) = play(&[attempt; 9]);
            assert_eq!((health.failures, health.breaker), (0, Breaker::Closed));
            assert_eq!(health.retry_at, Some(now + TimeDelta::minutes(minutes)));
            assert_eq!(notices, [None; 9]);
        }
    }

    // Pitfall H21.
    #[test]
    fn no_network_is_when_every_name_fails_to_resolve() {
        let dns = Some(FaultKind::Dns);
        for (polls, expected) in [
            (&[("a.example", dns), ("b.example", dns)][..], true),
            (
                &[
                    ("a.example", dns),
                    ("b.example", dns),
                    ("127.0.0.1", None),
                    ("localhost", None),
                ],
                true,
            ),
            (&[("a.example", dns), ("a.example", dns)], false),
            (&[("a.example", dns), ("b.example", None)], false),
            (
                &[("a.example", dns), ("b.example", Some(FaultKind::Timeout))],
                false,
            ),
            (&[("[::1]", dns), ("127.0.0.1", dns)], false),
            (&[], false),
        ] {
            let polls: Vec<LatestPoll<'_>> = polls
                .iter()
                .map(|(host, fault)| LatestPoll {
                    host,
                    fault: *fault,
                })
                .collect();
            assert_eq!(is_without_network(&polls), expected, "{polls:?}");
        }
    }

    #[test]
    fn health_outlives_a_restart() {
        let (health, _, _) = play(&[SERVER; 6]);
        let kept = serde_json::to_string(&health).unwrap();
        assert_eq!(serde_json::from_str::<Health>(&kept).unwrap(), health);
    }
}
