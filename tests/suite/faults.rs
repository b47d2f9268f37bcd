//! What may befall a ledger: kill -9, wild clocks, two writers, a log that grows.
//!
//! The short form runs always; `tests/faults.sh` runs the long one, with a real full disk.

use crate::support::guides::{Guides, rigtide, run, text};
use rigtide::ledger::{Ledger, PollRecord, Reader, SnapshotIs};
use rigtide::market::{FeedId, RetailerId};
use std::fs;
use std::process::{Output, Stdio};
use std::time::{Duration, Instant};

const OFFERS: &str = "retailers/example-offers.csv";
/// The part whose offer has another price in every round.
const SKU: &str = "EX-101";

fn rounds() -> u64 {
    let set = std::env::var("RIGTIDE_FAULT_ROUNDS").ok();
    set.map_or(10, |text| text.parse().unwrap())
}

fn at(guides: &Guides, now: &str, arguments: &[&str]) -> Output {
    let mut command = rigtide(&guides.directory);
    command.args(arguments).env("RIGTIDE_TEST_NOW", now);
    command.output().unwrap()
}

/// Writes the feed with this price of the offer, in cents.
fn offer_at(guides: &Guides, minor: i64) {
    let path = guides.directory.join(OFFERS);
    let before = fs::read_to_string(&path).unwrap();
    let lines = before.lines().map(|line| {
        let mut cells: Vec<String> = line.split(',').map(str::to_owned).collect();
        if cells[0] == SKU {
            cells[5] = format!("{}.{:02}", minor / 100, minor % 100);
        }
        cells.join(",") + "\n"
    });
    fs::write(&path, lines.collect::<String>()).unwrap();
}

/// Beginnings, ends and prices of the offer, in order.
fn series(guides: &Guides) -> Vec<(i64, i64, i64)> {
    let reader = Reader::open(&guides.ledger()).unwrap();
    let listed = reader.listed_offers().unwrap();
    let offer = listed
        .iter()
        .find(|one| one.offer.sku.as_str() == SKU)
        .unwrap();
    let part = offer.part.as_ref().unwrap().part.clone();
    let series = reader.series(&part).unwrap();
    let own = series.iter().filter(|one| one.sku.as_str() == SKU);
    own.map(|one| {
        let (from, until) = (one.from.timestamp(), one.until.timestamp());
        (from, until, one.price.minor())
    })
    .collect()
}

fn verified(guides: &Guides) {
    let verified = Reader::open(&guides.ledger()).unwrap().verify().unwrap();
    assert!(
        verified.holds(),
        "{:?}",
        verified.failed().collect::<Vec<_>>()
    );
}

fn instant(round: u64) -> (i64, String) {
    let begin: chrono::DateTime<chrono::Utc> = "2026-12-01T00:00:00Z".parse().unwrap();
    let at = begin + chrono::TimeDelta::minutes(i64::try_from(round).unwrap());
    (at.timestamp(), at.format("%Y-%m-%dT%H:%M:%SZ").to_string())
}

#[test]
fn after_kill_9_at_any_moment_every_acknowledged_price_and_bulletin_is_there() {
    // Pitfalls D10 and N02. Rounds with a poll that is left to end, one that is killed, and a daemon that
    // is killed while it decides.
    let guides = Guides::new();
    let (_, first) = instant(0);
    let begun = Instant::now();
    assert!(at(&guides, &first, &["poll"]).status.success());
    let usual = begun.elapsed();
    let mut random: u64 = 2026;
    let (mut acknowledged, mut n_cut, mut n_whole) = (Vec::new(), 0, 0);
    for round in 1..=rounds() {
        let (stamp, now) = instant(round);
        let minor = 18_990 + i64::try_from(round % 97).unwrap() * 10;
        offer_at(&guides, minor);
        // Knuth's MMIX generator (from memory); the moment is what matters.
        random = random
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1_442_695_040_888_963_407);
        let after = usual.mul_f64((random >> 33) as f64 / f64::from(1_u32 << 31) * 1.3);
        let word = if round % 3 == 2 { "watch" } else { "poll" };
        let mut command = rigtide(&guides.directory);
        command.arg(word).env("RIGTIDE_TEST_NOW", &now);
        command.stdout(Stdio::null()).stderr(Stdio::null());
        let mut child = command.spawn().unwrap();
        std::thread::sleep(after);
        let ended = child.try_wait().unwrap();
        match ended {
            Some(status) => assert!(status.success(), "{status}"),
            None => child.kill().unwrap(),
        }
        child.wait().unwrap();
        if ended.is_some() && word == "poll" {
            acknowledged.push((stamp, minor));
            n_whole += 1;
        } else {
            n_cut += 1;
        }
        verified(&guides);
        let series = series(&guides);
        for pair in series.windows(2) {
            assert!(pair[0].1 < pair[1].0, "{pair:?}");
        }
        for (stamp, minor) in &acknowledged {
            let holds = |one: &&(i64, i64, i64)| (one.0..=one.1).contains(stamp);
            let found: Vec<i64> = series.iter().filter(holds).map(|one| one.2).collect();
            assert_eq!(found, [*minor], "round {round}, acknowledged at {stamp}");
        }
        // A poll is there whole or not at all.
        let reader = Reader::open(&guides.ledger()).unwrap();
        let feed = FeedId::new("example/export");
        for line in reader.last_polls(&feed, 3).unwrap() {
            assert!(line.record.offers > 10, "{line:?}");
        }
    }
    assert!(n_cut > 0, "nothing was ever cut");
    eprintln!("{n_whole} polls ended, {n_cut} runs were cut");
    // An answer and its bulletin came together, and what waited is delivered.
    let connection = rusqlite::Connection::open(guides.ledger()).unwrap();
    let lonely: i64 = connection
        .query_row(
            "SELECT count(*) FROM answer a WHERE NOT EXISTS (
                 SELECT 1 FROM bulletin b WHERE b.brief = a.brief
                     AND b.at_ms BETWEEN a.since_ms AND a.until_ms)",
            [],
            |row| row.get(0),
        )
        .unwrap();
    assert_eq!(lonely, 0);
    let waiting = || -> i64 {
        let select = "SELECT count(*) FROM outbox WHERE state = 'waiting'";
        connection.query_row(select, [], |row| row.get(0)).unwrap()
    };
    let mut daemon = rigtide(&guides.directory);
    let mut daemon = daemon
        .arg("watch")
        .stdout(Stdio::null())
        .stderr(Stdio::null())
        .spawn()
        .unwrap();
    let until = Instant::now() + Duration::from_secs(20);
    while waiting() > 0 && Instant::now() < until {
        std::thread::sleep(Duration::from_millis(50));
    }
    daemon.kill().unwrap();
    daemon.wait().unwrap();
    assert_eq!(waiting(), 0, "bulletins were lost");
}

