//! What its user asks a daemon's work: the plan, the deliveries, the journal, how everything stands.

use crate::support::guides::{Guides, rigtide, run, text};
use chrono::{DateTime, TimeDelta, Utc};
use rigtide::ledger::{DeliveryState, JournalEntry, Ledger, Reader, WatchLock};
use serde_json::Value;
use std::io::{BufRead, BufReader};
use std::process::{Output, Stdio};
use std::time::{Duration, Instant};

pub(super) const NOW: &str = "2026-12-01T08:10:00Z";
/// No wait in these tests takes longer unless something is broken.
const DEADLINE: Duration = Duration::from_secs(20);

fn now() -> DateTime<Utc> {
    NOW.parse().unwrap()
}

pub(super) fn at(guides: &Guides, instant: &str, arguments: &[&str]) -> Output {
    let mut command = rigtide(&guides.directory);
    command.args(arguments).env("RIGTIDE_TEST_NOW", instant);
    command.output().unwrap()
}

pub(super) fn said(guides: &Guides, arguments: &[&str]) -> String {
    let output = at(guides, NOW, arguments);
    assert!(output.status.success(), "{}", text(&output.stderr));
    text(&output.stdout)
}

fn json(guides: &Guides, arguments: &[&str]) -> Value {
    serde_json::from_str(&said(guides, arguments)).unwrap()
}

/// A bulletin for two channels, one of which gave it up.
pub(super) fn with_a_dead_letter(guides: &Guides) -> (i64, i64) {
    let bulletin = rigtide::decide::Bulletin {
        id: rigtide::decide::BulletinId::derive("example", "a", now()),
        brief: "example".to_owned(),
        at: now() - TimeDelta::hours(2),
        subject: "Reading-room PC: another graphics card\u{1b}[2J".to_owned(),
        text: "in: one, out: other".to_owned(),
        data: serde_json::json!({}),
    };
    let mut ledger = Ledger::open(&guides.ledger()).unwrap();
    let decision = rigtide::ledger::Decision {
        brief: "example".to_owned(),
        at: now() - TimeDelta::hours(2),
        fingerprint: "f".to_owned(),
        answer_json: "{}".to_owned(),
        journal: Vec::new(),
        bulletins: vec![
            ("desk".to_owned(), bulletin.clone()),
            ("phone".to_owned(), bulletin.clone()),
        ],
    };
    ledger.record_decision(&decision).unwrap();
    let later = now() - TimeDelta::hours(1);
    ledger
        .mark_dead(&bulletin.id, "phone", later, "answered 404")
        .unwrap();
    let id = |state| ledger.read().deliveries(&[state], 9).unwrap()[0].id;
    (id(DeliveryState::Waiting), id(DeliveryState::Dead))
}

#[test]
fn the_schedule_tells_the_next_runs_in_the_feeds_zone() {
    let guides = Guides::new();
    guides.edit(
        "retailers/example.toml",
        "schedule = \"7 * * * *\"",
        "schedule = \"30 2 * * *\"\ntimezone = \"Europe/Berlin\"",
    );
    insta::assert_snapshot!("never_polled", said(&guides, &["schedule"]));
    assert!(
        at(&guides, "2026-10-23T10:00:00Z", &["poll"])
            .status
            .success()
    );
    let planned = at(
        &guides,
        "2026-10-23T10:05:00Z",
        &["schedule", "--count", "4"],
    );
    // Pitfall D01: once in the night in which clocks are put back, on 2026-10-25.
    insta::assert_snapshot!("planned", text(&planned.stdout));
    let planned = at(&guides, "2026-10-23T10:05:00Z", &["schedule", "--json"]);
    let planned: Value = serde_json::from_slice(&planned.stdout).unwrap();
    let feed = &planned["feeds"][0];
    assert_eq!(
        feed["runs"],
        serde_json::json!(["2026-10-24T02:30:00+02:00"])
    );
    assert_eq!(
        (&feed["why"], &feed["timezone"]),
        (&"scheduled".into(), &"Europe/Berlin".into())
    );
    // A day later, with nobody watching.
    let missed = at(&guides, "2026-10-26T10:00:00Z", &["schedule", "--json"]);
    let missed: Value = serde_json::from_slice(&missed.stdout).unwrap();
    assert_eq!(missed["feeds"][0]["why"], "missed");
}

#[test]
fn the_schedule_tells_why_a_feed_is_put_off() {
    let guides = Guides::new();
    std::fs::remove_file(guides.directory.join("retailers/example-offers.csv")).unwrap();
    let polled = at(&guides, "2026-12-01T08:09:50Z", &["poll"]);
    assert_eq!(polled.status.code(), Some(5));
    let shown = said(&guides, &["schedule"]);
    assert!(
        shown.contains("put off: backing off after 1 failure"),
        "{shown}"
    );
    let status = json(&guides, &["status", "--json"]);
    let feed = &status["feeds"][0];
    assert_eq!(
        (&feed["failures"], &feed["last_good"]),
        (&1.into(), &Value::Null)
    );
    assert!(
        feed["error"]
            .as_str()
            .unwrap()
            .contains("example-offers.csv"),
        "{feed}"
    );
}

