//! The program as its user runs it: a directory, commands, signals, exit codes.

use rigtide::ledger::Reader;
use std::fs;
use std::io::{BufRead, BufReader, Read, Write};
use std::net::TcpListener;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Output, Stdio};
use std::sync::mpsc::{Receiver, channel};
use std::time::{Duration, Instant};

/// No wait in these tests takes longer unless something is broken.
const DEADLINE: Duration = Duration::from_secs(20);

fn rigtide(directory: &Path) -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_rigtide"));
    command.arg("-C").arg(directory).env_remove("RIGTIDE_LOG");
    command
}

fn run(directory: &Path, arguments: &[&str]) -> Output {
    rigtide(directory).args(arguments).output().unwrap()
}

fn text(output: &[u8]) -> String {
    String::from_utf8_lossy(output).into_owned()
}

/// The starter configuration in a directory of its own.
struct Guides {
    _folder: tempfile::TempDir,
    directory: PathBuf,
}

impl Guides {
    fn new() -> Guides {
        let folder = tempfile::tempdir().unwrap();
        let directory = folder.path().join("guides");
        let written = Command::new(env!("CARGO_BIN_EXE_rigtide"))
            .arg("init")
            .arg(&directory)
            .output()
            .unwrap();
        assert!(written.status.success(), "{}", text(&written.stderr));
        Guides {
            _folder: folder,
            directory,
        }
    }

    fn edit(&self, file: &str, from: &str, to: &str) {
        let path = self.directory.join(file);
        let before = fs::read_to_string(&path).unwrap();
        assert!(before.contains(from), "{file} has no {from}");
        fs::write(path, before.replacen(from, to, 1)).unwrap();
    }

    fn ledger(&self) -> PathBuf {
        self.directory.join("ledger.sqlite")
    }
}

#[test]
fn the_starter_checks_polls_and_answers_without_a_network() {
    let guides = Guides::new();
    let checked = run(&guides.directory, &["check"]);
    assert_eq!(checked.status.code(), Some(0), "{}", text(&checked.stderr));
    let polled = run(&guides.directory, &["poll"]);
    assert_eq!(polled.status.code(), Some(0), "{}", text(&polled.stderr));
    let best = run(&guides.directory, &["best", "--json"]);
    assert_eq!(best.status.code(), Some(0), "{}", text(&best.stderr));
    let answer: serde_json::Value = serde_json::from_slice(&best.stdout).unwrap();
    assert_eq!(answer["proof"]["status"], "optimal");
    assert_eq!(answer["picks"].as_array().unwrap().len(), 8);
    let sum: i64 = answer["picks"]
        .as_array()
        .unwrap()
        .iter()
        .map(|pick| pick["landed_minor"].as_i64().unwrap())
        .sum();
    assert_eq!(answer["total_minor"].as_i64(), Some(sum));
    let part = answer["picks"][0]["part"].as_str().unwrap();
    let history = run(&guides.directory, &["history", part, "--json"]);
    let history: serde_json::Value = serde_json::from_slice(&history.stdout).unwrap();
    assert_eq!(history["part"], part);
    assert!(!history["points"].as_array().unwrap().is_empty());
}

#[test]
fn json_documents_keep_their_keys() {
    let guides = Guides::new();
    run(&guides.directory, &["poll"]);
    let keys = |arguments: &[&str]| -> Vec<String> {
        let output = run(&guides.directory, arguments);
        let value: serde_json::Value = serde_json::from_slice(&output.stdout).unwrap();
        let object = value.as_array().map_or(&value, |list| &list[0]);
        object.as_object().unwrap().keys().cloned().collect()
    };
    insta::assert_snapshot!(keys(&["best", "--json"]).join(" "), @"brief at currency budget_minor total_minor score score_exact estimated_percent proof considered rates picks cautions obstacles left_out");
    insta::assert_snapshot!(keys(&["poll", "--json"]).join(" "), @"feed status records offers matched refused held changed duration_ms error notes");
    insta::assert_snapshot!(keys(&["check", "--json"]).join(" "), @"ok errors");
    let output = run(&guides.directory, &["best", "--json"]);
    let value: serde_json::Value = serde_json::from_slice(&output.stdout).unwrap();
    let pick: Vec<&String> = value["picks"][0].as_object().unwrap().keys().collect();
    let pick: Vec<&str> = pick.iter().map(|key| key.as_str()).collect();
    insta::assert_snapshot!(pick.join(" "), @"role part name quantity retailer sku price_minor landed_minor link seen_at");
}

