//! The daemon as a process: signals, a second one, kill -9.

use super::watching::with_many_briefs;
use crate::support::daemon::{DEADLINE, Daemon};
use crate::support::guides::{Guides, run, text};
use rigtide::ledger::Reader;
use std::fs;
use std::io::{BufRead, BufReader, Read, Write};
use std::net::TcpListener;
use std::sync::mpsc::{Receiver, channel};
use std::time::{Duration, Instant};

#[test]
fn sigterm_and_sigint_stop_the_daemon_cleanly_within_five_seconds() {
    for signal in ["-TERM", "-INT"] {
        let guides = Guides::new();
        let mut daemon = Daemon::start(&guides.directory);
        let line = daemon.says("\"polled\"");
        serde_json::from_str::<serde_json::Value>(&line).expect("a log line is JSON");
        daemon.signal(signal);
        let (code, took) = daemon.ended();
        assert_eq!(code, Some(0), "{signal}");
        assert!(took < Duration::from_secs(5), "{signal}: {took:?}");
    }
}

// Pitfall D18.
#[test]
fn a_daemon_that_is_stopped_while_it_solves_ends_within_seconds_and_leaves_a_sound_ledger() {
    const N_BRIEFS: usize = 4000;
    let guides = Guides::new();
    with_many_briefs(&guides, N_BRIEFS);
    // How many of them are answered, in their order.
    let n_answered = || {
        let Ok(reader) = Reader::open(&guides.ledger()) else {
            return 0;
        };
        let is_answered = |number: &usize| {
            let stored = reader.last_answer(&format!("other-{number:04}"));
            stored.unwrap().is_some()
        };
        (0..N_BRIEFS).take_while(is_answered).count()
    };
    // The second daemon takes up what the first left undecided.
    for _ in 0..2 {
        let before = n_answered();
        let mut daemon = Daemon::start(&guides.directory);
        daemon.says("\"watching\"");
        let until = Instant::now() + DEADLINE;
        while n_answered() == before {
            assert!(Instant::now() < until, "no brief was ever answered");
            std::thread::sleep(Duration::from_millis(20));
        }
        daemon.signal("-TERM");
        let (code, took) = daemon.ended();
        assert_eq!(code, Some(0));
        assert!(took < Duration::from_secs(10), "{took:?}");
        assert!(n_answered() < N_BRIEFS, "nothing was left to solve");
        let verified = Reader::open(&guides.ledger()).unwrap().verify().unwrap();
        assert!(verified.holds());
    }
}

#[test]
fn a_second_daemon_on_the_same_ledger_is_refused() {
    let guides = Guides::new();
    let daemon = Daemon::start(&guides.directory);
    daemon.says("\"polled\"");
    let second = run(&guides.directory, &["watch"]);
    assert_eq!(second.status.code(), Some(6));
    let said = text(&second.stderr);
    assert!(said.contains(&daemon.id().to_string()), "{said}");
}

/// A webhook receiver that answers 204 and reports each bulletin's id.
fn receiver() -> (String, Receiver<String>) {
    let listener = TcpListener::bind("127.0.0.1:0").unwrap();
    let url = format!("http://{}/bulletins", listener.local_addr().unwrap());
    let (send, ids) = channel();
    std::thread::spawn(move || {
        for stream in listener.incoming() {
            let Ok(mut stream) = stream else { return };
            let mut reader = BufReader::new(stream.try_clone().unwrap());
            let (mut length, mut id) = (0, String::new());
            loop {
                let mut line = String::new();
                if reader.read_line(&mut line).unwrap_or(0) == 0 || line == "\r\n" {
                    break;
                }
                let (name, value) = line.split_once(':').unwrap_or((&line, ""));
                match name.to_ascii_lowercase().as_str() {
                    "content-length" => length = value.trim().parse().unwrap_or(0),
                    "rigtide-bulletin" => value.trim().clone_into(&mut id),
                    _ => {}
                }
            }
            let mut body = vec![0; length];
            let _ = reader.read_exact(&mut body);
            let _ = stream.write_all(b"HTTP/1.1 204 No Content\r\nConnection: close\r\n\r\n");
            if send.send(id).is_err() {
                return;
            }
        }
    });
    (url, ids)
}

