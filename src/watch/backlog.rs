//! Polls that wait in memory while the ledger cannot be written.
//!
//! A full disk or a file system that has become read-only must not cost what the shops say in the
//! meantime. What was brought in is kept as it came, up to a bound, and stored under its own
//! instant once the ledger takes it. It does not outlive the process: nothing was acknowledged.

use super::cycle::Unstored;
use super::poll::{PollReport, Polling};
use crate::ledger::{JournalEntry, LedgerError};
use chrono::{DateTime, Utc};
use std::collections::VecDeque;

/// Bytes of documents kept at most; the oldest polls are let go first.
pub const BYTES_MAX: u64 = 64 << 20;
/// Polls kept at most.
pub const POLLS_MAX: usize = 10_000;

/// Polls in the order in which they were made.
#[derive(Default)]
pub struct Backlog {
    polls: VecDeque<(Unstored, DateTime<Utc>)>,
    bytes: u64,
    /// Polls let go since the ledger failed.
    let_go: u64,
    stored: u64,
    /// When the ledger failed first, until it is back.
    failing_since: Option<DateTime<Utc>>,
    /// How it failed first.
    fault: Option<String>,
}

impl Backlog {
    /// True while the ledger is not written.
    pub fn is_waiting(&self) -> bool {
        self.failing_since.is_some()
    }

    /// Why the ledger is not written, while it is not.
    pub fn fault(&self) -> Option<&str> {
        self.fault.as_deref()
    }

    /// Notes that the ledger failed at `now`, and says so the first time.
    pub fn failed(&mut self, error: &LedgerError, now: DateTime<Utc>) {
        if self.failing_since.is_none() {
            self.failing_since = Some(now);
            let error = super::decision::error_chain(error);
            self.fault = Some(error.clone());
            let bytes_max = BYTES_MAX;
            tracing::error!(%error, bytes_max, "the ledger cannot be written: polls go on and are kept in memory, up to {} MiB, until it can", BYTES_MAX >> 20);
        }
    }

    /// Keeps a poll of `now`.
    pub fn keep(&mut self, mut unstored: Unstored, now: DateTime<Utc>) {
        if let Some(error) = &unstored.error {
            self.failed(error, now);
        }
        if let Err(error) = unstored.brought.detach() {
            let feed = &unstored.brought.feed.id;
            tracing::error!(feed.id = %feed, %error, "a poll could not be kept");
            self.let_go += 1;
            return;
        }
        self.bytes += unstored.brought.bytes();
        self.polls.push_back((unstored, now));
        while self.bytes > BYTES_MAX || self.polls.len() > POLLS_MAX {
            let Some((oldest, at)) = self.polls.pop_front() else {
                return;
            };
            self.bytes -= oldest.brought.bytes();
            self.let_go += 1;
            let feed = &oldest.brought.feed.id;
            tracing::warn!(feed.id = %feed, poll.at = %at, "no more room to keep polls: the oldest is let go");
        }
    }

    /// Stores what waits, oldest first, and returns the reports. What still cannot be stored waits
    /// on.
    ///
    /// # Errors
    /// [`LedgerError`] that will not pass.
    pub fn store(
        &mut self,
        polling: &Polling,
        now: DateTime<Utc>,
    ) -> Result<Vec<PollReport>, LedgerError> {
        let mut reports = Vec::new();
        while let Some((first, at)) = self.polls.front_mut() {
            match polling.try_store(&mut first.brought, first.network, *at) {
                Ok(report) => reports.push(report),
                Err(error) if error.may_pass() => return Ok(reports),
                Err(error) => return Err(error),
            }
            self.bytes -= first.brought.bytes();
            self.polls.pop_front();
            self.stored += 1;
        }
        if let Some(since) = self.failing_since {
            match polling.ledger().note(&[self.entry(since, now)]) {
                Ok(()) => {}
                Err(error) if error.may_pass() => return Ok(reports),
                Err(error) => return Err(error),
            }
            let (stored, let_go) = (self.stored, self.let_go);
            tracing::info!(stored, let_go, "the ledger is written again");
            *self = Backlog::default();
        }
        Ok(reports)
    }

