//! Opening, locking, readers beside a writer, and what faults leave behind.

use super::*;
use std::path::Path;

#[test]
fn a_poll_that_is_dropped_leaves_nothing() {
    // Pitfall D10: killed in the middle of a poll.
    let mut bench = Bench::new();
    bench.poll(0, &[offer("q-1", 100)]);
    let mut writer = bench
        .ledger
        .begin_poll(&feed(), &retailer(), at(1))
        .unwrap();
    writer.see(&offer("q-1", 90), None).unwrap();
    writer.see(&offer("q-2", 90), None).unwrap();
    writer.doubt(&offer("q-3", 1), None, Confirms::Polls);
    writer.note(&decision(1, "a").journal[0]).unwrap();
    let other = FeedId::new("northlight/other");
    drop(writer);
    drop(bench.ledger.begin_poll(&other, &retailer(), at(1)).unwrap());
    let path = bench.path();
    let folder = bench.folder;
    drop(bench.ledger);
    let bench = Bench {
        ledger: Ledger::open(&path).unwrap(),
        folder,
    };
    assert_eq!(bench.series(), [(0, 0, 100)]);
    assert_eq!(bench.count("offer"), 1);
    assert_eq!(bench.count("feed"), 1);
    assert_eq!(bench.count("held") + bench.count("journal"), 0);
}

#[test]
fn readers_see_the_last_commit_while_a_poll_is_written() {
    let mut bench = Bench::new();
    bench.poll(0, &[offer("q-1", 100)]);
    let reader = Reader::open(&bench.path()).unwrap();
    let mut writer = bench
        .ledger
        .begin_poll(&feed(), &retailer(), at(1))
        .unwrap();
    writer.see(&offer("q-1", 90), Some(&part("cpu-a"))).unwrap();
    let price = |reader: &Reader| reader.current_offers().unwrap()[0].offer.price.minor();
    assert_eq!(price(&reader), 100);
    writer
        .commit(&PollRecord::default(), SnapshotIs::Complete)
        .unwrap();
    assert_eq!(price(&reader), 90);
    bench.ledger.checkpoint().unwrap();
    assert_eq!(price(&reader), 90);
}

fn open_error(path: &Path) -> String {
    let error = Ledger::open(path).unwrap_err();
    assert_eq!(
        Reader::open(path).unwrap_err().to_string(),
        error.to_string()
    );
    error
        .to_string()
        .replace(&path.display().to_string(), "PATH")
}

#[test]
fn a_newer_schema_is_refused_and_left_as_it_is() {
    // Pitfall D12.
    let bench = Bench::new();
    let path = bench.path();
    let newer = "INSERT INTO schema_version VALUES (99, 'later')";
    bench
        .ledger
        .read()
        .run(|connection| connection.execute_batch(newer))
        .unwrap();
    let Bench {
        ledger,
        folder: _folder,
    } = bench;
    drop(ledger);
    let before = std::fs::read(&path).unwrap();
    assert_eq!(
        open_error(&path),
        format!(
            "PATH has schema 99, written by a newer version; this one knows {}: use the newer \
             version, the file was left as it is",
            migrate::KNOWN
        )
    );
    assert_eq!(std::fs::read(&path).unwrap(), before);
}

#[test]
fn a_damaged_file_is_refused_and_left_as_it_is() {
    let mut bench = Bench::new();
    let offers: Vec<Offer> = (0..200)
        .map(|sku| offer(&sku.to_string(), 100 + sku))
        .collect();
    bench.poll(0, &offers);
    let path = bench.path();
    let Bench {
        ledger,
        folder: _folder,
    } = bench;
    drop(ledger);
    let sound = std::fs::read(&path).unwrap();
    let message = "PATH is damaged or no database: it was left as it is, restore a backup or \
                   move it away";

    let mut no_database = sound.clone();
    no_database[..16].copy_from_slice(b"hello, I am text");
    std::fs::write(&path, &no_database).unwrap();
    assert_eq!(open_error(&path), message);
    assert_eq!(std::fs::read(&path).unwrap(), no_database);

    // SQLite file format: a page's first byte is its type; 0x77 is none. Pages are 4096 bytes.
    let mut damaged = sound.clone();
    for page in damaged.chunks_mut(4096).skip(1) {
        page[0] = 0x77;
    }
    std::fs::write(&path, &damaged).unwrap();
    let opened = Ledger::open(&path).and_then(|ledger| ledger.read().current_offers());
    let error = opened.unwrap_err();
    assert!(matches!(error, LedgerError::Damaged { .. }), "{error:?}");

    std::fs::write(&path, &sound).unwrap();
    assert_eq!(
        Ledger::open(&path)
            .unwrap()
            .read()
            .current_offers()
            .unwrap()
            .len(),
        200
    );
}

