//! What everything hangs on goes away for a day and comes back: the network, its names, the mail
//! server. Nothing is lost and nobody is flooded. And when bulletins go out that wait for their hour.

use crate::support::receivers::Receiver;
use crate::support::shops::{N_SHOPS, Shops, brief};
use chrono::{DateTime, TimeDelta, Timelike, Utc};
use chrono_tz::Europe::Berlin;
use rigtide::ledger::{JournalWanted, Reader};
use rigtide::watch::calls::{Calls, Listener};
use rigtide::watch::clock::Clock;
use rigtide::watch::daemon::watch;
use rusqlite::Connection;
use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

const START: &str = "2026-03-02T06:00:00Z";
const N_FEEDS_A_SHOP: usize = 2;
const N_FEEDS: i64 = (N_SHOPS * N_FEEDS_A_SHOP) as i64;

/// Shops, and a desk that hears of them by webhook and mail.
struct Desk {
    shops: Shops,
    hook: Receiver,
    mail: Receiver,
}

/// What happens so many hours after the start.
type Appointment<'d> = (i64, &'d (dyn Fn(&Desk) + Send + Sync));

/// Does something when its hour has come, and ends the watch.
struct Agenda<'d> {
    desk: &'d Desk,
    stop: tokio::sync::watch::Sender<bool>,
    /// In order, the next one last.
    appointments: Vec<Appointment<'d>>,
}

fn after(hours: i64) -> DateTime<Utc> {
    START.parse::<DateTime<Utc>>().unwrap() + TimeDelta::hours(hours)
}

impl Listener for Agenda<'_> {
    fn ledger_fares(&mut self, _fault: Option<&str>) {
        let now = self.desk.shops.clock.now();
        while self
            .appointments
            .last()
            .is_some_and(|(hours, _)| after(*hours) <= now)
        {
            let (_, does) = self.appointments.pop().unwrap();
            does(self.desk);
        }
        if self.appointments.is_empty() {
            self.stop.send(true).unwrap();
        }
    }
}

impl Desk {
    /// `mail` says more of the mail channel, and `telling` of the brief.
    async fn open(mail: &str, telling: &str) -> Desk {
        let clock = Clock::leaping(START.parse().unwrap());
        let desk = Desk {
            shops: Shops::open(5, N_FEEDS_A_SHOP, clock, Arc::new(|| {})).await,
            hook: Receiver::webhook(Arc::new(|| {})).await,
            mail: Receiver::mail().await,
        };
        let settings = format!(
            "contact = \"editor@guide.example\"\nledger = \"ledger.sqlite\"\n{}{}",
            desk.hook.channel("hook", ""),
            desk.mail.channel("mail", mail),
        );
        desk.shops.configuration.write("rigtide.toml", settings);
        let den = brief("Den", "1000.00", "\"mail\", \"hook\"", telling);
        desk.shops.configuration.write("briefs/den.toml", den);
        desk.shops.state().moves_percent = 15;
        desk
    }