#[test]
fn the_same_ledger_and_instant_give_the_same_bytes() {
    let guides = Guides::new();
    run(&guides.directory, &["poll"]);
    let answer = || {
        let mut command = rigtide(&guides.directory);
        command
            .args(["best", "--json"])
            .env("RIGTIDE_TEST_NOW", "2026-12-01T08:00:00Z");
        command.output().unwrap().stdout
    };
    let first = answer();
    assert!(text(&first).contains("2026-12-01T08:00:00Z"));
    assert_eq!(answer(), first);
}

#[test]
fn check_reports_every_fault_of_every_file_at_once() {
    let guides = Guides::new();
    guides.edit("rigtide.toml", "ledger = ", "ledgr = ");
    guides.edit(
        "retailers/example.toml",
        "currency = \"EUR\"",
        "currency = \"EURO\"",
    );
    guides.edit("briefs/example.toml", "country = ", "countri = ");
    fs::write(guides.directory.join("catalogue/more.toml"), "[[part]\n").unwrap();
    let checked = run(&guides.directory, &["check", "--json"]);
    assert_eq!(checked.status.code(), Some(3));
    assert_eq!(text(&checked.stderr), "");
    let value: serde_json::Value = serde_json::from_slice(&checked.stdout).unwrap();
    assert_eq!(value["ok"], false);
    let errors = value["errors"].as_array().unwrap();
    for file in [
        "rigtide.toml",
        "retailers/example.toml",
        "briefs/example.toml",
        "catalogue/more.toml",
    ] {
        let error = errors.iter().find(|error| error["file"] == file);
        let error = error.unwrap_or_else(|| panic!("nothing about {file} in {errors:#?}"));
        assert!(error["line"].as_u64().unwrap() > 0 && error["column"].as_u64().unwrap() > 0);
        assert!(!error["remedy"].as_str().unwrap().is_empty());
    }
    let near = errors
        .iter()
        .any(|error| error["remedy"] == "did you mean `ledger`?");
    assert!(near, "{errors:#?}");
    // Nothing runs on a configuration with faults.
    assert_eq!(run(&guides.directory, &["best"]).status.code(), Some(3));
}

#[test]
fn a_missing_directory_is_one_clear_message_and_not_a_new_one() {
    let folder = tempfile::tempdir().unwrap();
    let nowhere = folder.path().join("nowhere");
    let output = run(&nowhere, &["best"]);
    assert_eq!(output.status.code(), Some(3));
    assert!(
        text(&output.stderr).contains("rigtide.toml"),
        "{}",
        text(&output.stderr)
    );
    assert!(!nowhere.exists());
}

#[test]
fn init_never_writes_over_what_is_there() {
    let guides = Guides::new();
    let again = Command::new(env!("CARGO_BIN_EXE_rigtide"))
        .arg("init")
        .arg(&guides.directory)
        .output()
        .unwrap();
    assert_eq!(again.status.code(), Some(2));
    assert!(text(&again.stderr).contains("nothing was written"));
}

#[test]
fn names_that_do_not_exist_come_with_the_nearest_that_do() {
    let guides = Guides::new();
    for (arguments, expected) in [
        (&["best", "exampel"][..], "known briefs: example"),
        (&["poll", "exemple"][..], "known feeds: example/export"),
        (
            &["best", "--budget", "1,5", "--currency", "EUR", "--use", "x"][..],
            "no amount in EUR",
        ),
        (
            &["best", "--budget", "1", "--currency", "EURO", "--use", "x"][..],
            "unknown currency",
        ),
    ] {
        let output = run(&guides.directory, arguments);
        assert_eq!(output.status.code(), Some(2), "{arguments:?}");
        assert!(
            text(&output.stderr).contains(expected),
            "{}",
            text(&output.stderr)
        );
    }
}