#[test]
fn a_foreign_database_is_refused_and_a_missing_one_is_named() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("other.db");
    let foreign = rusqlite::Connection::open(&path).unwrap();
    foreign.execute_batch("CREATE TABLE notes (text)").unwrap();
    drop(foreign);
    let before = std::fs::read(&path).unwrap();
    assert_eq!(
        open_error(&path),
        "PATH is a database of another program: choose another file for the ledger"
    );
    assert_eq!(std::fs::read(&path).unwrap(), before);
    let none = folder.path().join("none.db");
    assert!(matches!(
        Reader::open(&none),
        Err(LedgerError::Missing { .. })
    ));
    assert!(!none.exists());
    let nowhere = folder.path().join("no/folder.db");
    assert!(matches!(
        Ledger::open(&nowhere),
        Err(LedgerError::CannotOpen { .. })
    ));
}

#[test]
fn a_second_watch_is_refused_and_told_who_has_the_ledger() {
    // Pitfall D11.
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("ledger.db");
    let lock = WatchLock::acquire(&path).unwrap();
    let refused = WatchLock::acquire(&path).unwrap_err();
    let process = std::process::id();
    assert_eq!(
        refused.to_string(),
        format!("another watch (process {process}) uses this ledger: stop it first")
    );
    drop(lock);
    WatchLock::acquire(&path).unwrap();
}

#[test]
fn whoever_holds_a_ledger_says_where_it_answers() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("ledger.db");
    assert_eq!(WatchLock::address(&path), None);
    let lock = WatchLock::acquire(&path).unwrap();
    assert_eq!(WatchLock::address(&path), None);
    for address in ["[2001:db8:1:2:3:4:5:6]:65535", "127.0.0.1:80"] {
        let address = Some(address.parse().unwrap());
        lock.say(address).unwrap();
        assert_eq!(WatchLock::address(&path), address);
        assert_eq!(WatchLock::holder(&path), Some(Some(std::process::id())));
    }
    lock.say(None).unwrap();
    assert_eq!(WatchLock::address(&path), None);
    lock.say(Some("127.0.0.1:80".parse().unwrap())).unwrap();
    drop(lock);
    assert_eq!(WatchLock::address(&path), None);
}

#[test]
fn a_full_disk_undoes_the_poll_and_the_next_one_works() {
    // Pitfall D09. SQLite answers SQLITE_FULL as well when a file may not grow any further.
    let mut bench = Bench::new();
    bench.poll(0, &[offer("q-1", 100)]);
    let limit = |bench: &Bench, pages: u32| {
        let set = format!("PRAGMA max_page_count = {pages}");
        let run = |connection: &rusqlite::Connection| connection.query_row(&set, [], |_| Ok(()));
        bench.ledger.read().run(run).unwrap();
    };
    limit(&bench, 1);
    let mut writer = bench
        .ledger
        .begin_poll(&feed(), &retailer(), at(1))
        .unwrap();
    let full = (0..10_000).find_map(|sku| writer.see(&offer(&sku.to_string(), 1), None).err());
    assert!(matches!(full, Some(LedgerError::Full { .. })), "{full:?}");
    drop(writer);
    assert_eq!(bench.series(), [(0, 0, 100)]);
    limit(&bench, 1_000_000);
    assert_eq!(bench.poll(2, &[offer("q-1", 100)]), [Effect::Unchanged]);
}
