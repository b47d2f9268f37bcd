//! When each feed is polled next, and why then: its schedule, its health, and what was missed.
//!
//! Reads no clock and no ledger: what is known of the feeds comes in as values.
//!
//! A run that was missed, while the program was down or the machine asleep, is made up for once
//! however many there were; several feeds that missed theirs are asked one after another. A clock
//! that is set back by less than three hours repeats no run; one that is set back further was wrong
//! before, and what was due stays as far ahead as it was.

use super::settings::Feed;
use crate::feeds::health::{Health, Pause};
use crate::feeds::retry::spread;
use crate::ledger::FeedState;
use crate::market::FeedId;
use chrono::{DateTime, TimeDelta, Utc};
use std::collections::BTreeMap;
use std::time::Duration;

/// When each feed is to be polled, by its id.
pub type DueTimes = BTreeMap<String, DateTime<Utc>>;

/// Feeds that are due at the same minute are spread over this much.
pub const JITTER: Duration = Duration::from_secs(20);
/// What is later than this was missed.
const MISSED_AFTER: TimeDelta = TimeDelta::minutes(1);
/// Feeds that missed their runs are asked so far apart, or closer where they are many.
const CATCH_UP_GAP: TimeDelta = TimeDelta::seconds(5);
const CATCH_UP_WITHIN: TimeDelta = TimeDelta::minutes(5);
/// Common practice, cron(8) of Debian: a clock that moves by more is being corrected.
const CORRECTED_AFTER: TimeDelta = TimeDelta::hours(3);

/// The next poll of a feed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Planned {
    /// Never before the instant it was planned at; none when the schedule's years are over.
    pub at: Option<DateTime<Utc>>,
    pub why: Why,
}

/// Why a poll is planned when it is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Why {
    Scheduled,
    NeverPolled,
    /// A run, or the end of a pause, has passed.
    Missed,
    /// The feed is in a pause, whatever its schedule says.
    PutOff(Pause),
}

/// What is planned for a feed with a schedule.
pub fn planned(feed: &Feed, state: Option<&FeedState>, now: DateTime<Utc>) -> Option<Planned> {
    let schedule = feed.schedule.as_ref()?;
    let Some(polled) = state.and_then(|state| state.last_poll) else {
        let at = Some(now);
        return Some(Planned {
            at,
            why: Why::NeverPolled,
        });
    };
    // A stamp in the future is a clock that was set back: it counts as now, and what was put off
    // stays as far ahead as it was.
    let ahead = (polled - now).max(TimeDelta::zero());
    let health = health(state);
    let put_off = health.retry_at.map(|retry_at| retry_at - ahead);
    let at = put_off.or_else(|| schedule.next_after(polled - ahead));
    let why = match (at, health.pause(&feed.id, polled)) {
        (Some(at), _) if at <= now => Why::Missed,
        (Some(_), Some(pause)) => Why::PutOff(pause),
        _ => Why::Scheduled,
    };
    let at = at.map(|at| at.max(now));
    Some(Planned { at, why })
}

/// How a feed has fared, as far as that can be read.
pub fn health(state: Option<&FeedState>) -> Health {
    let health = state.and_then(|state| state.remembered.health.as_deref());
    health
        .and_then(|text| serde_json::from_str(text).ok())
        .unwrap_or_default()
}

/// When the feeds are due as the ledger was left. A restart is no way round a pause.
pub fn first_due(feeds: &[Feed], states: &[FeedState], now: DateTime<Utc>) -> DueTimes {
    let mut due = DueTimes::new();
    for feed in feeds {
        let state = states.iter().find(|state| state.feed == feed.id);
        let Some(planned) = planned(feed, state, now) else {
            continue;
        };
        let at = planned.at.map(|at| match planned.why {
            Why::Scheduled => at + spread(&feed.id, JITTER),
            // So that it counts as missed when it is taken.
            Why::Missed => at - MISSED_AFTER,
            Why::NeverPolled | Why::PutOff(_) => at,
        });
        due.extend(at.map(|at| (feed.id.to_string(), at)));
    }
    due
}

/// The feeds that are to be polled now, each with its next time set. Of those that missed a run the
/// first is polled now, and the others follow it.
pub fn take_due(feeds: &[Feed], due: &mut DueTimes, now: DateTime<Utc>) -> Vec<Feed> {
    let at = |feed: &Feed, due: &DueTimes| due.get(feed.id.as_str()).copied();
    let missed: Vec<&FeedId> = feeds
        .iter()
        .filter(|feed| at(feed, due).is_some_and(|at| at <= now - MISSED_AFTER))
        .map(|feed| &feed.id)
        .collect();
    let n_missed = i32::try_from(missed.len()).unwrap_or(i32::MAX).max(1);
    let gap = CATCH_UP_GAP.min(CATCH_UP_WITHIN / n_missed);
    for (place, id) in (0..).zip(&missed) {
        due.insert(id.to_string(), now + gap * place);
    }
    let is_due = |feed: &&Feed| at(feed, due).is_some_and(|at| at <= now);
    let taken: Vec<Feed> = feeds.iter().filter(is_due).cloned().collect();
    for feed in &taken {
        let schedule = feed.schedule.as_ref();
        match schedule.and_then(|schedule| schedule.next_after(now)) {
            Some(next) => due.insert(feed.id.to_string(), next + spread(&feed.id, JITTER)),
            None => due.remove(feed.id.as_str()),
        };
    }
    taken
}

