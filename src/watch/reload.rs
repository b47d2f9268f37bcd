//! Takes changed settings over into the daemon that runs, or refuses them whole.
//!
//! A file is looked at through its folder and read once it has come to rest, so that an editor
//! may save it in steps. Settings with faults change nothing; their faults are told once.

use super::decision::error_chain;
use super::poll::Polling;
use super::settings::files::{Digest, Files, Stamps};
use super::settings::{Feed, Settings, matcher_for_long, settings_for_long};
use crate::catalogue::Fault;
use crate::feeds::http::{Fetcher, FetcherOptions};
use crate::feeds::source::SourceSettings;
use crate::ledger::{JournalEntry, LedgerError};
use crate::notify::faults_of;
use chrono::{DateTime, Utc};
use serde_json::{Value, json};
use std::path::Path;
use std::sync::Arc;

/// A change counts once so many looks in a row found the same.
const LOOKS_TO_REST: u32 = 1;
/// The same where a file that said something is gone or empty: most likely it is being written.
const LOOKS_WHILE_LACKING: u32 = 5;
/// Faults that the journal keeps of settings that were refused.
const FAULTS_KEPT: usize = 50;

/// Notices that the configuration was changed, and when the change is whole.
pub struct Watcher {
    /// As they were when the settings were last read.
    read: Stamps,
    seen: Stamps,
    n_same: u32,
}

impl Watcher {
    pub fn new(directory: &Path) -> Watcher {
        let now = Stamps::of(directory);
        Watcher {
            read: now.clone(),
            seen: now,
            n_same: 0,
        }
    }

    /// Looks again. True when the files differ from those last read and have come to rest.
    pub fn look(&mut self, now: Stamps) -> bool {
        if now != self.seen {
            self.seen = now;
            self.n_same = 0;
            return false;
        }
        if self.seen == self.read {
            return false;
        }
        self.n_same += 1;
        let enough = match self.seen.lacks_what_was(&self.read) {
            true => LOOKS_WHILE_LACKING,
            false => LOOKS_TO_REST,
        };
        if self.n_same < enough {
            return false;
        }
        self.read = self.seen.clone();
        true
    }
}

/// Why the settings are read again.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Because {
    /// Somebody asked. What stands outside of the files, such as secrets, may have changed.
    Asked,
    /// Files were seen to change.
    FilesChanged,
}

/// What came of it.
pub enum Reloaded {
    /// The files say what they said, or what was refused already.
    Same,
    Refused(Vec<Fault>),
    Taken(Box<Polling>),
}

/// Reads the settings again. `refused` are those that were refused last, if the files have not
/// been right since.
pub async fn reload(
    polling: &Polling,
    because: Because,
    refused: Option<Digest>,
) -> (Reloaded, Digest) {
    let before = polling.clone();
    let read = tokio::task::spawn_blocking(move || {
        let directory = &before.settings.directory;
        let files = Files::read(directory);
        let digest = files.digest();
        let is_known = digest == before.settings.digest || Some(digest) == refused;
        if because == Because::FilesChanged && is_known {
            return (Reloaded::Same, digest);
        }
        let settings = settings_for_long(directory, files);
        let taken = settings.and_then(|settings| with_settings(&before, settings));
        match taken {
            Ok(polling) => (Reloaded::Taken(Box::new(polling)), digest),
            Err(faults) => (Reloaded::Refused(faults), digest),
        }
    });
    match read.await {
        Ok(reloaded) => reloaded,
        Err(panic) => {
            tracing::error!(error = %panic, "reading the settings panicked; the old ones stay");
            (Reloaded::Same, polling.settings.digest)
        }
    }
}

