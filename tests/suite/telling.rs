//! Bulletins as their author meets them: previewed, tried out, and in words of their own.

use crate::support::daemon::Daemon;
use crate::support::guides::{Guides, rigtide, run, text};
use rigtide::ledger::{DeliveryState, Reader};
use serde_json::Value;
use std::fs;

fn polled() -> Guides {
    let guides = Guides::new();
    let output = run(&guides.directory, &["poll"]);
    assert!(output.status.success(), "{}", text(&output.stderr));
    guides
}

fn said(guides: &Guides, arguments: &[&str]) -> String {
    let output = run(&guides.directory, arguments);
    assert!(output.status.success(), "{}", text(&output.stderr));
    text(&output.stdout)
}

/// A channel that writes what it reads into a file.
fn with_a_program(guides: &Guides) -> std::path::PathBuf {
    let told = guides.directory.join("told.json");
    let channel = format!(
        "\n[[channel]]\nid = \"own\"\nkind = \"command\"\n\
         run = [\"/bin/sh\", \"-c\", 'cat > \"$0\"', '{}']\n",
        told.display()
    );
    let path = guides.directory.join("rigtide.toml");
    let before = fs::read_to_string(&path).unwrap();
    fs::write(path, format!("{before}{channel}")).unwrap();
    guides.edit(
        "briefs/example.toml",
        "channels = [\"terminal\"]",
        "channels = [\"own\"]",
    );
    told
}

#[test]
fn a_preview_shows_every_channel_and_sends_and_records_nothing() {
    let guides = polled();
    let told = with_a_program(&guides);
    let before = fs::read(guides.ledger()).unwrap();
    let shown = said(&guides, &["bulletin", "--preview", "example"]);
    assert!(
        shown.contains("channel own") && shown.contains("first_build"),
        "{shown}"
    );
    let page = said(&guides, &["bulletin", "--preview", "example", "--html"]);
    assert!(
        page.starts_with("<!DOCTYPE html>") && page.trim_end().ends_with("</html>"),
        "{page}"
    );
    let json = said(&guides, &["bulletin", "--preview", "example", "--json"]);
    let json: Value = serde_json::from_str(&json).unwrap();
    assert_eq!(json["is_change"], true);
    assert_eq!(json["channels"][0]["channel"], "own");
    let schema = include_str!("../../config/bulletin.schema.json");
    let schema: Value = serde_json::from_str(schema).unwrap();
    let validator = jsonschema::validator_for(&schema).unwrap();
    let faults = validator
        .iter_errors(&json["bulletin"])
        .map(|one| one.to_string());
    assert_eq!(faults.collect::<Vec<_>>(), Vec::<String>::new());
    assert!(!told.exists());
    assert_eq!(fs::read(guides.ledger()).unwrap(), before);
}

#[test]
fn a_price_s_past_is_told_from_the_ledger() {
    let guides = polled();
    let told = |after_days: i64| -> Vec<Value> {
        let at = chrono::Utc::now() + chrono::TimeDelta::days(after_days);
        let mut command = rigtide(&guides.directory);
        command.args(["bulletin", "--preview", "example", "--json"]);
        let output = command
            .env("RIGTIDE_TEST_NOW", at.to_rfc3339())
            .output()
            .unwrap();
        let json: Value = serde_json::from_slice(&output.stdout).unwrap();
        let picks = json["bulletin"]["data"]["shown"]["picks"]
            .as_array()
            .unwrap();
        picks
            .iter()
            .map(|line| line["price_fact"].clone())
            .collect()
    };
    // Of a price that has no past there is nothing to say, and a short record says that it is short.
    assert!(told(0).iter().all(Value::is_null), "{:?}", told(0));
    let poll = |after_days: i64| {
        let at = chrono::Utc::now() + chrono::TimeDelta::days(after_days);
        let mut command = rigtide(&guides.directory);
        let polled = command
            .arg("poll")
            .env("RIGTIDE_TEST_NOW", at.to_rfc3339())
            .output();
        assert!(polled.unwrap().status.success());
    };
    (1..=5).for_each(poll);
    assert!(
        told(5)
            .iter()
            .all(|fact| fact == "on record for 5 days only"),
        "{:?}",
        told(5)
    );
}