#[test]
fn dead_letters_are_listed_with_a_warning_and_can_be_tried_again() {
    let guides = Guides::new();
    let (waiting, dead) = with_a_dead_letter(&guides);
    insta::assert_snapshot!("outbox", said(&guides, &["outbox"]));
    let listed = json(&guides, &["outbox", "list", "--state", "dead", "--json"]);
    let keys: Vec<&str> = listed[0]
        .as_object()
        .unwrap()
        .keys()
        .map(String::as_str)
        .collect();
    insta::assert_snapshot!(keys.join(" "), @"id bulletin brief subject channel state attempts at touched next fault");
    let status = said(&guides, &["status"]);
    assert!(
        status.contains("warning: 1 bulletin was given up"),
        "{status}"
    );

    let again = said(&guides, &["outbox", "retry", "--all"]);
    assert!(again.starts_with(&format!("retried: {dead}, ")), "{again}");
    let due = Reader::open(&guides.ledger())
        .unwrap()
        .due(now(), 9)
        .unwrap();
    assert_eq!(due.len(), 2);
    assert_eq!(
        json(&guides, &["outbox", "retry", "--all", "--json"])["ids"],
        serde_json::json!([])
    );

    let dropped = said(&guides, &["outbox", "drop", &waiting.to_string()]);
    assert!(dropped.starts_with("dropped: "), "{dropped}");
    let kept = json(&guides, &["outbox", "list", "--state", "dropped", "--json"]);
    assert_eq!(
        (&kept[0]["id"], &kept[0]["next"]),
        (&waiting.into(), &Value::Null)
    );
    let journal = said(&guides, &["journal", "--kind", "delivery_dropped"]);
    assert!(journal.contains("for desk was dropped"), "{journal}");
    assert!(said(&guides, &["verify"]).contains("holds together"));
}

#[test]
fn all_that_failed_is_tried_again_and_what_waits_for_its_hour_is_left() {
    let guides = Guides::new();
    let (waiting, dead) = with_a_dead_letter(&guides);
    let untried = json(&guides, &["outbox", "retry", "--all", "--json"]);
    assert_eq!(untried["ids"], serde_json::json!([dead]));
    let bulletin = rigtide::decide::BulletinId::derive("example", "a", now());
    let mut ledger = Ledger::open(&guides.ledger()).unwrap();
    let (before, later) = (now() - TimeDelta::hours(1), now() + TimeDelta::hours(6));
    ledger
        .mark_failed(&bulletin, "desk", before, "connection refused", later)
        .unwrap();
    drop(ledger);
    let again = json(&guides, &["outbox", "retry", "--all", "--json"]);
    assert_eq!(again["ids"], serde_json::json!([waiting]));
    let due = Reader::open(&guides.ledger())
        .unwrap()
        .due(now(), 9)
        .unwrap();
    assert_eq!(due.len(), 2);
    let none = said(&guides, &["outbox", "retry", "--all"]);
    insta::assert_snapshot!(none, @"no delivery was given up or waits for a later try");
}

#[test]
fn the_journal_tells_once_that_a_price_is_held_and_that_it_is_believed() {
    let guides = Guides::new();
    let offers = guides.directory.join("retailers/example-offers.csv");
    let before = std::fs::read_to_string(&offers).unwrap();
    let line = before
        .lines()
        .find(|line| line.contains("Fjell 26"))
        .unwrap();
    let mut cells = line.split(',');
    let price = cells.find(|cell| cell.contains('.') && cell.parse::<f64>().is_ok());
    let cheap = line.replacen(price.unwrap(), "1.17", 1);
    let polled = |now: &str| assert!(at(&guides, now, &["poll"]).status.success());
    let lines = |kind: &str| {
        let printed = said(&guides, &["journal", "--kind", kind, "--json"]);
        let lines = printed
            .lines()
            .map(|line| serde_json::from_str(line).unwrap());
        lines.collect::<Vec<Value>>()
    };
    polled("2026-12-01T05:00:00Z");
    std::fs::write(&offers, before.replacen(line, &cheap, 1)).unwrap();
    polled("2026-12-01T06:00:00Z");
    let held = lines("price_held");
    assert_eq!(held.len(), 1, "{held:?}");
    let text = held[0]["text"].as_str().unwrap();
    assert!(
        text.contains("EUR 1.17 for ") && text.contains("held until it is confirmed"),
        "{text}"
    );
    assert!(
        held[0]["part"].is_string() && held[0]["feed"].is_string(),
        "{held:?}"
    );
    assert_eq!(lines("price_believed"), Vec::<Value>::new());
    // Another poll that says the same is news of another kind.
    let more = format!("{}\n", before.replacen(line, &cheap, 1));
    std::fs::write(&offers, more).unwrap();
    polled("2026-12-01T07:00:00Z");
    assert_eq!(lines("price_held"), held);
    let believed = lines("price_believed");
    assert_eq!(believed.len(), 1, "{believed:?}");
    assert_eq!(believed[0]["part"], held[0]["part"]);
}