/// The same polls under other settings. What was learned of hosts stays, unless the shops get to
/// see another contact.
fn with_settings(before: &Polling, settings: Settings) -> Result<Polling, Vec<Fault>> {
    let fault =
        |message: String, remedy: &str| vec![Fault::of_file("rigtide.toml", message, remedy)];
    let missing = faults_of(&settings.channels);
    if !missing.is_empty() {
        return Err(missing);
    }
    if settings.ledger != before.settings.ledger {
        let message = format!("the ledger became {}", settings.ledger.display());
        let remedy =
            "a running daemon keeps its ledger: stop it and start it again, or name the old one";
        return Err(fault(message, remedy));
    }
    let fetcher = match settings.identity == before.settings.identity {
        true => before.fetcher.clone(),
        false => {
            let options = FetcherOptions {
                identity: settings.identity.clone(),
                extra_roots: Vec::new(),
                spool_directory: None,
            };
            let made = Fetcher::new(options);
            let made = made.map_err(|error| {
                fault(format!("TLS cannot be set up: {}", error_chain(&error)), "")
            });
            Arc::new(made?)
        }
    };
    Ok(Polling {
        matcher: Arc::new(matcher_for_long(&settings)),
        settings: Arc::new(settings),
        fetcher,
        ledger: before.ledger.clone(),
        readers: before.readers,
    })
}

/// Tells in log and journal that settings were refused.
///
/// # Errors
/// [`LedgerError`] that will not pass.
pub fn note_refused(
    polling: &Polling,
    faults: &[Fault],
    now: DateTime<Utc>,
) -> Result<(), LedgerError> {
    let first = faults.first().map(ToString::to_string).unwrap_or_default();
    let more = match faults.len() {
        0 | 1 => String::new(),
        n_faults => format!(" ({} more; `rigtide check` lists them)", n_faults - 1),
    };
    let text = format!("the changed settings are refused and the old ones stay: {first}{more}");
    let kept = &faults[..faults.len().min(FAULTS_KEPT)];
    let data = json!({ "faults": kept });
    let noted = note(polling, "settings_refused", &text, data, now);
    tracing::error!("{text}");
    noted
}

/// Tells in log and journal that settings were taken, and what of the feeds and briefs came or
/// went.
///
/// # Errors
/// [`LedgerError`] that will not pass.
pub fn note_taken(
    before: &Settings,
    after: &Polling,
    now: DateTime<Utc>,
) -> Result<(), LedgerError> {
    let settings = &after.settings;
    if before.digest == settings.digest {
        tracing::info!("the settings were read again; the files are as they were");
        return Ok(());
    }
    let feeds = |of: &Settings| -> Vec<String> {
        of.feeds.iter().map(|feed| feed.id.to_string()).collect()
    };
    let briefs = |of: &Settings| -> Vec<String> {
        of.briefs.iter().map(|brief| brief.id.to_string()).collect()
    };
    let (old, new) = (
        (feeds(before), briefs(before)),
        (feeds(settings), briefs(settings)),
    );
    let data = json!({
        "feeds_added": without(&new.0, &old.0), "feeds_gone": without(&old.0, &new.0),
        "briefs_added": without(&new.1, &old.1), "briefs_gone": without(&old.1, &new.1),
    });
    let text = format!(
        "the settings were changed: {} feeds, {} briefs, {} parts from now on",
        new.0.len(),
        new.1.len(),
        settings.catalogue.parts.len(),
    );
    let noted = note(after, "settings_changed", &text, data, now);
    tracing::info!("{text}");
    noted
}

fn without(all: &[String], known: &[String]) -> Vec<String> {
    all.iter()
        .filter(|one| !known.contains(one))
        .cloned()
        .collect()
}

fn note(
    polling: &Polling,
    kind: &str,
    text: &str,
    data: Value,
    at: DateTime<Utc>,
) -> Result<(), LedgerError> {
    let entry = JournalEntry {
        at,
        kind: kind.to_owned(),
        feed: None,
        brief: None,
        part: None,
        text: text.to_owned(),
        data,
    };
    match polling.ledger().note(&[entry]) {
        // The log has it; settings do not wait for a disk.
        Err(error) if error.may_pass() => Ok(()),
        noted => noted,
    }
}