#[test]
fn one_bad_feed_does_not_hold_up_another() {
    let guides = Guides::new();
    let more = "\n[[feed]]\nid = \"broken\"\nformat = \"json\"\nfile = \"retailers/broken.json\"\n\
        schedule = \"0 * * * *\"\n[feed.fields]\nsku = \"id\"\ntitle = \"title\"\nprice = \"price\"\n";
    let path = guides.directory.join("retailers/example.toml");
    let retailer = fs::read_to_string(&path).unwrap();
    fs::write(&path, retailer + more).unwrap();
    fs::write(
        guides.directory.join("retailers/broken.json"),
        "<html><body>Sign in</body></html>",
    )
    .unwrap();
    let polled = run(&guides.directory, &["poll", "--json"]);
    assert_eq!(polled.status.code(), Some(5), "{}", text(&polled.stderr));
    let value: serde_json::Value = serde_json::from_slice(&polled.stdout).unwrap();
    let status: Vec<&str> = value
        .as_array()
        .unwrap()
        .iter()
        .map(|one| one["status"].as_str().unwrap())
        .collect();
    assert_eq!(status, ["fresh", "failed"]);
    assert!(!value[1]["error"].as_str().unwrap().is_empty());
    assert_eq!(run(&guides.directory, &["best"]).status.code(), Some(0));
}

#[test]
fn a_feed_that_lost_its_offers_leaves_the_last_good_ones() {
    let guides = Guides::new();
    run(&guides.directory, &["poll"]);
    let best = run(&guides.directory, &["best", "--json"]);
    let offers = guides.directory.join("retailers/example-offers.csv");
    let whole = fs::read_to_string(&offers).unwrap();
    let shrunk: Vec<&str> = whole.lines().take(2).collect();
    fs::write(&offers, shrunk.join("\n") + "\n").unwrap();
    let polled = run(&guides.directory, &["poll", "--json"]);
    let value: serde_json::Value = serde_json::from_slice(&polled.stdout).unwrap();
    assert_eq!(value[0]["status"], "suspicious");
    let after = run(&guides.directory, &["best", "--json"]);
    let total = |output: &Output| -> serde_json::Value {
        serde_json::from_slice::<serde_json::Value>(&output.stdout).unwrap()["total_minor"].clone()
    };
    assert_eq!(total(&after), total(&best));
}

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
fn a_poll_killed_at_any_point_leaves_all_or_nothing() {
    let guides = Guides::new();
    let mut all = 0;
    for round in 0..12 {
        let mut child = rigtide(&guides.directory)
            .arg("poll")
            .stdout(Stdio::null())
            .stderr(Stdio::null())
            .spawn()
            .unwrap();
        // A different point each round, from before the first write to after the last.
        std::thread::sleep(Duration::from_millis(round * 4));
        let _ = child.kill();
        child.wait().unwrap();
        if !guides.ledger().exists() {
            continue;
        }
        let Ok(reader) = Reader::open(&guides.ledger()) else {
            continue;
        };
        let offers = reader.listed_offers().unwrap().len();
        assert!(
            offers == 0 || all == 0 || offers == all,
            "{offers} of {all}"
        );
        all = all.max(offers);
    }
    assert_eq!(run(&guides.directory, &["poll"]).status.code(), Some(0));
    let offers = Reader::open(&guides.ledger())
        .unwrap()
        .listed_offers()
        .unwrap()
        .len();
    assert!(offers > 0 && (all == 0 || all == offers));
}

#[test]
fn help_says_what_each_command_does() {
    let output = Command::new(env!("CARGO_BIN_EXE_rigtide"))
        .arg("--help")
        .output()
        .unwrap();
    insta::assert_snapshot!(text(&output.stdout));
}
