//! Settings that change under a daemon that runs.

use crate::support::daemon::Daemon;
use crate::support::guides::Guides;
use rigtide::ledger::{JournalEntry, Reader};
use std::fs;
use std::os::unix::fs::PermissionsExt as _;
use std::time::Duration;

const TAKEN: &str = "the settings were changed";
const REFUSED: &str = "the changed settings are refused";

/// What the journal says of settings, oldest first.
fn journal(guides: &Guides) -> Vec<JournalEntry> {
    let lines = Reader::open(&guides.ledger())
        .unwrap()
        .journal(1000)
        .unwrap();
    let entries = lines.into_iter().rev().map(|line| line.entry);
    entries
        .filter(|entry| entry.kind.starts_with("settings_"))
        .collect()
}

fn watched() -> (Guides, Daemon) {
    let guides = Guides::new();
    let daemon = Daemon::start(&guides.directory);
    // The last word of a first round: the bulletin on the channel that is the log.
    daemon.says("bulletin: ");
    (guides, daemon)
}

#[test]
fn a_saved_file_is_taken_over_and_what_is_asked_follows_it() {
    let (guides, daemon) = watched();
    let retailer = guides.directory.join("retailers/example.toml");
    let feed = "\n[[feed]]\nid = \"more\"\nformat = \"csv\"\nfile = \"more.csv\"\n\
        schedule = \"0 0 1 1 *\"\nfields = { sku = \"sku\", title = \"title\", price = \"price\" }\n";
    let offers = "sku,title,price\n1,Quillon K7,10.00\n";
    fs::write(guides.directory.join("more.csv"), offers).unwrap();
    let before = fs::read_to_string(&retailer).unwrap();
    fs::write(&retailer, format!("{before}{feed}")).unwrap();
    daemon.says(TAKEN);
    let polled = daemon.says("\"polled\"");
    assert!(polled.contains("example/more"), "{polled}");

    // A budget for which nothing can be had is another answer, and needs no poll.
    guides.edit("briefs/example.toml", "budget = \"950", "budget = \"95");
    let said = daemon.says("\"decided\"");
    assert!(!said.contains("\"polled\""));

    fs::write(&retailer, before).unwrap();
    daemon.says(TAKEN);
    let entries = journal(&guides);
    assert_eq!(entries.len(), 3, "{entries:#?}");
    assert_eq!(
        entries[0].data["feeds_added"],
        serde_json::json!(["example/more"])
    );
    assert_eq!(
        entries[2].data["feeds_gone"],
        serde_json::json!(["example/more"])
    );
}

#[test]
fn a_feed_that_left_the_settings_is_polled_no_more() {
    let guides = Guides::new();
    guides.edit("retailers/example.toml", "\"7 * * * *\"", "\"* * * * *\"");
    let daemon = Daemon::start(&guides.directory);
    daemon.says("\"decided\"");
    guides.edit("retailers/example.toml", "schedule = ", "# schedule = ");
    daemon.says(TAKEN);
    // Every minute and its spread would have come by.
    let lines = daemon.lines_within(Duration::from_secs(85));
    assert!(
        !lines.iter().any(|line| line.contains("\"polled\"")),
        "{lines:#?}"
    );
}

#[test]
fn settings_with_a_fault_are_refused_whole_and_once_and_the_old_ones_stay() {
    // Pitfall D14.
    let (guides, daemon) = watched();
    let brief = guides.directory.join("briefs/example.toml");
    let before = fs::read_to_string(&brief).unwrap();
    // The good half of a change does not count either.
    guides.edit("briefs/example.toml", "budget = \"", "budget = \"1");
    guides.edit("rigtide.toml", "ledger = ", "ledger == ");
    let line = daemon.says(REFUSED);
    let number = fs::read_to_string(guides.directory.join("rigtide.toml")).unwrap();
    let number = number.lines().position(|line| line.starts_with("ledger"));
    let place = format!("rigtide.toml:{}:", number.unwrap() + 1);
    assert!(line.contains(&place), "{line}");
    let lines = daemon.lines_within(Duration::from_secs(6));
    assert_eq!(lines, Vec::<String>::new());
    let entries = journal(&guides);
    assert_eq!(entries.len(), 1, "{entries:#?}");
    assert_eq!(entries[0].kind, "settings_refused");
    assert!(entries[0].text.contains(&place), "{}", entries[0].text);

    // Back to what is in force: nothing to take, nothing to tell.
    fs::write(&brief, before).unwrap();
    guides.edit("rigtide.toml", "ledger == ", "ledger = ");
    let lines = daemon.lines_within(Duration::from_secs(6));
    assert_eq!(lines, Vec::<String>::new());
    assert_eq!(journal(&guides).len(), 1);
}

#[test]
fn a_file_that_is_saved_in_steps_is_read_once_and_whole() {
    // Pitfall D15.
    let (guides, daemon) = watched();
    let brief = guides.directory.join("briefs/example.toml");
    let before = fs::read_to_string(&brief).unwrap();
    let after = before.replace("budget = \"", "budget = \"1");
    assert_ne!(before, after);
    let kept = guides.directory.join("briefs/example.toml~");
    // Away for longer than it takes to notice a change, then empty, then whole.
    fs::rename(&brief, &kept).unwrap();
    std::thread::sleep(Duration::from_secs(5));
    fs::write(&brief, "").unwrap();
    std::thread::sleep(Duration::from_secs(5));
    let beside = guides.directory.join("briefs/.example.toml.swp");
    fs::write(&beside, &after).unwrap();
    fs::rename(&beside, &brief).unwrap();
    let said = daemon.says("settings");
    assert!(said.contains(TAKEN), "{said}");
    let lines = daemon.lines_within(Duration::from_secs(5));
    assert!(
        !lines.iter().any(|line| line.contains("settings")),
        "{lines:#?}"
    );
    assert_eq!(journal(&guides).len(), 1);
}

#[test]
fn a_change_of_permissions_alone_is_no_change() {
    // Pitfall D19. Nor is a file that was saved as it was.
    let (guides, daemon) = watched();
    let path = guides.directory.join("rigtide.toml");
    fs::set_permissions(&path, fs::Permissions::from_mode(0o600)).unwrap();
    let text = fs::read(&path).unwrap();
    std::thread::sleep(Duration::from_secs(5));
    fs::write(&path, text).unwrap();
    let lines = daemon.lines_within(Duration::from_secs(6));
    assert_eq!(lines, Vec::<String>::new());
    assert_eq!(journal(&guides), []);
}

#[test]
fn sighup_reads_the_settings_at_once_and_never_ends_the_daemon() {
    let (guides, mut daemon) = watched();
    daemon.signal("-HUP");
    daemon.says("the files are as they were");
    assert_eq!(journal(&guides), []);
    guides.edit("rigtide.toml", "contact = \"", "contact = \"x");
    daemon.signal("-HUP");
    daemon.says(TAKEN);
    // Another ledger cannot be taken over by a daemon that holds the lock of this one.
    guides.edit("rigtide.toml", "ledger.sqlite", "other.sqlite");
    daemon.signal("-HUP");
    let line = daemon.says(REFUSED);
    assert!(line.contains("stop it and start it again"), "{line}");
    assert!(!guides.directory.join("other.sqlite").exists());
    daemon.signal("-TERM");
    assert_eq!(daemon.ended().0, Some(0));
}
