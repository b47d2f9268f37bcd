//! `export`, `import-history`, `backup`, `restore`, `verify` and `compact`, run as an author would.

use crate::support::guides::{Guides, rigtide, run, text};
use serde_json::Value;
use std::fs;
use std::process::Output;

fn at(guides: &Guides, now: &str, arguments: &[&str]) -> Output {
    let mut command = rigtide(&guides.directory);
    command.args(arguments).env("RIGTIDE_TEST_NOW", now);
    command.output().unwrap()
}

fn good(output: &Output) -> String {
    let said = text(&output.stdout) + &text(&output.stderr);
    assert!(output.status.success(), "{said}");
    text(&output.stdout)
}

fn json(output: &Output) -> Value {
    serde_json::from_slice(&output.stdout)
        .unwrap_or_else(|error| panic!("{error}: {}", text(&output.stderr)))
}

fn polled() -> Guides {
    let guides = Guides::new();
    good(&at(&guides, "2026-12-01T06:00:00Z", &["poll"]));
    guides
}

fn named(guides: &Guides, file: &str) -> String {
    guides.directory.join(file).display().to_string()
}

#[test]
fn a_ledger_moves_by_an_export_and_answers_as_before() {
    let guides = polled();
    let now = "2026-12-01T08:00:00Z";
    let before = good(&at(&guides, now, &["best", "--json"]));
    for ending in ["csv", "jsonl", "parquet"] {
        let file = named(&guides, &format!("record.{ending}"));
        let exported = json(&at(&guides, now, &["export", &file, "--json"]));
        assert!(exported["rows"]["standing"].as_u64().unwrap() > 10);
        let refused = at(&guides, now, &["import-history", &file]);
        assert_eq!(refused.status.code(), Some(2));
        assert!(text(&refused.stderr).contains("an export goes into an empty one"));
        let elsewhere = Guides::new();
        let imported = json(&at(&elsewhere, now, &["import-history", &file, "--json"]));
        assert_eq!(imported["rows"], exported["rows"], "{ending}");
        assert_eq!(good(&at(&elsewhere, now, &["best", "--json"])), before);
        good(&at(&elsewhere, now, &["verify"]));
    }
}

#[test]
fn noted_prices_come_before_what_the_ledger_has_and_every_bad_line_is_told() {
    let guides = polled();
    let notes = guides.directory.join("notes.csv");
    let import = |lines: &str| {
        fs::write(&notes, lines).unwrap();
        at(
            &guides,
            "2026-12-02T06:00:00Z",
            &["import-history", notes.to_str().unwrap()],
        )
    };
    let header = "retailer,sku,part,at,price,currency,availability\n";
    let bad = import(&format!(
        "{header}\
         exampel,EX-101,,2026-10-01,150,EUR,in_stock\n\
         example,EX-101,,2026-10-01,\"1.234,50\",EUR,in_stock\n\
         example,EX-101,,yesterday,150,EUR,plenty\n\
         example,,,2026-10-01,150,,\n\
         example,EX-101,no-such-part,2026-10-01,150,,\n\
         example,EX-101,,2027-10-01,150,,\n\
         example,EX-101,,2026-10-01,0,XYZ,\n"
    ));
    assert_eq!(bad.status.code(), Some(2));
    let said = text(&bad.stderr).replace(&guides.directory.display().to_string(), "DIR");
    insta::assert_snapshot!(said);
    let overlapping = import(&format!(
        "{header}example,EX-101,,2026-10-01,150,,\nexample,EX-101,,2026-12-01T07:00:00Z,150,,\n"
    ));
    assert_eq!(overlapping.status.code(), Some(2));
    let said = text(&overlapping.stderr);
    assert!(
        said.contains("notes.csv:3: the ledger has prices of this offer from"),
        "{said}"
    );
    let twice = import(&format!(
        "{header}example,EX-101,,2026-10-01,150,,\nexample,EX-101,,2026-10-01,151,,\n"
    ));
    assert!(text(&twice.stderr).contains("line 2 says another price"));
    let unknown = import("shop,prize\n");
    assert!(text(&unknown.stderr).contains("there is no column `prize`; did you mean `price`?"));
    // Nothing of all that was taken.
    let verified = json(&run(&guides.directory, &["verify", "--json"]));
    assert_eq!(verified["ok"], true);

    let taken = import(&format!(
        "{header}\
         example,EX-101,,2026-10-01,150.00,,\n\
         example,EX-101,,2026-10-05,150.00,,\n\
         example,EX-101,,2026-10-09,140.00,,out_of_stock\n\
         example,OLD-1,drefholm-loft-12,2026-09-01T10:00:00Z,60,EUR,\n"
    ));
    insta::assert_snapshot!(good(&taken), @"4 prices imported as 3 intervals, 1 offers of them new");
    let part = json(&run(&guides.directory, &["best", "--json"]))["picks"][0]["part"].clone();
    let of = |part: &str| json(&run(&guides.directory, &["history", part, "--json"]));
    let _ = part;
    let case = of("drefholm-loft-12");
    let points = case["points"].as_array().unwrap();
    assert!(
        points
            .iter()
            .any(|point| point["price_minor"] == 6000 && point["sku"] == "OLD-1")
    );
    let verified = json(&run(&guides.directory, &["verify", "--json"]));
    assert_eq!(verified["ok"], true, "{verified}");
    // The market of that time has it; that of today does not.
    let then = [
        "why",
        "drefholm-loft-12",
        "--at",
        "2026-09-01T10:00:00Z",
        "--json",
    ];
    let then = json(&at(&guides, "2026-12-02T06:00:00Z", &then));
    assert_eq!(then["left_out"], serde_json::json!([]), "{then}");
}

