//! Records read by several threads: however many they are, they come to the same.

use crate::support::polling::{contents, poll};
use crate::support::program::Configuration;
use chrono::{DateTime, TimeDelta, Utc};
use rigtide::watch::poll::PollReport;
use serde_json::json;
use std::num::NonZeroUsize;

const PARTS: &str = "[[part]]\nid = \"tern-7\"\nkind = \"gpu\"\nname = \"Norvant Tern 7\"\n\
                     brand = \"Norvant\"\nmpn = \"NV-8810/16G\"\n\
                     [[part]]\nid = \"tern-7-8g\"\nkind = \"gpu\"\nname = \"Norvant Tern 7 8GB\"\n\
                     brand = \"Norvant\"\n";
const FIELDS: &str = "[feed.fields]\nsku = \"nr\"\ntitle = \"title\"\nmpn = \"mpn\"\n\
                      price = \"price\"\n";
/// Far more than are under way at once.
const N_RECORDS: usize = 3_000;
const LEDGERS: [(&str, usize); 2] = [("one.sqlite", 1), ("four.sqlite", 4)];

type Record = [String; 4];

fn configuration(format: &str) -> Configuration {
    let configuration = Configuration::new("2026-06-15T12:00:00Z");
    configuration.write("catalogue/parts.toml", PARTS);
    configuration.write(
        "retailers/brindlemark.toml",
        format!(
            "name = \"Brindlemark\"\ncountry = \"DE\"\ncurrency = \"EUR\"\n[[feed]]\nid = \"list\"\n\
             file = \"list\"\nformat = \"{format}\"\nlargest_loss_percent = 100\n{FIELDS}"
        ),
    );
    configuration
}

/// A record in forty is odd: refused, repeated, cheaper than an earlier one of its SKU, or a
/// question to the author. Notes end at fifty, so these come from the better part of the feed.
fn records(euros: usize) -> Vec<Record> {
    let record = |n: usize| {
        let (sku, price) = match n % 240 {
            40 => (n, "on request".to_owned()),
            80 => (n - 1, format!("{}.50", euros + n - 1)),
            120 => (n - 119, format!("{euros}.10")),
            160 => (n, "0.00".to_owned()),
            _ => (n, format!("{}.50", euros + n)),
        };
        let (title, mpn) = match n % 240 {
            200 => ("Norvant Tern 7 8GB", "NV-8810/16G"),
            _ if n.is_multiple_of(7) => ("Norvant Tern 7", "NV-8810/16G"),
            _ => ("Garden chair", ""),
        };
        [format!("A-{sku}"), title.to_owned(), mpn.to_owned(), price]
    };
    (0..N_RECORDS).map(record).collect()
}

fn csv(records: &[Record]) -> String {
    let rows = records.iter().enumerate().map(|(n, record)| {
        // A row with a value too many is a reject.
        let more = if n % 960 == 500 { ",\"more\"" } else { "" };
        format!("{}{more}\n", record.join(","))
    });
    format!("nr,title,mpn,price\n{}", rows.collect::<String>())
}

fn json(records: &[Record]) -> String {
    let record = |[nr, title, mpn, price]: &Record| json!({ "nr": nr, "title": title, "mpn": mpn, "price": price });
    serde_json::Value::from_iter(records.iter().map(record)).to_string()
}

/// Polls into one ledger for each number of readers; what they come to must not differ.
fn poll_all(configuration: &Configuration, hour: i64) -> PollReport {
    let start: DateTime<Utc> = "2026-06-15T12:00:00Z".parse().unwrap();
    let polled = LEDGERS.map(|(ledger, n_readers)| {
        let readers = NonZeroUsize::new(n_readers).unwrap();
        let now = start + TimeDelta::hours(hour);
        let report = poll(configuration, ledger, readers, now).unwrap();
        let report = PollReport {
            duration_ms: 0,
            ..report
        };
        (report, contents(configuration, ledger, &[]))
    });
    let [(report, rows), others @ ..] = polled;
    for (other, other_rows) in others {
        assert_eq!(other, report);
        assert_eq!(other_rows.len(), rows.len());
        for (other_row, row) in other_rows.iter().zip(&rows) {
            assert_eq!(other_row, row);
        }
    }
    report
}

#[test]
fn a_feed_comes_to_the_same_however_many_threads_read_it() {
    for format in ["csv", "json"] {
        let text = |records: &[Record]| match format {
            "csv" => csv(records),
            _ => json(records),
        };
        let configuration = configuration(format);
        let first = records(400);
        configuration.write("list", text(&first));
        let report = poll_all(&configuration, 0);
        assert_eq!(
            (report.status, report.records),
            ("fresh", N_RECORDS as u64),
            "{report:?}"
        );
        assert!(report.refused > 0 && report.matched > 0, "{report:?}");
        // The notes stand in the order of the records, and most of the feed has some.
        assert_eq!(report.notes.len(), 50);
        let of_records = |note: &String| {
            let number = note.strip_prefix("record ")?;
            let end = number.find(|c: char| !c.is_ascii_digit())?;
            number[..end].parse::<usize>().ok()
        };
        let numbers: Vec<usize> = report.notes.iter().filter_map(of_records).collect();
        assert!(numbers.is_sorted(), "{numbers:?}");
        assert!(numbers.last() > Some(&1_500), "{numbers:?}");
        // Of the next poll most records are known again, and go the other way round.
        let mut next = records(400);
        next.reverse();
        for record in next.iter_mut().step_by(9) {
            record[3] = "431.70".to_owned();
        }
        configuration.write("list", text(&next));
        let report = poll_all(&configuration, 1);
        assert_eq!(report.status, "fresh", "{report:?}");
        assert!(report.changed > 0 && report.changed < report.offers);
    }
}

#[test]
fn a_document_that_is_cut_leaves_the_same_behind_however_many_threads_read_it() {
    let configuration = configuration("json");
    let text = json(&records(400));
    configuration.write("list", &text);
    assert_eq!(poll_all(&configuration, 0).status, "fresh");
    let text = json(&records(390));
    configuration.write("list", &text[..text.len() / 2]);
    let cut = poll_all(&configuration, 1);
    assert_eq!(cut.status, "failed");
    assert!(cut.error.is_some(), "{cut:?}");
}

#[test]
fn a_ledger_that_fails_halfway_fails_the_same_however_many_threads_read() {
    let configuration = configuration("csv");
    configuration.write("list", csv(&records(400)));
    poll_all(&configuration, 0);
    configuration.write("list", csv(&records(390)));
    let before = contents(&configuration, LEDGERS[0].0, &[]);
    for (ledger, n_readers) in LEDGERS {
        let connection = rusqlite::Connection::open(configuration.path(ledger)).unwrap();
        connection
            .execute_batch(
                "CREATE TRIGGER worn_out BEFORE INSERT ON observation
                 WHEN NEW.offer_id = 1500 BEGIN SELECT RAISE(ABORT, 'worn out'); END",
            )
            .unwrap();
        let readers = NonZeroUsize::new(n_readers).unwrap();
        let now = "2026-06-15T13:00:00Z".parse().unwrap();
        let error = poll(&configuration, ledger, readers, now).unwrap_err();
        let text = format!("{:#}", anyhow::Error::from(error));
        assert!(text.contains("worn out"), "{text}");
        assert_eq!(contents(&configuration, ledger, &[]), before);
    }
}
