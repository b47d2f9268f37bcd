//! Backups, restoring, exports and what a verification finds.

use super::*;
use std::collections::BTreeMap;
use std::path::Path;

/// A ledger in which every table has rows.
pub(super) fn full() -> Bench {
    let mut bench = Bench::new();
    bench.poll(
        0,
        &[offer("q-1", 100), offer("q-2", 200), offer("q-3", 300)],
    );
    let market = Offer {
        seller: Some("=cmd|' /C calc'!A0".to_owned()),
        title: String::new(),
        brand: Some(String::new()),
        link: None,
        notes: vec!["'quoted, \"twice\"\nand broken".to_owned()],
        ..offer("-7", 90)
    };
    bench.poll(1, &[offer("q-1", 110), market.clone()]);
    bench.hold(2, &offer("q-2", 1));
    let renamed = Offer {
        title: "@Quillon\tK7".to_owned(),
        ..market
    };
    bench.poll_as(3, &[renamed, offer("q-2", 1)], SnapshotIs::Partial);
    bench.hold(4, &offer("q-1", 2));
    bench.unchanged(5);
    bench.quiet(6, NoSnapshot::Failed);
    bench.poll(7, &[offer("q-2", 210)]);
    bench.ledger.record_decision(&decision(8, "a")).unwrap();
    bench.ledger.record_decision(&decision(9, "b")).unwrap();
    let ids: Vec<_> = bench.ledger.read().due(at(100), 10).unwrap();
    bench
        .ledger
        .mark_dead(&ids[0].bulletin.id, &ids[0].channel, at(9), "refused")
        .unwrap();
    let id = &ids[1].bulletin.id;
    bench.ledger.mark_sent(id, &ids[1].channel, at(9)).unwrap();
    bench
        .ledger
        .disable_channel("desk", "hash", at(9), "gone")
        .unwrap();
    let one = [(OfferRow(1), Some(part("cpu-b")))];
    bench
        .ledger
        .rematch(&one, None, Mark([0; 16]), at(10))
        .unwrap();
    let write = |connection: &rusqlite::Connection| {
        connection.execute_batch(
            "INSERT INTO deciding VALUES ('media-room', 0, '{}');
             INSERT INTO marks SELECT NULL, feed_id,
                 unhex(printf('%02x02000102030405060708090a0b0c0d0e0f', 2 * id)) FROM offer WHERE present = 1;
             INSERT INTO offer_decision VALUES
                 ('northlight', 'q-1', 'lacking', '[]', 'x', 0, NULL);",
        )
    };
    bench.ledger.read().run(write).unwrap();
    let frozen = bench.ledger.freeze(&NewEdition {
        brief: "media-room",
        number: 1,
        at: at(11),
        document: "{}\n",
        forms: &[("text".to_owned(), "=1+1\r\n".to_owned())],
        seen: &[],
        entry: &editions::entry(11),
    });
    assert!(matches!(frozen.unwrap(), Freezing::Done(_)));
    bench
}

/// Every row of every table, as text.
fn rows(path: &Path) -> BTreeMap<String, Vec<String>> {
    let connection = rusqlite::Connection::open(path).unwrap();
    let mut names = connection
        .prepare("SELECT name FROM sqlite_schema WHERE type = 'table' AND name NOT LIKE 'sqlite_%'")
        .unwrap();
    let names = names.query_map([], |row| row.get::<_, String>(0)).unwrap();
    let mut all = BTreeMap::new();
    for name in names.map(Result::unwrap) {
        let mut statement = connection
            .prepare(&format!("SELECT * FROM {name}"))
            .unwrap();
        let n_columns = statement.column_count();
        let found = statement.query_map([], |row| {
            let values = (0..n_columns).map(|at| row.get::<_, rusqlite::types::Value>(at));
            let values: rusqlite::Result<Vec<_>> = values.collect();
            Ok(format!("{:?}", values?))
        });
        all.insert(name, found.unwrap().map(Result::unwrap).collect());
    }
    all
}

pub(super) fn silent() -> impl FnMut(Copied) {
    |_| {}
}