    /// Watches, without a pause, until the last of the appointments, which are in order.
    async fn watch(&self, appointments: &[Appointment<'_>]) {
        let (stop, stopping) = tokio::sync::watch::channel(false);
        let mut agenda = Agenda {
            desk: self,
            stop,
            appointments: appointments.iter().rev().copied().collect(),
        };
        let polling = self.shops.polling();
        let clock = self.shops.clock.clone();
        watch(&polling, &clock, Calls::to_stop(stopping), &mut agenda)
            .await
            .unwrap();
    }

    fn rows(&self) -> Connection {
        Connection::open(self.shops.configuration.path("ledger.sqlite")).unwrap()
    }

    /// How many rows there are, in hours after the start.
    fn count(&self, select: &str, hours: std::ops::Range<i64>) -> i64 {
        let of = |hours| after(hours).timestamp_millis();
        let span = (of(hours.start), of(hours.end));
        self.rows()
            .query_row(select, span, |row| row.get(0))
            .unwrap()
    }

    fn n_polls(&self, what: &str, hours: std::ops::Range<i64>) -> i64 {
        let select =
            format!("SELECT count(*) FROM poll WHERE at_ms >= ?1 AND at_ms < ?2 AND {what}");
        self.count(&select, hours)
    }

    fn n_bulletins(&self, hours: std::ops::Range<i64>) -> i64 {
        self.count(
            "SELECT count(*) FROM bulletin WHERE at_ms >= ?1 AND at_ms < ?2",
            hours,
        )
    }

    fn n_journal(&self, kind: &str) -> usize {
        let reader = Reader::open(&self.shops.configuration.path("ledger.sqlite")).unwrap();
        let wanted = JournalWanted {
            brief: None,
            feed: None,
            kind: Some(kind.to_owned()),
            since: None,
            after: None,
            before: None,
        };
        reader.journal_of(&wanted, u32::MAX).unwrap().len()
    }

    /// Every delivery was made, once, and in the order of the decisions.
    fn all_arrived_once_and_in_order(&self) {
        let rows = self.rows();
        for (channel, receiver) in [("hook", &self.hook), ("mail", &self.mail)] {
            let mut select = rows
                .prepare("SELECT bulletin_id, state FROM outbox WHERE channel = ?1 ORDER BY id")
                .unwrap();
            let found = select
                .query_map([channel], |row| Ok((row.get(0)?, row.get(1)?)))
                .unwrap();
            let found: Vec<(String, String)> = found.map(Result::unwrap).collect();
            assert!(
                found.iter().all(|(_, state)| state == "sent"),
                "{channel}: {found:?}"
            );
            let ids: Vec<String> = found.into_iter().map(|(id, _)| id).collect();
            assert_eq!(receiver.inbox().order, ids, "{channel}");
        }
    }
}

fn nothing(_: &Desk) {}

/// Polls in a row that a feed that cannot be reached costs in a day of growing pauses.
const A_DAY_OF_FAILURES: i64 = 20;

// Pitfalls H21 and D04.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn without_a_network_for_a_day_the_last_good_offers_stand_and_their_return_is_no_flood() {
    let desk = Desk::open("", "").await;
    let goes: &(dyn Fn(&Desk) + Send + Sync) = &|desk| desk.shops.state().is_network_gone = true;
    let comes: &(dyn Fn(&Desk) + Send + Sync) = &|desk| {
        let listed = desk.shops.listed();
        assert!(listed > 400, "offers left the market: {listed}");
        desk.shops.state().is_network_gone = false;
    };
    desk.watch(&[(24, goes), (48, comes), (60, &nothing)]).await;
    assert!(desk.n_polls("status IN ('fresh', 'unchanged')", 0..24) > 100);
    assert_eq!(desk.n_polls("status IN ('fresh', 'unchanged')", 25..48), 0);
    let failed = desk.n_polls("status = 'failed'", 24..48);
    assert!(
        (N_FEEDS..=N_FEEDS * A_DAY_OF_FAILURES).contains(&failed),
        "{failed}"
    );
    assert_eq!(desk.n_bulletins(25..48), 0);
    // Back within the longest pause, each feed with one poll and not with all that were missed.
    let fresh = desk.n_polls("status IN ('fresh', 'unchanged')", 48..54);
    assert!((N_FEEDS..=N_FEEDS * 7).contains(&fresh), "{fresh}");
    let (before, back) = (desk.n_bulletins(12..24), desk.n_bulletins(48..60));
    assert!(back <= before + N_FEEDS, "{back} after {before}");
    let told = desk.n_journal("feed_failing") + desk.n_journal("feed_recovered");
    assert!(told <= 3 * N_FEEDS as usize, "{told}");
    desk.all_arrived_once_and_in_order();
}