    fn entry(&self, since: DateTime<Utc>, now: DateTime<Utc>) -> JournalEntry {
        let Backlog { stored, let_go, .. } = self;
        JournalEntry {
            at: now,
            kind: "ledger_back".to_owned(),
            feed: None,
            brief: None,
            part: None,
            text: format!(
                "the ledger could not be written from {since} on; {stored} polls were kept and \
                 stored, {let_go} let go"
            ),
            data: serde_json::json!({ "stored": stored, "let_go": let_go }),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::super::cycle::{Storing, poll_and_keep};
    use super::super::settings::load_settings;
    use super::*;
    use crate::feeds::http::{Fetcher, FetcherOptions};
    use crate::ledger::Ledger;
    use crate::market::{FeedId, Matcher};
    use chrono::TimeDelta;
    use std::num::NonZeroUsize;
    use std::sync::{Arc, Mutex};

    struct Shop {
        folder: tempfile::TempDir,
        polling: Polling,
    }

    impl Shop {
        /// One feed that is a file.
        fn open() -> Shop {
            let folder = tempfile::tempdir().unwrap();
            let write = |name: &str, text: &str| {
                let path = folder.path().join(name);
                std::fs::create_dir_all(path.parent().unwrap()).unwrap();
                std::fs::write(path, text).unwrap();
            };
            write(
                "rigtide.toml",
                "contact = \"editor@guide.example\"\nledger = \"ledger.sqlite\"\n",
            );
            write(
                "retailers/shop.toml",
                "name = \"Shop\"\ncountry = \"DE\"\ncurrency = \"EUR\"\nlocale = \"en\"\n\
                 [[feed]]\nid = \"all\"\nformat = \"csv\"\nfile = \"retailers/shop.csv\"\n\
                 schedule = \"* * * * *\"\n\
                 fields = { sku = \"number\", title = \"title\", price = \"price\" }\n",
            );
            for folder_of_none in ["catalogue", "briefs"] {
                std::fs::create_dir(folder.path().join(folder_of_none)).unwrap();
            }
            let settings = load_settings(folder.path()).unwrap();
            let options = FetcherOptions {
                identity: settings.identity.clone(),
                extra_roots: Vec::new(),
                spool_directory: None,
            };
            let polling = Polling {
                fetcher: Arc::new(Fetcher::new(options).unwrap()),
                matcher: Arc::new(Matcher::new(&settings.catalogue)),
                ledger: Arc::new(Mutex::new(Ledger::open(&settings.ledger).unwrap())),
                settings: Arc::new(settings),
                readers: NonZeroUsize::MIN,
            };
            Shop { folder, polling }
        }

        async fn poll(&self, backlog: &mut Backlog, minute: i64, price: &str) {
            let feed = format!("number,title,price\n1,Quillon K7,{price}\n");
            let path = self.folder.path().join("retailers/shop.csv");
            std::fs::write(path, feed).unwrap();
            let storing = match backlog.is_waiting() {
                true => Storing::Later,
                false => Storing::Now,
            };
            let feeds = &self.polling.settings.feeds;
            let told = &mut |_: &PollReport| {};
            let polled = poll_and_keep(&self.polling, feeds, at(minute), storing, told);
            for unstored in polled.await.unwrap().1 {
                backlog.keep(unstored, at(minute));
            }
        }

        /// Minutes and prices in the ledger.
        fn series(&self) -> Vec<(i64, String)> {
            let ledger = self.polling.ledger();
            let mut seen = Vec::new();
            for poll in ledger.read().last_polls(&feed(), 100).unwrap() {
                seen.push((poll.at - at(0)).num_minutes());
            }
            seen.sort_unstable();
            let price = ledger.read().listed_offers().unwrap();
            let price = price.first().map(|one| one.offer.price.decimal());
            let price = price.unwrap_or_default();
            seen.into_iter()
                .map(|minute| (minute, price.clone()))
                .collect()
        }
    }

    fn feed() -> FeedId {
        FeedId::new("shop/all")
    }

    fn at(minute: i64) -> DateTime<Utc> {
        DateTime::UNIX_EPOCH + TimeDelta::days(20_000) + TimeDelta::minutes(minute)
    }

    #[tokio::test]
    async fn polls_wait_for_a_full_or_read_only_ledger_and_keep_their_instants_and_prices() {
        // Pitfall D09. `max_page_count` brings about SQLITE_FULL, `query_only` SQLITE_READONLY.
        for (broken, mended) in [
            ("max_page_count = 1", "max_page_count = 1000000"),
            ("query_only = 1", "query_only = 0"),
        ] {
            let shop = Shop::open();
            let mut backlog = Backlog::default();
            shop.poll(&mut backlog, 0, "100.00").await;
            assert!(!backlog.is_waiting());
            shop.polling.ledger().set_pragma(broken);
            // A full ledger still takes what fits into the pages that it has.
            let before = shop.series();
            for (minute, price) in [(1, "101.00"), (2, "102.00"), (3, "103.00")] {
                let more: String = (2..300)
                    .map(|sku| format!("\n{sku},Quillon,5.00"))
                    .collect();
                shop.poll(&mut backlog, minute, &format!("{price}{more}"))
                    .await;
            }
            assert!(backlog.is_waiting(), "{broken}");
            assert_eq!(shop.series(), before, "{broken}");
            assert_eq!(backlog.store(&shop.polling, at(4)).unwrap().len(), 0);
            assert!(backlog.is_waiting());
            shop.polling.ledger().set_pragma(mended);
            let stored = backlog.store(&shop.polling, at(5)).unwrap();
            assert_eq!(stored.len(), 3);
            assert!(!backlog.is_waiting());
            let expected = [0, 1, 2, 3].map(|minute| (minute, "103.00".to_owned()));
            assert_eq!(shop.series(), expected);
            let ledger = shop.polling.ledger();
            // Each was read as it was when it was polled, though the file has changed since.
            let changed = ledger.read().journal(10).unwrap();
            let kinds: Vec<&str> = changed
                .iter()
                .map(|line| line.entry.kind.as_str())
                .collect();
            assert_eq!(kinds[0], "ledger_back");
            assert_eq!(
                kinds
                    .iter()
                    .filter(|kind| **kind == "prices_changed")
                    .count(),
                4
            );
            assert!(ledger.read().verify().unwrap().holds());
        }
    }

    #[tokio::test]
    async fn what_is_kept_has_a_bound_and_the_oldest_is_let_go() {
        let shop = Shop::open();
        let mut backlog = Backlog::default();
        shop.polling.ledger().set_pragma("query_only = 1");
        let long = "x".repeat(25 << 20);
        for minute in 0..4 {
            shop.poll(
                &mut backlog,
                minute,
                &format!("10{minute}.00\n2,{long},5.00"),
            )
            .await;
            assert!(backlog.bytes <= BYTES_MAX);
        }
        assert_eq!((backlog.polls.len(), backlog.let_go), (2, 2));
        shop.polling.ledger().set_pragma("query_only = 0");
        backlog.store(&shop.polling, at(9)).unwrap();
        let minutes: Vec<i64> = shop.series().iter().map(|(minute, _)| *minute).collect();
        assert_eq!(minutes, [2, 3]);
        let entry = &shop.polling.ledger().read().journal(1).unwrap()[0].entry;
        assert!(
            entry
                .text
                .contains("2 polls were kept and stored, 2 let go"),
            "{}",
            entry.text
        );
    }
}