#[test]
fn what_was_sent_is_neither_tried_again_nor_dropped() {
    let guides = Guides::new();
    let (waiting, _) = with_a_dead_letter(&guides);
    let bulletin = rigtide::decide::BulletinId::derive("example", "a", now());
    let mut ledger = Ledger::open(&guides.ledger()).unwrap();
    ledger.mark_sent(&bulletin, "desk", now()).unwrap();
    let id = waiting.to_string();
    for arguments in [["outbox", "retry", &id], ["outbox", "drop", &id]] {
        let refused = at(&guides, NOW, &arguments);
        assert_eq!(refused.status.code(), Some(2), "{arguments:?}");
        assert!(text(&refused.stderr).contains("was sent"));
    }
    for arguments in [["outbox", "retry", "99"], ["outbox", "drop", "99"]] {
        let refused = at(&guides, NOW, &arguments);
        assert_eq!(refused.status.code(), Some(2));
        assert!(text(&refused.stderr).contains("no delivery has the number 99"));
    }
    assert_eq!(
        at(&guides, NOW, &["outbox", "retry"]).status.code(),
        Some(2)
    );
}

fn entry(kind: &str, feed: &str, brief: Option<&str>, minute: i64) -> JournalEntry {
    JournalEntry {
        at: now() + TimeDelta::minutes(minute),
        kind: kind.to_owned(),
        feed: Some(rigtide::market::FeedId::new(feed)),
        brief: brief.map(str::to_owned),
        part: None,
        text: format!("{kind} of {feed}\u{1b}[31m"),
        data: serde_json::json!({ "minute": minute }),
    }
}

#[test]
fn the_journal_shows_what_is_wanted_oldest_first() {
    let guides = Guides::new();
    let mut ledger = Ledger::open(&guides.ledger()).unwrap();
    let entries = [
        entry("feed_failing", "kestrel/all", None, 0),
        entry("feed_recovered", "kestrel/all", None, 1),
        entry("feed_failing", "kestrel/used", Some("example"), 2),
        entry("feed_failing", "kestrelle/all", None, 3),
    ];
    ledger.note(&entries).unwrap();
    insta::assert_snapshot!("journal", said(&guides, &["journal"]));
    let minutes = |arguments: &[&str]| -> Vec<i64> {
        let arguments = [&["journal", "--json"], arguments].concat();
        let lines = said(&guides, &arguments);
        let minute = |line: &str| {
            let value: Value = serde_json::from_str(line).unwrap();
            value["data"]["minute"].as_i64().unwrap()
        };
        lines.lines().map(minute).collect()
    };
    assert_eq!(minutes(&["--feed", "kestrel"]), [0, 1, 2]);
    assert_eq!(minutes(&["--feed", "kestrel/used"]), [2]);
    assert_eq!(minutes(&["--kind", "feed_failing", "--limit", "2"]), [2, 3]);
    assert_eq!(minutes(&["--brief", "example"]), [2]);
    assert_eq!(minutes(&["--since", "2026-12-01T08:12:00Z"]), [2, 3]);
    assert_eq!(minutes(&["--since", "2026-12-02"]), [0; 0]);
}

#[test]
fn a_followed_journal_shows_what_comes_and_ends_with_its_reader() {
    let guides = Guides::new();
    let mut ledger = Ledger::open(&guides.ledger()).unwrap();
    ledger
        .note(&[entry("feed_failing", "kestrel/all", None, 0)])
        .unwrap();
    let mut command = rigtide(&guides.directory);
    command.args(["journal", "--follow", "--json", "--feed", "kestrel"]);
    let mut child = command.stdout(Stdio::piped()).spawn().unwrap();
    let mut lines = BufReader::new(child.stdout.take().unwrap());
    let mut next = || {
        let mut line = String::new();
        lines.read_line(&mut line).unwrap();
        let value: Value = serde_json::from_str(&line).unwrap();
        value["data"]["minute"].as_i64().unwrap()
    };
    assert_eq!(next(), 0);
    for minute in 1..4 {
        let others = entry("feed_failing", "other/all", None, 90);
        ledger
            .note(&[others, entry("feed_failing", "kestrel/all", None, minute)])
            .unwrap();
        assert_eq!(next(), minute);
    }
    drop(lines);
    let until = Instant::now() + DEADLINE;
    let ended = loop {
        if let Some(status) = child.try_wait().unwrap() {
            break Some(status);
        }
        if Instant::now() > until {
            child.kill().unwrap();
            child.wait().unwrap();
            break None;
        }
        std::thread::sleep(Duration::from_millis(20));
    };
    assert_eq!(ended.and_then(|status| status.code()), Some(0));
}