/// Follows a clock that showed `before` and shows `now`.
pub fn follow_clock(due: &mut DueTimes, before: DateTime<Utc>, now: DateTime<Utc>) {
    let back = before - now;
    if back > CORRECTED_AFTER {
        due.values_mut().for_each(|at| *at -= back);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::ledger::Remembered;
    use crate::watch::settings::load_settings;
    use std::fs;

    fn at(text: &str) -> DateTime<Utc> {
        text.parse().unwrap()
    }

    /// Feeds called `kestrel/0`, `kestrel/1`, ... on one schedule.
    fn feeds(n: usize, schedule: &str) -> Vec<Feed> {
        let folder = tempfile::tempdir().unwrap();
        let write = |file: &str, text: &str| {
            let path = folder.path().join(file);
            fs::create_dir_all(path.parent().unwrap()).unwrap();
            fs::write(path, text).unwrap();
        };
        write("rigtide.toml", "contact = \"editor@guide.example\"\n");
        for folder_of_none in ["catalogue", "briefs"] {
            fs::create_dir(folder.path().join(folder_of_none)).unwrap();
        }
        let feed = |at: usize| {
            format!(
                "[[feed]]\nid = \"{at}\"\nformat = \"csv\"\nfile = \"shop.csv\"\n\
                 schedule = \"{schedule}\"\n\
                 fields = {{ sku = \"number\", title = \"title\", price = \"price\" }}\n"
            )
        };
        let feeds: String = (0..n).map(feed).collect();
        let head = "name = \"Kestrel\"\ncountry = \"DE\"\ncurrency = \"EUR\"\nlocale = \"en\"\n";
        write("retailers/kestrel.toml", &(head.to_owned() + &feeds));
        load_settings(folder.path())
            .unwrap_or_else(|faults| panic!("{faults:?}"))
            .feeds
    }

    fn state(feed: &Feed, polled: &str, health: &Health) -> FeedState {
        FeedState {
            feed: feed.id.clone(),
            retailer: feed.retailer.clone(),
            last_poll: Some(at(polled)),
            last_fresh: Some(at(polled)),
            seen_until: Some(at(polled)),
            failures: 0,
            remembered: Remembered {
                memory: None,
                health: serde_json::to_string(health).ok(),
                refusals: None,
            },
            offers: 0,
            matched: 0,
        }
    }

    /// Runs the clock from one instant to another and tells who was polled when.
    fn polls(
        feeds: &[Feed],
        due: &mut DueTimes,
        from: DateTime<Utc>,
        until: DateTime<Utc>,
    ) -> Vec<(String, DateTime<Utc>)> {
        let (mut now, mut polls) = (from, Vec::new());
        while now < until {
            let taken = take_due(feeds, due, now);
            polls.extend(taken.iter().map(|feed| (feed.id.to_string(), now)));
            now += TimeDelta::seconds(1);
        }
        polls
    }

    // Pitfall D05.
    #[test]
    fn after_nine_hours_of_sleep_each_feed_is_asked_once_and_not_all_at_once() {
        let feeds = feeds(20, "*/30 * * * *");
        let before = at("2026-06-15T00:10:00Z");
        let good = Health::default();
        let states: Vec<FeedState> = feeds
            .iter()
            .map(|feed| state(feed, "2026-06-15T00:00:05Z", &good))
            .collect();
        let awake = at("2026-06-15T09:10:00Z");
        // Asleep as a running daemon, or down and started again.
        let asleep = first_due(&feeds, &states, before);
        for mut due in [asleep, first_due(&feeds, &states, awake)] {
            let caught_up = polls(&feeds, &mut due, awake, at("2026-06-15T09:29:59Z"));
            assert_eq!(caught_up.len(), feeds.len());
            let mut instants: Vec<DateTime<Utc>> = caught_up.iter().map(|poll| poll.1).collect();
            assert_eq!(instants[0], awake);
            instants.dedup();
            assert_eq!(instants.len(), feeds.len(), "two at once: {caught_up:?}");
            assert!(*instants.last().unwrap() - awake < CATCH_UP_WITHIN);
            // Then the schedule goes on, once each.
            let next = polls(
                &feeds,
                &mut due,
                at("2026-06-15T09:30:00Z"),
                at("2026-06-15T09:59:00Z"),
            );
            assert_eq!(next.len(), feeds.len());
        }
    }

    #[test]
    fn many_feeds_catch_up_within_the_same_time() {
        let feeds = feeds(300, "*/30 * * * *");
        let mut due: DueTimes = feeds
            .iter()
            .map(|feed| (feed.id.to_string(), at("2026-06-15T00:30:00Z")))
            .collect();
        let awake = at("2026-06-15T09:10:00Z");
        let caught_up = polls(&feeds, &mut due, awake, awake + CATCH_UP_WITHIN);
        assert_eq!(caught_up.len(), feeds.len());
        let at_once = |second: i64| {
            let instant = awake + TimeDelta::seconds(second);
            caught_up.iter().filter(|poll| poll.1 == instant).count()
        };
        assert!((0..300).all(|second| at_once(second) <= 2));
    }

    // Pitfall D04.
    #[test]
    fn a_clock_set_back_an_hour_repeats_no_run() {
        let feeds = feeds(1, "0 * * * *");
        let mut due = DueTimes::new();
        due.insert(feeds[0].id.to_string(), at("2026-06-15T10:00:00Z"));
        let first = polls(
            &feeds,
            &mut due,
            at("2026-06-15T09:59:00Z"),
            at("2026-06-15T10:30:00Z"),
        );
        assert_eq!(first.len(), 1);
        follow_clock(
            &mut due,
            at("2026-06-15T10:30:00Z"),
            at("2026-06-15T09:30:00Z"),
        );
        let again = polls(
            &feeds,
            &mut due,
            at("2026-06-15T09:30:00Z"),
            at("2026-06-15T10:59:00Z"),
        );
        assert_eq!(again, []);
        let next = polls(
            &feeds,
            &mut due,
            at("2026-06-15T10:59:00Z"),
            at("2026-06-15T11:59:00Z"),
        );
        assert_eq!(next.len(), 1);
    }

    // Pitfall D04.
    #[test]
    fn a_clock_that_was_years_ahead_stops_no_feed_for_years() {
        let feeds = feeds(1, "0 * * * *");
        let mut due = DueTimes::new();
        due.insert(feeds[0].id.to_string(), at("2031-06-15T11:00:00Z"));
        let (before, now) = (at("2031-06-15T10:30:00Z"), at("2026-06-15T08:12:00Z"));
        follow_clock(&mut due, before, now);
        let next = polls(&feeds, &mut due, now, now + TimeDelta::hours(1));
        assert_eq!(next[0].1, now + TimeDelta::minutes(30));
        // The same when it is found out at a restart, with the pause that the feed was in.
        let health = Health {
            failures: 1,
            retry_at: Some(at("2031-06-15T10:31:00Z")),
            ..Health::default()
        };
        let state = state(&feeds[0], "2031-06-15T10:30:00Z", &health);
        let planned = planned(&feeds[0], Some(&state), now).unwrap();
        assert_eq!(planned.at, Some(now + TimeDelta::minutes(1)));
    }

    #[test]
    fn a_machine_that_starts_in_1970_polls_once_when_its_clock_is_set() {
        let feeds = feeds(1, "*/30 * * * *");
        let boot = DateTime::UNIX_EPOCH + TimeDelta::seconds(20);
        let polled = state(&feeds[0], "2026-06-15T08:00:00Z", &Health::default());
        let mut due = first_due(&feeds, &[polled], boot);
        assert_eq!(
            polls(&feeds, &mut due, boot, boot + TimeDelta::minutes(1)),
            []
        );
        let now = at("2026-06-15T08:12:00Z");
        follow_clock(&mut due, boot + TimeDelta::minutes(1), now);
        assert_eq!(
            polls(&feeds, &mut due, now, at("2026-06-15T08:30:00Z")).len(),
            1
        );
    }

    #[test]
    fn a_plan_says_why_it_is_not_the_schedules() {
        let feeds = feeds(1, "0 * * * *");
        let now = at("2026-06-15T08:12:00Z");
        let plan = |polled: &str, health: &Health| {
            planned(&feeds[0], Some(&state(&feeds[0], polled, health)), now).unwrap()
        };
        let good = Health::default();
        assert_eq!(plan("2026-06-15T08:00:09Z", &good).why, Why::Scheduled);
        assert_eq!(plan("2026-06-15T06:30:00Z", &good).why, Why::Missed);
        assert_eq!(planned(&feeds[0], None, now).unwrap().why, Why::NeverPolled);
        let asked = Health {
            failures: 1,
            retry_at: Some(at("2026-06-15T10:00:00Z")),
            ..Health::default()
        };
        let put_off = plan("2026-06-15T08:00:00Z", &asked);
        assert_eq!(put_off.at, Some(at("2026-06-15T10:00:00Z")));
        assert_eq!(put_off.why, Why::PutOff(Pause::Asked));
    }
}
