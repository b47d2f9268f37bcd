//! One request at a time to each host, with a pause between, and rest where the host wants it.
//!
//! Feeds of one host wait here in the order in which they came; feeds of other hosts do not. May
//! not decide whether a poll is due, and remembers nothing beyond the process except what
//! [`Hosts::resting`] gives out.

use chrono::{DateTime, Utc};
use std::collections::BTreeMap;
use std::sync::{Arc, Mutex, PoisonError};
use std::time::Duration;
use tokio::sync::OwnedMutexGuard;
use tokio::time::Instant;

/// Every host that was ever asked, by `host:port`.
#[derive(Default)]
pub struct Hosts {
    hosts: Mutex<BTreeMap<String, Host>>,
}

#[derive(Default, Clone)]
struct Host {
    line: Arc<tokio::sync::Mutex<Line>>,
    rests_until: Option<DateTime<Utc>>,
}

/// What the one whose turn it is holds.
#[derive(Default)]
struct Line {
    free_at: Option<Instant>,
}

/// The right to send requests to one host. The next one waits until it is dropped, and then for
/// its pause.
pub struct Turn {
    line: OwnedMutexGuard<Line>,
    pause: Duration,
}

impl Hosts {
    /// Waits for one's turn.
    ///
    /// `pause` is the least time between this turn's end and the next one's begin; the longer of
    /// both feeds' pauses counts.
    pub async fn turn(&self, authority: &str, pause: Duration) -> Turn {
        let line = self.with_host(authority, |host| Arc::clone(&host.line));
        let line = line.lock_owned().await;
        if let Some(free_at) = line.free_at {
            // The one before may have been in less of a hurry than this one, or in more.
            tokio::time::sleep_until(free_at).await;
        }
        Turn { line, pause }
    }

    /// Lets nobody ask a host before `until`. A shorter rest does not cut a longer one.
    pub fn rest(&self, authority: &str, until: DateTime<Utc>) {
        self.with_host(authority, |host| {
            host.rests_until = host.rests_until.max(Some(until));
        });
    }

    /// Until when a host rests, if it does.
    pub fn rests_until(&self, authority: &str, now: DateTime<Utc>) -> Option<DateTime<Utc>> {
        self.with_host(authority, |host| host.rests_until)
            .filter(|until| *until > now)
    }

    /// Every host that rests, to be given to [`Hosts::rest`] after a restart.
    pub fn resting(&self, now: DateTime<Utc>) -> Vec<(String, DateTime<Utc>)> {
        let hosts = self.hosts.lock().unwrap_or_else(PoisonError::into_inner);
        hosts
            .iter()
            .filter_map(|(authority, host)| Some((authority.clone(), host.rests_until?)))
            .filter(|(_, until)| *until > now)
            .collect()
    }

    fn with_host<T>(&self, authority: &str, act: impl FnOnce(&mut Host) -> T) -> T {
        // Nothing between lock and unlock can panic halfway.
        let mut hosts = self.hosts.lock().unwrap_or_else(PoisonError::into_inner);
        act(hosts.entry(authority.to_owned()).or_default())
    }
}

impl Turn {
    /// Makes the pause after this turn at least this long, as a `Crawl-delay` may ask.
    pub fn pause_at_least(&mut self, pause: Duration) {
        self.pause = self.pause.max(pause);
    }
}

impl Drop for Turn {
    fn drop(&mut self) {
        self.line.free_at = Some(Instant::now() + self.pause);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const SECOND: Duration = Duration::from_secs(1);

    // Pitfall H22: many sources on one host due at the same time.
    #[tokio::test(start_paused = true)]
    async fn twenty_requests_to_one_host_go_one_after_another() {
        let hosts = Arc::new(Hosts::default());
        let begun = Instant::now();
        let mut tasks = Vec::new();
        for _ in 0..20 {
            let hosts = Arc::clone(&hosts);
            tasks.push(tokio::spawn(async move {
                let _turn = hosts.turn("a:80", 2 * SECOND).await;
                let entered = begun.elapsed();
                tokio::time::sleep(SECOND).await;
                entered
            }));
        }
        let mut entered = Vec::new();
        for task in tasks {
            entered.push(task.await.unwrap());
        }
        entered.sort();
        for (place, at) in entered.iter().enumerate() {
            let due = 3 * SECOND * place as u32;
            assert!(*at >= due && *at < due + SECOND / 2, "{place}: {at:?}");
        }
    }

    #[tokio::test(start_paused = true)]
    async fn another_host_does_not_wait() {
        let hosts = Hosts::default();
        let begun = Instant::now();
        let _held = hosts.turn("a:80", 60 * SECOND).await;
        drop(hosts.turn("b:80", SECOND).await);
        drop(hosts.turn("a:81", SECOND).await);
        assert_eq!(begun.elapsed(), Duration::ZERO);
    }

    #[tokio::test(start_paused = true)]
    async fn a_crawl_delay_lengthens_the_pause() {
        let hosts = Hosts::default();
        let begun = Instant::now();
        let mut turn = hosts.turn("a:80", SECOND).await;
        turn.pause_at_least(10 * SECOND);
        turn.pause_at_least(SECOND);
        drop(turn);
        drop(hosts.turn("a:80", SECOND).await);
        assert_eq!(begun.elapsed().as_secs(), 10);
    }

    #[test]
    fn a_host_rests_as_long_as_the_longest_rest_it_asked_for() {
        let hosts = Hosts::default();
        let now: DateTime<Utc> = "2026-06-15T12:00:00Z".parse().unwrap();
        let (soon, late) = (now + 60 * SECOND, now + 600 * SECOND);
        hosts.rest("a:443", late);
        hosts.rest("a:443", soon);
        assert_eq!(hosts.rests_until("a:443", now), Some(late));
        assert_eq!(hosts.rests_until("a:443", late), None);
        assert_eq!(hosts.rests_until("b:443", now), None);
        assert_eq!(hosts.resting(now), [("a:443".to_owned(), late)]);
        assert!(hosts.resting(late).is_empty());
    }
}
