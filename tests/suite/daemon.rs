//! The daemon as a process: signals, a second one, kill -9.

use crate::support::guides::{Guides, rigtide, run, text};
use rigtide::ledger::Reader;
use std::fs;
use std::io::{BufRead, BufReader, Read, Write};
use std::net::TcpListener;
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::sync::mpsc::{Receiver, channel};
use std::time::{Duration, Instant};

/// No wait in these tests takes longer unless something is broken.
const DEADLINE: Duration = Duration::from_secs(20);

/// A daemon under test; killed when dropped.
struct Daemon {
    child: Child,
    lines: Receiver<String>,
}

impl Daemon {
    fn start(directory: &Path) -> Daemon {
        let mut child = rigtide(directory)
            .args(["--log", "json", "watch"])
            .stderr(Stdio::piped())
            .stdout(Stdio::null())
            .spawn()
            .unwrap();
        let stderr = BufReader::new(child.stderr.take().unwrap());
        let (send, lines) = channel();
        std::thread::spawn(move || {
            for line in stderr.lines().map_while(Result::ok) {
                if send.send(line).is_err() {
                    return;
                }
            }
        });
        Daemon { child, lines }
    }

    /// Waits for a log line that contains `wanted`.
    fn says(&self, wanted: &str) -> String {
        let until = Instant::now() + DEADLINE;
        let mut seen = Vec::new();
        while let Ok(line) = self
            .lines
            .recv_timeout(until.saturating_duration_since(Instant::now()))
        {
            if line.contains(wanted) {
                return line;
            }
            seen.push(line);
        }
        panic!("never said {wanted}: {seen:#?}");
    }

    fn signal(&self, name: &str) {
        let sent = Command::new("kill")
            .arg(name)
            .arg(self.child.id().to_string())
            .status()
            .unwrap();
        assert!(sent.success());
    }

    /// Waits for the end and returns how long it took.
    fn ended(&mut self) -> (Option<i32>, Duration) {
        let begun = Instant::now();
        while begun.elapsed() < DEADLINE {
            if let Some(status) = self.child.try_wait().unwrap() {
                return (status.code(), begun.elapsed());
            }
            std::thread::sleep(Duration::from_millis(10));
        }
        panic!("the daemon did not end");
    }
}

impl Drop for Daemon {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

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

#[test]
fn a_second_daemon_on_the_same_ledger_is_refused() {
    let guides = Guides::new();
    let daemon = Daemon::start(&guides.directory);
    daemon.says("\"polled\"");
    let second = run(&guides.directory, &["watch"]);
    assert_eq!(second.status.code(), Some(6));
    let said = text(&second.stderr);
    assert!(said.contains(&daemon.child.id().to_string()), "{said}");
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