#[test]
fn what_is_exported_comes_back_row_for_row_in_every_format() {
    let bench = full();
    let expected = rows(&bench.path());
    for (table, found) in &expected {
        assert!(!found.is_empty(), "{table} has nothing to compare");
    }
    for ending in ["csv", "jsonl", "parquet"] {
        let file = bench.folder.path().join(format!("record.{ending}"));
        let counted = bench.ledger.read().export(&file, &mut |_| {}).unwrap();
        let n_rows: usize = expected.values().map(Vec::len).sum();
        assert_eq!(counted.values().sum::<u64>(), n_rows as u64);
        let again = bench.ledger.read().export(&file, &mut |_| {});
        assert!(again.unwrap_err().to_string().contains("is there already"));
        let path = bench.folder.path().join(format!("{ending}.db"));
        let taken = import(&path, &file, &mut |_| {}).unwrap();
        assert_eq!(taken, counted, "{ending}");
        assert_eq!(rows(&path), expected, "{ending}");
        let refused = import(&path, &file, &mut |_| {}).unwrap_err();
        assert!(matches!(refused, TransferError::NotEmpty), "{refused}");
        assert_eq!(rows(&path), expected, "{ending}");
    }
    let unknown = bench.folder.path().join("record.xlsx");
    let refused = bench.ledger.read().export(&unknown, &mut |_| {});
    assert!(
        refused
            .unwrap_err()
            .to_string()
            .contains("cannot tell the format")
    );
}

#[test]
fn a_spreadsheet_finds_no_formula_in_an_export() {
    // OWASP, "CSV Injection".
    let bench = full();
    let file = bench.folder.path().join("record.csv");
    bench.ledger.read().export(&file, &mut |_| {}).unwrap();
    let mut reader = csv::Reader::from_path(&file).unwrap();
    let (mut marked, mut cells) = (0, 0);
    for record in reader.records() {
        for cell in &record.unwrap() {
            let first = cell.chars().next();
            let is_number = cell.parse::<i64>().is_ok();
            let starts = first.is_some_and(|first| "=+-@\t\r\n".contains(first));
            assert!(!starts || is_number, "{cell}");
            marked += usize::from(first == Some('\''));
            cells += 1;
        }
    }
    assert!(marked >= 4 && cells > 1000, "{marked} of {cells}");
}

#[test]
fn an_export_with_a_fault_changes_nothing_and_is_told_by_its_row() {
    let bench = full();
    let file = bench.folder.path().join("record.jsonl");
    bench.ledger.read().export(&file, &mut |_| {}).unwrap();
    let sound = std::fs::read_to_string(&file).unwrap();
    let n_lines = sound.lines().count();
    let changed = |from: &str, to: &str| {
        assert!(sound.contains(from), "{from}");
        sound.replacen(from, to, 1)
    };
    let cases = [
        (
            sound.clone() + "{\"table\":\"offers\"}\n",
            "no table is called \"offers\"",
        ),
        (sound.clone() + "[]\n", "it is no JSON object"),
        (sound.clone() + "{}\n", "it names no table"),
        (
            changed("\"price_minor\":100", "\"price\":100"),
            "the table \"observation\" has no column \"price\"",
        ),
        (
            changed("\"price_minor\":100", "\"price_minor\":\"1e2\""),
            "\"1e2\" in price_minor is no whole number",
        ),
        (
            changed("\"status\":\"fresh\"", "\"status\":\"odd\""),
            "does not take it: CHECK",
        ),
        (
            changed(
                "\"availability\":\"in_stock\"",
                "\"availability\":\"plenty\"",
            ),
            "it is not so that every availability and condition has a known name",
        ),
        (String::new(), "does not say of which schema it is"),
        (
            "{\"table\":\"schema_version\",\"version\":1,\"name\":\"x\"}\n".repeat(99),
            "has schema 99",
        ),
    ];
    for (text, expected) in cases {
        let faulty = bench.folder.path().join("faulty.jsonl");
        std::fs::write(&faulty, &text).unwrap();
        let path = bench.folder.path().join("new.db");
        let refused = import(&path, &faulty, &mut |_| {}).unwrap_err();
        assert!(refused.to_string().contains(expected), "{refused}");
        assert!(!path.exists(), "{expected}");
        if expected.contains("no table is called") {
            let row = format!("faulty.jsonl, row {}:", n_lines + 1);
            assert!(refused.to_string().contains(&row), "{refused}");
        }
    }
}