#[test]
fn a_clock_that_jumps_by_days_or_decades_leaves_a_ledger_that_holds() {
    // Pitfall D04.
    let guides = Guides::new();
    let jumps = [
        "2026-12-01T06:00:00Z",
        "2026-12-02T06:00:00Z",
        "2026-12-01T06:10:00Z",
        "2036-12-01T06:00:00Z",
        "2026-12-01T06:20:00Z",
        "2016-12-01T06:00:00Z",
        "2026-12-01T06:30:00Z",
    ];
    for (minor, now) in (18_990..).step_by(10).zip(jumps) {
        offer_at(&guides, minor);
        let polled = at(&guides, now, &["poll"]);
        assert!(polled.status.success(), "{now}: {}", text(&polled.stderr));
        verified(&guides);
        let series = series(&guides);
        assert_eq!(series.last().unwrap().2, minor, "the newest price at {now}");
        assert!(
            series.windows(2).all(|pair| pair[0].1 <= pair[1].0),
            "{series:?}"
        );
        let best = at(&guides, now, &["best", "--json"]);
        assert!(best.status.success(), "{now}: {}", text(&best.stderr));
    }
}

#[test]
fn two_writers_wait_for_each_other_and_both_are_kept() {
    // Pitfalls D08 and D11: one process at a time writes, the other waits its turn.
    let guides = Guides::new();
    assert!(run(&guides.directory, &["poll"]).status.success());
    for _ in 0..3 {
        let children: Vec<_> = (0..4)
            .map(|_| {
                let mut command = rigtide(&guides.directory);
                command
                    .args(["poll", "--json"])
                    .stdout(Stdio::piped())
                    .stderr(Stdio::piped());
                command.spawn().unwrap()
            })
            .collect();
        for child in children {
            let output = child.wait_with_output().unwrap();
            assert!(output.status.success(), "{}", text(&output.stderr));
        }
    }
    let reader = Reader::open(&guides.ledger()).unwrap();
    let polls = reader
        .last_polls(&FeedId::new("example/export"), 100)
        .unwrap();
    assert_eq!(polls.len(), 13);
    verified(&guides);
}

#[test]
fn the_log_stays_small_and_shrinks_again_after_a_long_read() {
    // Pitfall D07.
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("ledger.sqlite");
    let log = folder.path().join("ledger.sqlite-wal");
    let mut ledger = Ledger::open(&path).unwrap();
    let mut minute = 0;
    let mut poll = |ledger: &mut Ledger| {
        let at = chrono::DateTime::UNIX_EPOCH + chrono::TimeDelta::minutes(minute);
        minute += 1;
        let (feed, retailer) = (FeedId::new("shop/all"), RetailerId::new("shop"));
        let writer = ledger.begin_poll(&feed, &retailer, at).unwrap();
        // Stands for what many changes would write.
        let record = PollRecord {
            notes: vec!["x".repeat(100_000)],
            ..PollRecord::default()
        };
        writer.commit(&record, SnapshotIs::Complete).unwrap();
    };
    let size = || fs::metadata(&log).unwrap().len();
    for _ in 0..400 {
        poll(&mut ledger);
    }
    // A checkpoint comes after 4,096 pages of 4 KiB (SQLite's documentation of wal_autocheckpoint),
    // with the frames' headers and the commit that crosses that on top.
    assert!(size() < 18 << 20, "{} bytes", size());
    let connection = rusqlite::Connection::open(&path).unwrap();
    connection
        .execute_batch("BEGIN; SELECT count(*) FROM poll")
        .unwrap();
    for _ in 0..450 {
        poll(&mut ledger);
    }
    let held = size();
    assert!(
        held > 40 << 20,
        "the reader held nothing back: {held} bytes"
    );
    connection.execute_batch("COMMIT").unwrap();
    for _ in 0..30 {
        poll(&mut ledger);
    }
    assert!(size() <= 32 << 20, "{} bytes", size());
}