#[test]
fn a_test_goes_through_one_channel_and_past_the_outbox() {
    let guides = polled();
    let told = with_a_program(&guides);
    let taken = said(&guides, &["bulletin", "--test", "own"]);
    assert!(taken.starts_with("own took the test: "), "{taken}");
    let sent: Value = serde_json::from_str(&fs::read_to_string(told).unwrap()).unwrap();
    assert_eq!(sent["data"]["kind"], "test");
    assert!(sent["text"].as_str().unwrap().starts_with("This is a test"));
    let reader = Reader::open(&guides.ledger()).unwrap();
    assert_eq!(reader.deliveries(&DeliveryState::ALL, 10).unwrap(), []);

    guides.edit(
        "rigtide.toml",
        "'cat > \"$0\"'",
        "'echo no paper >&2; exit 3'",
    );
    let output = run(&guides.directory, &["bulletin", "--test", "own"]);
    assert_eq!(output.status.code(), Some(1));
    assert!(
        text(&output.stderr).contains("no paper"),
        "{}",
        text(&output.stderr)
    );
    let output = run(&guides.directory, &["bulletin", "--test", "won"]);
    assert_eq!(output.status.code(), Some(2));
    assert!(
        text(&output.stderr).contains("did you mean \"own\"?"),
        "{}",
        text(&output.stderr)
    );
}

#[test]
fn a_text_of_one_s_own_takes_the_program_s_place_and_a_broken_one_is_a_fault() {
    let guides = polled();
    let listed = said(&guides, &["templates"]);
    assert!(listed.contains("bulletin.txt"), "{listed}");
    let own = said(&guides, &["templates", "bulletin-subject.txt"]);
    let folder = guides.directory.join("templates");
    fs::create_dir(&folder).unwrap();
    fs::write(
        folder.join("bulletin-subject.txt"),
        format!("[{{{{ brief }}}}] {own}"),
    )
    .unwrap();
    let json = said(&guides, &["bulletin", "--preview", "example", "--json"]);
    let json: Value = serde_json::from_str(&json).unwrap();
    let subject = json["bulletin"]["subject"].as_str().unwrap();
    assert!(subject.starts_with("[example] "), "{subject}");
    let listed = said(&guides, &["templates", "--json"]);
    let listed: Value = serde_json::from_str(&listed).unwrap();
    assert_eq!(listed[0]["is_replaced"], true);

    fs::write(folder.join("bulletin.txt"), "One\n{{ headlin }}\n").unwrap();
    let output = run(&guides.directory, &["check"]);
    assert_eq!(output.status.code(), Some(3));
    let faults = text(&output.stdout) + &text(&output.stderr);
    assert!(
        faults.contains("templates/bulletin.txt:2:4: undefined value"),
        "{faults}"
    );
}

#[test]
fn a_broken_text_is_refused_while_the_daemon_runs_and_the_old_one_stays() {
    // Pitfall D14.
    let guides = Guides::new();
    let daemon = Daemon::start(&guides.directory);
    daemon.says("bulletin: ");
    let folder = guides.directory.join("templates");
    fs::create_dir(&folder).unwrap();
    fs::write(folder.join("bulletin.html"), "x").unwrap();
    let said = daemon.says("the changed settings are refused");
    assert!(
        said.contains("templates/bulletin.html: no text of the program"),
        "{said}"
    );
    fs::rename(folder.join("bulletin.html"), folder.join("bulletin.txt")).unwrap();
    daemon.says("the settings were changed");
    fs::write(folder.join("bulletin.txt"), "{% for a in b %}").unwrap();
    let said = daemon.says("the changed settings are refused");
    assert!(said.contains("templates/bulletin.txt:1:"), "{said}");
}
