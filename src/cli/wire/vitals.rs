//! What the daemon shows on loopback: its own state, the ledger's, and what was counted.

use crate::catalogue::Fault;
use crate::ledger::{FeedState, LedgerVitals, Reader};
use crate::watch::metrics::{COUNTERS, DURATIONS, LABELLED};
use crate::watch::settings::Settings;
use crate::web::{Family, Health, Histogram, Remark, Vitals};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::{Duration, Instant};

/// A feed that failed so often in a row does not recover at the next try. Common practice, no
/// source.
const FAILURES_TO_COUNT: u32 = 3;
/// The daemon gives a sign of life every ten seconds or sooner.
const LONGEST_SILENCE: Duration = Duration::from_secs(60);

/// How the daemon is, as it told last.
pub struct DaemonVitals {
    state: Mutex<State>,
}

struct State {
    settings: Arc<Settings>,
    /// Why the settings that are on disk were refused.
    refused: Option<String>,
    ledger_fault: Option<String>,
    last_beat: Instant,
}

/// What health is judged by.
struct Signs<'s> {
    /// Feeds on a schedule that have been polled.
    feeds: Vec<&'s FeedState>,
    ledger: Result<LedgerVitals, String>,
    ledger_fault: Option<String>,
    refused: Option<String>,
    silence: Duration,
}

impl DaemonVitals {
    pub fn new(settings: Arc<Settings>) -> DaemonVitals {
        DaemonVitals {
            state: Mutex::new(State {
                settings,
                refused: None,
                ledger_fault: None,
                last_beat: Instant::now(),
            }),
        }
    }

    pub fn beat(&self) {
        self.state().last_beat = Instant::now();
    }

    pub fn took(&self, settings: &Arc<Settings>) {
        let mut state = self.state();
        state.settings = settings.clone();
        state.refused = None;
    }

    pub fn refused(&self, faults: &[Fault]) {
        self.state().refused = faults.first().map(ToString::to_string);
    }

    /// The files are again what is in force.
    pub fn restored(&self) {
        self.state().refused = None;
    }

    pub fn ledger_fares(&self, fault: Option<&str>) {
        self.state().ledger_fault = fault.map(str::to_owned);
    }

    fn state(&self) -> MutexGuard<'_, State> {
        self.state.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

impl Vitals for DaemonVitals {
    fn feed(&self, channel: &str) -> Option<String> {
        let settings = self.state().settings.clone();
        settings.channels.get(channel)?.feed()
    }

    fn health(&self) -> Health {
        let (settings, ledger_fault, refused, silence) = {
            let state = self.state();
            (
                state.settings.clone(),
                state.ledger_fault.clone(),
                state.refused.clone(),
                state.last_beat.elapsed(),
            )
        };
        let read = Reader::open(&settings.ledger)
            .and_then(|reader| Ok((reader.feed_states()?, reader.vitals()?)));
        let (states, ledger) = match read {
            Ok((states, vitals)) => (states, Ok(vitals)),
            Err(error) => (Vec::new(), Err(error.to_string())),
        };
        health(&Signs {
            feeds: scheduled(&settings, &states),
            ledger,
            ledger_fault,
            refused,
            silence,
        })
    }

    fn metrics(&self) -> Vec<Family> {
        let settings = self.state().settings.clone();
        let mut families = vec![Family::info(
            "rigtide_build",
            "The program.",
            &[("version", env!("CARGO_PKG_VERSION"))],
        )];
        families.extend(counted());
        let read = Reader::open(&settings.ledger)
            .and_then(|reader| Ok((reader.feed_states()?, reader.vitals()?)));
        // Without the ledger there are no gauges; `/health` says why.
        if let Ok((states, vitals)) = read {
            families.extend(of_feeds(&settings, &states));
            families.extend(of_ledger(&vitals));
        }
        families.extend(resident_bytes().map(|bytes| {
            Family::gauge("rigtide_resident_memory_bytes", "Resident memory.")
                .in_unit("bytes")
                .with(&[], bytes)
        }));
        families
    }
}

/// The states of feeds that are polled on a schedule.
fn scheduled<'s>(settings: &Settings, states: &'s [FeedState]) -> Vec<&'s FeedState> {
    let feeds = settings.feeds.iter().filter(|feed| feed.schedule.is_some());
    feeds
        .filter_map(|feed| states.iter().find(|state| state.feed == feed.id))
        .collect()
}