// Pitfall H21.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn without_names_for_a_day_no_feed_is_blamed_and_the_journal_says_it_once() {
    let desk = Desk::open("", "").await;
    let goes: &(dyn Fn(&Desk) + Send + Sync) = &|desk| desk.shops.state().is_dns_gone = true;
    let comes: &(dyn Fn(&Desk) + Send + Sync) = &|desk| {
        assert!(desk.shops.listed() > 400);
        desk.shops.state().is_dns_gone = false;
        desk.shops.state().n_requests = 0;
    };
    let later: &(dyn Fn(&Desk) + Send + Sync) = &|desk| {
        // Each feed made up for what it missed once, and went on as usual.
        let n_requests = desk.shops.state().n_requests as i64;
        assert!(
            (N_FEEDS..=N_FEEDS * 3).contains(&n_requests),
            "{n_requests}"
        );
    };
    desk.watch(&[(10, goes), (34, comes), (35, later), (40, &nothing)])
        .await;
    assert_eq!(desk.n_polls("status IN ('fresh', 'unchanged')", 11..34), 0);
    assert_eq!(desk.n_bulletins(11..34), 0);
    assert_eq!(desk.n_polls("status = 'failed'", 35..40), 0);
    for kind in ["feed_given_a_rest", "feed_still_failing"] {
        assert_eq!(desk.n_journal(kind), 0, "{kind}");
    }
    let said = desk.n_journal("no_network");
    assert!((1..=2).contains(&said), "{said}");
    desk.all_arrived_once_and_in_order();
}

// Pitfall N03.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn mail_that_waits_for_its_server_for_a_day_arrives_once_and_in_order() {
    let desk = Desk::open("", "").await;
    let goes: &(dyn Fn(&Desk) + Send + Sync) = &|desk| desk.mail.leave();
    let comes: &(dyn Fn(&Desk) + Send + Sync) = &|desk| {
        // Decisions and the other channel go on meanwhile.
        assert!(desk.n_bulletins(12..36) > 0);
        let (mail, hook) = (desk.mail.inbox().order.len(), desk.hook.inbox().order.len());
        assert!(mail < hook, "{mail} {hook}");
        desk.mail.inbox().n_conversations = 0;
        desk.mail.come_back();
    };
    // No pause between two attempts is longer than six hours.
    let later: &(dyn Fn(&Desk) + Send + Sync) = &|desk| {
        let rows = desk.rows();
        let waiting = "SELECT count(*) FROM outbox o JOIN bulletin b ON b.id = o.bulletin_id
                       WHERE o.state <> 'sent' AND b.at_ms < ?1";
        let back = after(36).timestamp_millis();
        let waiting: i64 = rows.query_row(waiting, [back], |row| row.get(0)).unwrap();
        assert_eq!(waiting, 0);
    };
    desk.watch(&[(12, goes), (36, comes), (43, later), (46, &nothing)])
        .await;
    let inbox = desk.mail.inbox();
    assert_eq!(inbox.order.len(), inbox.got.len());
    let told = desk.n_bulletins(0..36) + desk.n_bulletins(36..60);
    assert!(inbox.n_conversations as i64 <= told);
    drop(inbox);
    desk.all_arrived_once_and_in_order();
}

