//! What works while the settings have faults, or lack a secret: what is on record, and whatever sends nothing.

use super::operating::{NOW, at, said, with_a_dead_letter};
use crate::support::guides::{Guides, text};
use serde_json::Value;

fn poll_and_break_a_brief(guides: &Guides) {
    let polled = at(guides, "2026-12-01T08:00:00Z", &["poll"]);
    assert!(polled.status.success(), "{}", text(&polled.stderr));
    guides.edit(
        "briefs/example.toml",
        "currency = \"EUR\"",
        "currency = \"EURO\"",
    );
}

#[test]
fn the_record_is_at_hand_while_the_settings_have_faults() {
    let guides = Guides::new();
    with_a_dead_letter(&guides);
    poll_and_break_a_brief(&guides);
    let into = |name: &str| guides.directory.join(name).display().to_string();
    let (backup, export) = (into("kept.sqlite"), into("kept.jsonl"));
    for (arguments, says) in [
        (&["journal"][..], "prices_changed"),
        (&["outbox"], "1 dead"),
        (&["outbox", "retry", "--all"], "retried: "),
        (&["held"], "no price is held"),
        (&["verify"], "the ledger holds together"),
        (&["backup", &backup], "checks hold"),
        (&["export", &export], "standing"),
        (&["editions"], "no edition"),
        (&["compact"], "bytes"),
        (&["restore", &backup], "is restored from"),
        (&["templates", "bulletin.txt"], "{{ headline }}"),
    ] {
        let shown = said(&guides, arguments);
        assert!(shown.contains(says), "{arguments:?}: {shown}");
    }
    let no_daemon = at(&guides, NOW, &["open"]);
    assert_eq!(no_daemon.status.code(), Some(2));
    let taken = at(&guides, NOW, &["import-history", &export]);
    assert!(
        text(&taken.stderr).contains("goes into an empty one"),
        "{}",
        text(&taken.stderr)
    );
    // What rests on the settings is not told.
    for arguments in [
        &["best"][..],
        &["schedule"],
        &["history", "drefholm-loft-12"],
    ] {
        assert_eq!(at(&guides, NOW, arguments).status.code(), Some(3));
    }
}

#[test]
fn the_status_tells_what_the_ledger_knows_and_the_faults_of_the_settings() {
    let guides = Guides::new();
    poll_and_break_a_brief(&guides);
    let shown = at(&guides, NOW, &["status"]);
    assert_eq!(shown.status.code(), Some(3));
    let (said, complained) = (text(&shown.stdout), text(&shown.stderr));
    for part in [
        "example/export  2026-12-01T08:00:00Z  unknown",
        "outbox: 0 waiting",
        "briefs and next polls cannot be told",
    ] {
        assert!(said.contains(part), "{said}");
    }
    assert!(
        complained.contains("briefs/example.toml:4:12"),
        "{complained}"
    );
    let shown = at(&guides, NOW, &["status", "--json"]);
    let status: Value = serde_json::from_slice(&shown.stdout).unwrap();
    assert_eq!(status["faults"][0]["line"], 4);
    assert_eq!(status["feeds"][0]["offers"], 18);
    assert_eq!(status["feeds"][0]["plan"], Value::Null);
}

#[test]
fn a_ledger_is_not_guessed_where_its_line_cannot_be_read() {
    for (line, is_known) in [
        ("ledger = \"other.sqlite\"\n[[channel]]\nnonsense", true),
        ("", true),
        ("ledger = 5", false),
        ("ledger \"other.sqlite\"", false),
        ("[oops\nledger = \"other.sqlite\"", false),
    ] {
        let guides = Guides::new();
        guides.edit("rigtide.toml", "ledger = \"ledger.sqlite\"", line);
        let shown = at(&guides, NOW, &["outbox"]);
        let code = if is_known { Some(0) } else { Some(3) };
        assert_eq!(shown.status.code(), code, "{line}: {}", text(&shown.stderr));
    }
}

#[test]
fn what_sends_nothing_needs_no_secrets() {
    let guides = Guides::new();
    guides.edit(
        "rigtide.toml",
        "[[channel]]\nid = \"terminal\"",
        "[[channel]]\nid = \"desk\"\nkind = \"webhook\"\nurl = \"http://127.0.0.1:9/hook\"\n\
         secret_env = \"RIGTIDE_NOBODY_SETS_THIS\"\n\n[[channel]]\nid = \"terminal\"",
    );
    guides.edit(
        "briefs/example.toml",
        "channels = [\"terminal\"]",
        "channels = [\"terminal\", \"desk\"]",
    );
    for arguments in [
        &["poll"][..],
        &["best"],
        &["guide"],
        &["status"],
        &["schedule"],
    ] {
        said(&guides, arguments);
    }
    let missing = "the secret that this names is missing or empty";
    let shown = said(&guides, &["bulletin", "--preview", "example"]);
    assert!(shown.contains(missing), "{shown}");
    // Who sends, or asks whether all is well, hears of it.
    for (arguments, code) in [
        (&["check"][..], 3),
        (&["watch"], 3),
        (&["bulletin", "--test", "desk"], 1),
    ] {
        let refused = at(&guides, NOW, arguments);
        assert_eq!(refused.status.code(), Some(code), "{arguments:?}");
        let said = text(&refused.stderr);
        assert!(said.contains(missing), "{said}");
        assert!(!said.contains("names no channel"), "{said}");
    }
}
