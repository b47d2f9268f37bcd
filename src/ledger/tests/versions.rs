//! Ledgers that earlier versions wrote; `tests/ledgers/make.py` made them.

use super::*;
use rusqlite::Connection;
use rusqlite::types::Value;
use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

fn stored(version: i64) -> PathBuf {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    root.join(format!("tests/ledgers/v{version}.sqlite"))
}

type Rows = BTreeMap<String, Vec<BTreeMap<String, Value>>>;

/// Every row of every table, column by column.
fn rows(path: &Path) -> Rows {
    let connection = Connection::open(path).unwrap();
    let mut names = connection
        .prepare(
            "SELECT name FROM sqlite_schema WHERE type = 'table' AND name NOT LIKE 'sqlite_%'
             ORDER BY rowid",
        )
        .unwrap();
    let names = names.query_map([], |row| row.get::<_, String>(0)).unwrap();
    let mut all = Rows::new();
    for name in names.map(Result::unwrap) {
        let mut statement = connection
            .prepare(&format!("SELECT * FROM {name}"))
            .unwrap();
        let columns: Vec<String> = statement.column_names().map(str::to_owned).collect();
        let found = statement.query_map([], |row| {
            let values = columns.iter().enumerate();
            values
                .map(|(at, column)| Ok((column.clone(), row.get(at)?)))
                .collect()
        });
        all.insert(name, found.unwrap().map(Result::unwrap).collect());
    }
    all
}

fn schema(path: &Path) -> Vec<String> {
    let connection = Connection::open(path).unwrap();
    let mut statement = connection
        .prepare("SELECT sql FROM sqlite_schema WHERE sql IS NOT NULL ORDER BY type, name")
        .unwrap();
    let found = statement.query_map([], |row| row.get(0)).unwrap();
    found.map(Result::unwrap).collect()
}

#[test]
fn a_ledger_of_every_earlier_version_is_brought_up_to_date_with_all_it_holds() {
    // Pitfall D12, the other way round.
    let fresh = Bench::new();
    for version in 1..migrate::KNOWN {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("ledger.db");
        std::fs::copy(stored(version), &path)
            .unwrap_or_else(|error| panic!("run tests/ledgers/make.py: v{version}: {error}"));
        let before = rows(&path);
        let Err(LedgerError::Older { found, known, .. }) = Reader::open(&path) else {
            panic!("v{version} is not older");
        };
        assert_eq!((found, known), (version, migrate::KNOWN));
        let mut ledger = Ledger::open(&path).unwrap();
        let verified = ledger.read().verify().unwrap();
        assert!(
            verified.holds(),
            "{:?}",
            verified.failed().collect::<Vec<_>>()
        );
        assert_eq!(schema(&path), schema(&fresh.path()), "v{version}");
        let after = rows(&path);
        let mut n_placed: BTreeMap<&str, usize> = BTreeMap::new();
        for (table, held) in &before {
            for old in held {
                let Some((place, kept)) = place_now(table, old) else {
                    continue;
                };
                let has_kept = |new: &BTreeMap<String, Value>| {
                    let mut kept = kept.iter();
                    kept.all(|(column, value)| new.get(*column) == Some(*value))
                };
                let is_there = after[place].iter().any(has_kept);
                assert!(is_there, "v{version} {table}: {old:?} is not in {place}");
                *n_placed.entry(place).or_default() += 1;
            }
        }
        *n_placed.entry("schema_version").or_default() += (migrate::KNOWN - version) as usize;
        for (table, held) in &after {
            let n_placed = n_placed.get(table.as_str()).copied().unwrap_or(0);
            assert_eq!(held.len(), n_placed, "v{version} {table}");
        }
        let then = DateTime::from_timestamp_millis(150).unwrap();
        let offers = |at| {
            let offers = ledger.read().offers_at(at);
            offers
                .iter()
                .map(|one| one.offer.price.minor())
                .collect::<Vec<_>>()
        };
        assert_eq!(
            (offers(Some(then)), offers(None)),
            (vec![20_000, 30_000], vec![19_000, 30_000])
        );
        // It goes on where the old version stopped.
        let writer = ledger.begin_poll(&feed(), &retailer(), at(1)).unwrap();
        writer
            .commit(&PollRecord::default(), SnapshotIs::Complete)
            .unwrap();
        assert!(ledger.read().verify().unwrap().holds());
    }
}

/// The table that holds a row now, and what of it must be there. Marks are not taken over.
fn place_now<'r>(
    table: &'r str,
    old: &'r BTreeMap<String, Value>,
) -> Option<(&'r str, BTreeMap<&'r str, &'r Value>)> {
    let stands = table == "observation" && old["until_ms"] == Value::Null;
    let (place, left_out): (_, &[&str]) = match table {
        "mark" => return None,
        "observation" if stands => ("standing", &["until_ms", "gone_ms"]),
        "offer" => (table, &["mark"]),
        table => (table, &[]),
    };
    let kept = old.iter().map(|(column, value)| (column.as_str(), value));
    let kept = kept.filter(|(column, _)| !left_out.contains(column));
    Some((place, kept.collect()))
}

#[test]
fn an_export_of_every_earlier_version_is_taken_in() {
    let folder = tempfile::tempdir().unwrap();
    for version in 1..migrate::KNOWN {
        let connection = Connection::open(stored(version)).unwrap();
        let mut order = connection
            .prepare("SELECT name FROM sqlite_schema WHERE type = 'table' ORDER BY rowid")
            .unwrap();
        let order = order.query_map([], |row| row.get::<_, String>(0)).unwrap();
        let held = rows(&stored(version));
        let mut lines = String::new();
        for table in order.map(Result::unwrap) {
            for row in &held[&table] {
                lines.push_str(&line(&table, row));
            }
        }
        let file = folder.path().join(format!("v{version}.jsonl"));
        std::fs::write(&file, lines).unwrap();
        let (imported, upgraded) = (
            folder.path().join(format!("imported-{version}.db")),
            folder.path().join(format!("upgraded-{version}.db")),
        );
        import(&imported, &file, &mut |_| {}).unwrap();
        std::fs::copy(stored(version), &upgraded).unwrap();
        drop(Ledger::open(&upgraded).unwrap());
        assert_eq!(rows(&imported), rows(&upgraded), "v{version}");
    }
}

/// A row as an export of that version says it.
fn line(table: &str, row: &BTreeMap<String, Value>) -> String {
    let mut object = serde_json::json!({ "table": table });
    for (column, value) in row {
        let column = match (table, column.as_str()) {
            ("bulletin", "id") => "id_text",
            (_, column) => column,
        };
        match value {
            Value::Integer(number) => object[column] = (*number).into(),
            Value::Text(text) => object[column] = text.as_str().into(),
            Value::Blob(bytes) => {
                let digits = bytes.iter().map(|byte| format!("{byte:02x}"));
                object[column] = digits.collect::<String>().into();
            }
            Value::Null | Value::Real(_) => {}
        }
    }
    format!("{object}\n")
}