fn health(signs: &Signs<'_>) -> Health {
    let mut health = Health::default();
    let reasons = &mut health.reasons;
    if let Some(fault) = &signs.ledger_fault {
        reasons.push(Remark::new("ledger_not_written", fault));
    }
    match &signs.ledger {
        Err(fault) => reasons.push(Remark::new("ledger_not_read", fault)),
        Ok(vitals) if vitals.dead > 0 => {
            let given_up = match vitals.dead {
                1 => "1 delivery was".to_owned(),
                dead => format!("{dead} deliveries were"),
            };
            let text = format!("{given_up} given up: `rigtide outbox` tells why");
            reasons.push(Remark::new("dead_letters", text));
        }
        Ok(_) => {}
    }
    if signs.silence > LONGEST_SILENCE {
        let text = format!("the daemon has not moved for {} s", signs.silence.as_secs());
        reasons.push(Remark::new("stands_still", text));
    }
    let is_failing = |state: &&&FeedState| state.failures >= FAILURES_TO_COUNT;
    let failing: Vec<&&FeedState> = signs.feeds.iter().filter(is_failing).collect();
    let names = failing.iter().map(|state| state.feed.to_string());
    let names = names.collect::<Vec<_>>().join(", ");
    if !failing.is_empty() && failing.len() == signs.feeds.len() {
        reasons.push(Remark::new("every_feed_fails", names));
    } else if !failing.is_empty() {
        health.cautions.push(Remark::new("feeds_fail", names));
    }
    if let Some(fault) = &signs.refused {
        health.cautions.push(Remark::new("settings_refused", fault));
    }
    health
}

/// What has been counted since the start.
fn counted() -> Vec<Family> {
    let mut families = Vec::new();
    for counter in COUNTERS {
        let family = Family::counter(counter.name, counter.help);
        families.push(family.with(&[], counter.count()));
    }
    for labelled in LABELLED {
        let mut family = Family::counter(labelled.name, labelled.help);
        for (words, count) in labelled.counts() {
            let words = words.iter().map(String::as_str);
            let labels: Vec<(&str, &str)> = labelled.labels.iter().copied().zip(words).collect();
            family = family.with(&labels, count);
        }
        families.push(family);
    }
    for durations in DURATIONS {
        let (buckets, count, sum_seconds) = durations.seen();
        let seen = Histogram {
            buckets,
            count,
            sum_seconds,
        };
        families.push(Family::histogram(durations.name, durations.help, &seen));
    }
    families
}

fn of_feeds(settings: &Settings, states: &[FeedState]) -> Vec<Family> {
    let mut offers = Family::gauge("rigtide_offers", "Offers listed, by feed.");
    let mut matched = Family::gauge("rigtide_matched_offers", "Of those, offers of known parts.");
    let mut failures = Family::gauge(
        "rigtide_feed_failures",
        "Polls that failed since the last good one.",
    );
    let mut good = Family::gauge(
        "rigtide_last_good_poll_timestamp_seconds",
        "When the offers of a feed were last confirmed.",
    )
    .in_unit("seconds");
    for feed in &settings.feeds {
        let Some(state) = states.iter().find(|state| state.feed == feed.id) else {
            continue;
        };
        let labels = [("feed", feed.id.as_str())];
        offers = offers.with(&labels, state.offers);
        matched = matched.with(&labels, state.matched);
        failures = failures.with(&labels, state.failures.into());
        if let Some(seen) = state.seen_until {
            let millis = seen.timestamp_subsec_millis();
            #[expect(clippy::cast_precision_loss, reason = "seconds since 1970 are exact")]
            let seconds = seen.timestamp() as f64 + f64::from(millis) / 1000.0;
            good = good.with_real(&labels, seconds);
        }
    }
    vec![offers, matched, failures, good]
}