/// When each delivery on a channel was made, with whether it is a digest.
fn sent(desk: &Desk, channel: &str) -> Vec<(DateTime<Utc>, bool)> {
    let rows = desk.rows();
    let mut select = rows
        .prepare(
            "SELECT touched_ms, bulletin_id IN (SELECT joined_into FROM outbox WHERE joined_into IS NOT NULL)
             FROM outbox
             WHERE channel = ?1 AND state = 'sent' AND joined_into IS NULL",
        )
        .unwrap();
    let found = select
        .query_map([channel], |row| Ok((row.get(0)?, row.get(1)?)))
        .unwrap();
    let found: Vec<(i64, bool)> = found.map(Result::unwrap).collect();
    let at = |ms| DateTime::from_timestamp_millis(ms).unwrap();
    found
        .into_iter()
        .map(|(ms, is_digest)| (at(ms), is_digest))
        .collect()
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn in_quiet_hours_nothing_goes_out_and_what_waited_comes_after_them() {
    let quiet = "quiet = \"20:00-07:30\"\ntimezone = \"Europe/Berlin\"\n";
    let desk = Desk::open(quiet, "").await;
    desk.watch(&[(48, &nothing)]).await;
    let (mail, hook) = (sent(&desk, "mail"), sent(&desk, "hook"));
    let is_quiet = |at: DateTime<Utc>| {
        let minutes = at.with_timezone(&Berlin).num_seconds_from_midnight() / 60;
        !(7 * 60 + 30..20 * 60).contains(&minutes)
    };
    assert!(
        hook.iter().any(|(at, _)| is_quiet(*at)),
        "nothing was decided then: {hook:?}"
    );
    assert!(mail.iter().all(|(at, _)| !is_quiet(*at)), "{mail:?}");
    // The first half minute after them.
    let waited = mail.iter().filter(|(at, _)| {
        let local = at.with_timezone(&Berlin);
        (local.hour(), local.minute()) == (7, 30)
    });
    assert!(waited.count() > 0, "{mail:?}");
}

// Pitfall N10.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn what_comes_together_until_the_hour_of_a_digest_is_one_mail_a_day() {
    let daily = "digest = \"daily 08:00\"\ntimezone = \"Europe/Berlin\"\n";
    let desk = Desk::open(daily, "").await;
    desk.watch(&[(74, &nothing)]).await;
    let mails = sent(&desk, "mail");
    let days: BTreeMap<_, usize> = mails.iter().fold(BTreeMap::new(), |mut days, (at, _)| {
        *days
            .entry(at.with_timezone(&Berlin).date_naive())
            .or_default() += 1;
        days
    });
    assert!(
        days.len() >= 3 && days.values().all(|mails| *mails == 1),
        "{days:?}"
    );
    for (at, _) in &mails {
        let local = at.with_timezone(&Berlin);
        assert_eq!((local.hour(), local.minute()), (8, 0), "{local}");
    }
    assert!(mails.iter().any(|(_, is_digest)| *is_digest), "{mails:?}");
    // Each of those that were joined stands in the digest's text.
    let rows = desk.rows();
    let mut select = rows
        .prepare(
            "SELECT b.subject, d.text FROM outbox o JOIN bulletin b ON b.id = o.bulletin_id
             JOIN bulletin d ON d.id = o.joined_into",
        )
        .unwrap();
    let joined = select
        .query_map([], |row| Ok((row.get(0)?, row.get(1)?)))
        .unwrap();
    let joined: BTreeSet<(String, String)> = joined.map(Result::unwrap).collect();
    assert!(joined.len() > 1);
    for (subject, digest) in joined {
        assert!(digest.contains(&subject), "{subject}: {digest}");
    }
}

// Pitfall N08.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_start_with_nothing_changed_tells_nothing_and_a_change_while_down_is_told_once() {
    let desk = Desk::open("", "").await;
    desk.shops.state().moves_percent = 0;
    desk.watch(&[(8, &nothing)]).await;
    let before = desk.n_bulletins(0..8);
    assert!(before > 0);
    desk.watch(&[(9, &nothing)]).await;
    assert_eq!(desk.n_bulletins(0..9), before);
    let cheaper = brief("Den", "800.00", "\"mail\", \"hook\"", "");
    desk.shops.configuration.write("briefs/den.toml", cheaper);
    for hours in [10, 11] {
        desk.watch(&[(hours, &nothing)]).await;
        assert_eq!(desk.n_bulletins(0..hours), before + 1);
    }
    desk.all_arrived_once_and_in_order();
}