#[test]
fn a_followed_journal_that_is_interrupted_ends_well() {
    let guides = Guides::new();
    let mut ledger = Ledger::open(&guides.ledger()).unwrap();
    for signal in ["-INT", "-TERM"] {
        ledger
            .note(&[entry("feed_failing", "kestrel/all", None, 0)])
            .unwrap();
        let mut command = rigtide(&guides.directory);
        command.args(["journal", "--follow"]).stdout(Stdio::piped());
        let mut child = command.spawn().unwrap();
        let mut lines = BufReader::new(child.stdout.take().unwrap());
        lines.read_line(&mut String::new()).unwrap();
        // One that it shows while it follows: it listens for signals by then.
        ledger
            .note(&[entry("feed_failing", "kestrel/all", None, 1)])
            .unwrap();
        let mut line = String::new();
        while !line.contains("08:11") {
            line.clear();
            assert!(lines.read_line(&mut line).unwrap() > 0);
        }
        let id = child.id().to_string();
        let sent = std::process::Command::new("kill")
            .args([signal, &id])
            .status();
        assert!(sent.unwrap().success());
        assert_eq!(child.wait().unwrap().code(), Some(0), "{signal}");
    }
}

#[test]
fn the_status_tells_how_everything_stands() {
    let guides = Guides::new();
    let before = said(&guides, &["status"]);
    assert!(before.contains("no answer yet"), "{before}");
    assert!(
        at(&guides, "2026-12-01T08:00:00Z", &["poll"])
            .status
            .success()
    );
    let shown = said(&guides, &["status"]);
    let ledger_line = shown
        .lines()
        .find(|line| line.starts_with("ledger: "))
        .unwrap();
    assert!(
        ledger_line.contains("iB, ") && ledger_line.contains(" free on its disk"),
        "{ledger_line}"
    );
    let known: Vec<&str> = shown.lines().filter(|line| *line != ledger_line).collect();
    insta::assert_snapshot!("status", known.join("\n"));
    let status = json(&guides, &["status", "--json"]);
    let keys: Vec<&str> = status
        .as_object()
        .unwrap()
        .keys()
        .map(String::as_str)
        .collect();
    insta::assert_snapshot!(keys.join(" "), @"at faults watch feeds briefs outbox ledger");
    assert_eq!(status["watch"]["is_running"], false);
    assert!(status["ledger"]["free_bytes"].as_u64().unwrap() > 0);
    let size: u64 = std::fs::metadata(guides.ledger()).unwrap().len();
    assert!(status["ledger"]["bytes"].as_u64().unwrap() >= size);

    let _lock = WatchLock::acquire(&guides.ledger()).unwrap();
    let running = said(&guides, &["status"]);
    let process = std::process::id();
    assert!(
        running.starts_with(&format!("watch: running, process {process}\n")),
        "{running}"
    );
    // Who only looks does not take the lock, nor the place in its file.
    assert_eq!(run(&guides.directory, &["watch"]).status.code(), Some(6));
}

#[test]
fn the_daemon_warns_of_dead_letters_when_it_starts_and_its_answer_is_in_the_status() {
    let guides = Guides::new();
    with_a_dead_letter(&guides);
    let mut command = rigtide(&guides.directory);
    let mut child = command.arg("watch").stderr(Stdio::piped()).spawn().unwrap();
    // Kept open: the daemon goes on writing.
    let mut stderr = BufReader::new(child.stderr.take().unwrap()).lines();
    let mut seen = Vec::new();
    for line in stderr.by_ref().map_while(Result::ok) {
        let is_last = line.contains("decided");
        seen.push(line);
        if is_last {
            break;
        }
    }
    let status = json(&guides, &["status", "--json"]);
    child.kill().unwrap();
    child.wait().unwrap();
    let warned = seen
        .iter()
        .any(|line| line.contains("1 bulletin was given up"));
    assert!(warned, "{seen:#?}");
    assert_eq!(status["watch"]["is_running"], true);
    let answer = &status["briefs"][0]["answer"];
    assert_eq!(answer["proof"], "optimal", "{status}");
    assert!(answer["total_minor"].as_i64().unwrap() > 0);
    assert_eq!(answer["parts"].as_array().unwrap().len(), 8);
}