fn of_ledger(vitals: &LedgerVitals) -> Vec<Family> {
    vec![
        Family::gauge(
            "rigtide_held_prices",
            "Prices held because they cannot be right.",
        )
        .with(&[], vitals.held),
        Family::gauge(
            "rigtide_outbox_deliveries",
            "Deliveries that wait or were given up.",
        )
        .with(&[("state", "waiting")], vitals.waiting)
        .with(&[("state", "dead")], vitals.dead),
        Family::gauge(
            "rigtide_ledger_bytes",
            "Room that the ledger and its log take.",
        )
        .in_unit("bytes")
        .with(&[], vitals.bytes),
    ]
}

/// Where the system tells (proc_pid_status(5), `VmRSS`).
fn resident_bytes() -> Option<u64> {
    let status = std::fs::read_to_string("/proc/self/status").ok()?;
    let line = status
        .lines()
        .find_map(|line| line.strip_prefix("VmRSS:"))?;
    let kibibytes: u64 = line.trim().strip_suffix("kB")?.trim().parse().ok()?;
    Some(kibibytes * 1024)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::ledger::Remembered;
    use crate::market::{FeedId, RetailerId};

    fn feed(name: &str, failures: u32) -> FeedState {
        FeedState {
            feed: FeedId::new(name),
            retailer: RetailerId::new("shop"),
            last_poll: None,
            last_fresh: None,
            seen_until: None,
            failures,
            remembered: Remembered::default(),
            offers: 0,
            matched: 0,
        }
    }

    fn words(health: &Health) -> (Vec<&'static str>, Vec<&'static str>) {
        let words = |remarks: &[Remark]| remarks.iter().map(|remark| remark.code).collect();
        (words(&health.reasons), words(&health.cautions))
    }

    #[test]
    fn it_fails_when_nothing_can_come_in_stay_or_go_out() {
        type Change<'c> = (&'c dyn Fn(&mut Signs<'_>), &'c [&'c str], &'c [&'c str]);
        let (good, bad) = (feed("shop/a", 1), feed("shop/b", 3));
        let dead = LedgerVitals {
            dead: 1,
            ..LedgerVitals::default()
        };
        let (silence, fault) = (Duration::from_secs(61), || Some("full".to_owned()));
        let changes: [Change<'_>; 7] = [
            (&|_| {}, &[], &[]),
            // A daemon without feeds has none that fails.
            (&|signs| signs.feeds.clear(), &[], &[]),
            (&|signs| signs.refused = fault(), &[], &["settings_refused"]),
            (&|signs| signs.ledger = Ok(dead), &["dead_letters"], &[]),
            (
                &|signs| signs.ledger = Err(String::new()),
                &["ledger_not_read"],
                &[],
            ),
            (
                &|signs| signs.ledger_fault = fault(),
                &["ledger_not_written"],
                &[],
            ),
            (&|signs| signs.silence = silence, &["stands_still"], &[]),
        ];
        let signs = |feeds| Signs {
            feeds,
            ledger: Ok(LedgerVitals::default()),
            ledger_fault: None,
            refused: None,
            silence: Duration::from_secs(11),
        };
        for (change, reasons, cautions) in changes {
            let mut signs = signs(vec![&good]);
            change(&mut signs);
            assert_eq!(
                words(&health(&signs)),
                (reasons.to_vec(), cautions.to_vec())
            );
        }
        let one_of_two = words(&health(&signs(vec![&good, &bad])));
        assert_eq!(one_of_two, (vec![], vec!["feeds_fail"]));
        let all = words(&health(&signs(vec![&bad])));
        assert_eq!(all, (vec!["every_feed_fails"], vec![]));
    }
}