/// What changed of a feed, as far as its next poll is concerned.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Differs {
    /// It is asked for what it was asked for before.
    Nothing,
    /// It is read otherwise, or asked in another way.
    Reading,
    /// It is new, or another place is asked, which has nothing to do with how the old one fared.
    Place,
}

pub fn differs(before: &Settings, feed: &Feed) -> Differs {
    let Some(known) = before.feeds.iter().find(|known| known.id == feed.id) else {
        return Differs::Place;
    };
    if known.source.location != feed.source.location {
        return Differs::Place;
    }
    // The form for debugging names every field, those yet to come included.
    let what = |of: &Feed| {
        let source = SourceSettings {
            schedule: None,
            ..of.source.clone()
        };
        format!("{source:?}{:?}{:?}", of.format, of.normalise)
    };
    match what(known) == what(feed) {
        true => Differs::Nothing,
        false => Differs::Reading,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::fs;
    use std::os::unix::fs::PermissionsExt as _;

    fn configuration() -> tempfile::TempDir {
        let folder = tempfile::tempdir().unwrap();
        fs::write(folder.path().join("rigtide.toml"), "contact = 1\n").unwrap();
        fs::create_dir(folder.path().join("briefs")).unwrap();
        fs::write(folder.path().join("briefs/one.toml"), "name = 1\n").unwrap();
        folder
    }

    /// Looks until a change has come to rest; how many looks it took.
    fn looks_to_change(watcher: &mut Watcher, folder: &Path) -> Option<u32> {
        (1..20).find(|_| watcher.look(Stamps::of(folder)))
    }

    #[test]
    fn a_file_put_in_another_s_place_is_a_change_that_is_seen_once() {
        let folder = configuration();
        let mut watcher = Watcher::new(folder.path());
        assert_eq!(looks_to_change(&mut watcher, folder.path()), None);
        let beside = folder.path().join("briefs/.one.toml.swp");
        fs::write(&beside, "name = 2\n").unwrap();
        fs::rename(beside, folder.path().join("briefs/one.toml")).unwrap();
        assert_eq!(looks_to_change(&mut watcher, folder.path()), Some(2));
        assert_eq!(looks_to_change(&mut watcher, folder.path()), None);
        fs::write(folder.path().join("briefs/two.toml"), "name = 3\n").unwrap();
        assert_eq!(looks_to_change(&mut watcher, folder.path()), Some(2));
    }

    #[test]
    fn what_is_missing_or_empty_is_waited_for() {
        let folder = configuration();
        let brief = folder.path().join("briefs/one.toml");
        let mut watcher = Watcher::new(folder.path());
        fs::remove_file(&brief).unwrap();
        assert!((0..3).all(|_| !watcher.look(Stamps::of(folder.path()))));
        fs::write(&brief, "").unwrap();
        assert!((0..3).all(|_| !watcher.look(Stamps::of(folder.path()))));
        fs::write(&brief, "name = 22\n").unwrap();
        assert_eq!(looks_to_change(&mut watcher, folder.path()), Some(2));
        // One that stays away is meant to.
        fs::remove_file(&brief).unwrap();
        assert_eq!(looks_to_change(&mut watcher, folder.path()), Some(6));
        assert_eq!(looks_to_change(&mut watcher, folder.path()), None);
    }

    #[test]
    fn permissions_and_files_that_are_no_settings_do_not_count() {
        let folder = configuration();
        let mut watcher = Watcher::new(folder.path());
        let readable_by_owner = fs::Permissions::from_mode(0o600);
        fs::set_permissions(folder.path().join("rigtide.toml"), readable_by_owner).unwrap();
        fs::write(folder.path().join("briefs/notes.txt"), "x").unwrap();
        fs::write(folder.path().join("ledger.sqlite"), "x").unwrap();
        assert_eq!(looks_to_change(&mut watcher, folder.path()), None);
    }
}