fn with_webhook(guides: &Guides, url: &str) {
    let path = guides.directory.join("rigtide.toml");
    let settings = fs::read_to_string(&path).unwrap();
    let channel = format!("\n[[channel]]\nid = \"hook\"\nkind = \"webhook\"\nurl = \"{url}\"\n");
    fs::write(&path, settings + &channel).unwrap();
    guides.edit(
        "briefs/example.toml",
        "channels = [",
        "channels = [\"hook\", ",
    );
}

#[test]
fn after_kill_9_nothing_is_lost_and_nothing_sent_is_sent_again() {
    let guides = Guides::new();
    let (url, ids) = receiver();
    with_webhook(&guides, &url);
    let mut daemon = Daemon::start(&guides.directory);
    let first = ids.recv_timeout(DEADLINE).expect("the first bulletin");
    let until = Instant::now() + DEADLINE;
    let far = chrono::Utc::now() + chrono::TimeDelta::days(365);
    while !Reader::open(&guides.ledger())
        .unwrap()
        .due(far, 10)
        .unwrap()
        .is_empty()
    {
        assert!(Instant::now() < until, "the outbox never emptied");
        std::thread::sleep(Duration::from_millis(20));
    }
    daemon.signal("-KILL");
    daemon.ended();
    let offers = Reader::open(&guides.ledger())
        .unwrap()
        .listed_offers()
        .unwrap()
        .len();
    assert!(offers > 0);

    let daemon = Daemon::start(&guides.directory);
    daemon.says("\"watching\"");
    daemon.signal("-TERM");
    assert_eq!(
        Reader::open(&guides.ledger())
            .unwrap()
            .listed_offers()
            .unwrap()
            .len(),
        offers
    );
    let again = ids.recv_timeout(Duration::from_millis(500));
    assert!(again.is_err(), "{first} was sent again as {again:?}");
}

#[test]
fn a_price_confirmed_beside_the_daemon_counts_without_waiting_for_a_poll() {
    let guides = Guides::new();
    let offers = "retailers/example-offers.csv";
    guides.edit("retailers/example.toml", "\"7 * * * *\"", "\"0 0 1 1 *\"");
    // The graphics card that fits the budget costs ten times as much, then a tenth of that: too
    // good to be believed.
    guides.edit(offers, ",214.90,", ",2149.00,");
    assert!(run(&guides.directory, &["poll"]).status.success());
    guides.edit(offers, ",2149.00,", ",214.90,");
    assert!(run(&guides.directory, &["poll"]).status.success());
    let held = run(&guides.directory, &["held", "--json"]);
    let held: serde_json::Value = serde_json::from_slice(&held.stdout).unwrap();
    assert_eq!(held.as_array().unwrap().len(), 1, "{held}");

    let daemon = Daemon::start(&guides.directory);
    let first = daemon.says("\"decided\"");
    let id = held[0]["id"].to_string();
    let confirmed = run(&guides.directory, &["held", "--confirm", &id]);
    assert!(confirmed.status.success(), "{}", text(&confirmed.stderr));
    let second = daemon.says("\"decided\"");
    assert_ne!(first, second);
    let reader = Reader::open(&guides.ledger()).unwrap();
    let feed = &reader.feed_states().unwrap()[0].feed;
    assert_eq!(reader.last_polls(feed, 10).unwrap().len(), 2);
    let answer = reader.last_answer("example").unwrap().unwrap();
    let graphics = held[0]["part"].as_str().unwrap();
    assert!(
        answer.answer_json.contains(graphics),
        "{}",
        answer.answer_json
    );
}