#[test]
fn a_backup_verifies_restores_and_keeps_what_was_there() {
    let guides = polled();
    let file = named(&guides, "kept.sqlite");
    let backup = json(&run(&guides.directory, &["backup", &file, "--json"]));
    assert_eq!(backup["ok"], true);
    let again = run(&guides.directory, &["backup", &file]);
    assert_eq!(again.status.code(), Some(6));
    assert!(text(&again.stderr).contains("is there already"));
    let first = good(&at(&guides, "2026-12-03T08:00:00Z", &["best", "--json"]));
    guides.edit("retailers/example-offers.csv", ",214.90,", ",239.00,");
    good(&at(&guides, "2026-12-02T06:00:00Z", &["poll"]));
    let second = good(&at(&guides, "2026-12-03T08:00:00Z", &["best", "--json"]));
    assert_ne!(first, second);
    let restore = ["restore", &file, "--json"];
    let restored = json(&at(&guides, "2026-12-03T09:00:00Z", &restore));
    let kept = restored["kept"].as_str().unwrap().to_owned();
    assert!(
        kept.ends_with("ledger.sqlite.before-20261203T090000Z"),
        "{kept}"
    );
    assert_eq!(
        good(&at(&guides, "2026-12-03T08:00:00Z", &["best", "--json"])),
        first
    );
    // What was kept is a ledger like any other.
    good(&at(&guides, "2026-12-03T10:00:00Z", &["restore", &kept]));
    assert_eq!(
        good(&at(&guides, "2026-12-03T08:00:00Z", &["best", "--json"])),
        second
    );
    let none = run(
        &guides.directory,
        &["restore", &named(&guides, "none.sqlite")],
    );
    assert_eq!(none.status.code(), Some(6));
    assert_eq!(
        good(&at(&guides, "2026-12-03T08:00:00Z", &["best", "--json"])),
        second
    );
}

#[test]
fn verify_says_what_holds_and_what_does_not_and_fails_then() {
    let guides = polled();
    let sound = run(&guides.directory, &["verify"]);
    insta::assert_snapshot!(good(&sound));
    let connection = rusqlite::Connection::open(guides.ledger()).unwrap();
    connection
        .execute_batch("UPDATE offer SET part = 'other' WHERE id IN (1, 2)")
        .unwrap();
    drop(connection);
    let faulty = run(&guides.directory, &["verify"]);
    assert_eq!(faulty.status.code(), Some(6));
    let said = text(&faulty.stdout);
    let line = "FAULT  2 times it is not so that every offer is taken for what its newest match \
                says: offer 1, offer 2";
    assert!(said.lines().any(|found| found == line), "{said}");
    let report = json(&run(&guides.directory, &["verify", "--json"]));
    let failed = report["checks"].as_array().unwrap().iter();
    let failed: Vec<&Value> = failed.filter(|check| check["faults"] != 0).collect();
    assert_eq!(
        (failed.len(), &failed[0]["name"]),
        (1, &Value::from("matching_current"))
    );
}

#[test]
fn compact_gives_room_back_and_thins_only_when_told() {
    let guides = polled();
    let prices = [
        "214.90", "215.90", "216.90", "213.90", "217.90", "212.90", "218.90",
    ];
    for (hour, pair) in prices.windows(2).enumerate() {
        let price = |text: &str| format!(",{text},");
        guides.edit(
            "retailers/example-offers.csv",
            &price(pair[0]),
            &price(pair[1]),
        );
        let now = format!("2026-12-01T{:02}:00:00Z", hour + 7);
        good(&at(&guides, &now, &["poll"]));
    }
    let now = "2026-12-03T00:00:00Z";
    let plain = json(&at(&guides, now, &["compact", "--json"]));
    assert!(plain.get("intervals_before").is_none());
    let thinned = ["compact", "--thin-before", "2026-12-02", "--json"];
    let thinned = json(&at(&guides, now, &thinned));
    let number = |key: &str| thinned[key].as_u64().unwrap();
    // Six prices came and went within the day; the low, the median and the high of them are left.
    assert_eq!(
        number("intervals_before") - number("intervals_after"),
        3,
        "{thinned}"
    );
    good(&run(&guides.directory, &["verify"]));
    let ahead = at(&guides, now, &["compact", "--thin-before", "2027-01-01"]);
    assert_eq!(ahead.status.code(), Some(2));
}