#[test]
fn a_backup_of_a_ledger_in_use_is_one_moment_and_restores_to_it() {
    let mut bench = full();
    // More pages than are copied in one step.
    let record = PollRecord {
        notes: vec!["x".repeat(6 << 20)],
        ..PollRecord::default()
    };
    let failed = NoSnapshot::Failed;
    let stored = bench
        .ledger
        .record_poll(&feed(), &retailer(), at(12), failed, &record);
    stored.unwrap();
    let before = rows(&bench.path());
    let reader = Reader::open(&bench.path()).unwrap();
    let file = bench.folder.path().join("kept.db");
    // A poll commits while the pages are being copied.
    let mut reported = Vec::new();
    let ledger = &mut bench.ledger;
    let mut told = |copied: Copied| {
        if reported.is_empty() {
            let writer = ledger.begin_poll(&feed(), &retailer(), at(20)).unwrap();
            writer
                .commit(&PollRecord::default(), SnapshotIs::Partial)
                .unwrap();
        }
        reported.push(copied);
    };
    let verified = reader.backup(&file, &mut told).unwrap();
    assert!(verified.holds(), "{verified:?}");
    assert!(reported.len() > 1, "the poll did not come in between");
    assert_eq!(reported.last().unwrap().pages, reported[0].of_pages);
    assert_eq!(rows(&file), before);
    let after = rows(&bench.path());
    assert_ne!(after, before);
    assert!(matches!(
        reader.backup(&file, &mut silent()),
        Err(LedgerError::Exists { .. })
    ));

    let path = bench.path();
    let lock = WatchLock::acquire(&path).unwrap();
    let refused = restore(&path, &file, ".old", &mut silent()).unwrap_err();
    assert!(matches!(refused, RestoreError::Lock(_)), "{refused}");
    drop(lock);
    // A reader that is open sees the old ledger whole or the restored one whole.
    let restored = restore(&path, &file, ".old", &mut silent()).unwrap();
    let kept = restored.kept.unwrap();
    assert_eq!(rows(&kept), after);
    assert_eq!(rows(&path), before);
    assert_eq!(reader.last_polls(&feed(), 1).unwrap()[0].at, at(12));
    let left: Vec<_> = std::fs::read_dir(bench.folder.path())
        .unwrap()
        .map(|entry| entry.unwrap().file_name().into_string().unwrap())
        .filter(|name| name.contains(".part"))
        .collect();
    assert_eq!(left, Vec::<String>::new());
}

#[test]
fn what_is_no_sound_backup_is_refused_and_a_damaged_ledger_can_be_replaced() {
    let bench = full();
    let (path, folder) = (bench.path(), bench.folder);
    let kept = folder.path().join("kept.db");
    bench.ledger.read().backup(&kept, &mut silent()).unwrap();
    drop(bench.ledger);
    let expected = rows(&path);
    let text = folder.path().join("notes.txt");
    std::fs::write(&text, "hello, I am text".repeat(100)).unwrap();
    let unsound = folder.path().join("unsound.db");
    std::fs::copy(&kept, &unsound).unwrap();
    let connection = rusqlite::Connection::open(&unsound).unwrap();
    connection
        .execute_batch("UPDATE offer SET part = 'other' WHERE id = 1")
        .unwrap();
    drop(connection);
    let nothing = folder.path().join("none.db");
    for (from, expected_fault) in [
        (&text, "is damaged or no database"),
        (
            &unsound,
            "it is not so that every offer is taken for what its newest match says",
        ),
        (&nothing, "there is no ledger at"),
    ] {
        let refused = restore(&path, from, ".old", &mut silent()).unwrap_err();
        assert!(refused.to_string().contains(expected_fault), "{refused}");
        let file = from.file_name().unwrap().to_string_lossy();
        assert!(refused.to_string().contains(&*file), "{refused}");
        assert_eq!(rows(&path), expected);
    }
    std::fs::write(&path, "hello, I am text".repeat(100)).unwrap();
    let restored = restore(&path, &kept, ".old", &mut silent()).unwrap();
    let old = std::fs::read_to_string(restored.kept.unwrap()).unwrap();
    assert!(old.starts_with("hello"));
    assert_eq!(rows(&path), expected);
}
