//! The program as its user runs it: a directory, commands, signals, exit codes.

use crate::support::guides::{Guides, rigtide, run, text};
use rigtide::ledger::Reader;
use std::fs;
use std::process::{Command, Output, Stdio};
use std::time::Duration;

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
    insta::assert_snapshot!(keys(&["best", "--json"]).join(" "), @"brief at currency budget_minor total_minor score score_exact estimated_percent proof considered rates gain_percent_of_a_tenth picks orders wishes cautions obstacles left_out");
    insta::assert_snapshot!(keys(&["poll", "--json"]).join(" "), @"feed status records offers matched refused held changed duration_ms error notes");
    insta::assert_snapshot!(keys(&["check", "--json"]).join(" "), @"ok errors");
    let output = run(&guides.directory, &["best", "--json"]);
    let value: serde_json::Value = serde_json::from_slice(&output.stdout).unwrap();
    let pick: Vec<&String> = value["picks"][0].as_object().unwrap().keys().collect();
    let pick: Vec<&str> = pick.iter().map(|key| key.as_str()).collect();
    insta::assert_snapshot!(pick.join(" "), @"role part name quantity retailer sku price_minor landed_minor link seen_at price_currency rebate_minor availability lead_days");
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

/// Polls once and returns the report of the only feed.
fn poll(guides: &Guides) -> serde_json::Value {
    let polled = run(&guides.directory, &["poll", "--json"]);
    let value: serde_json::Value = serde_json::from_slice(&polled.stdout).unwrap();
    value[0].clone()
}

#[test]
fn a_tenfold_price_is_held_until_the_polls_that_the_feed_asks_for_confirm_it() {
    // Pitfall P36. `confirm_polls` is 2 unless the feed says otherwise.
    let guides = Guides::new();
    poll(&guides);
    let offers = guides.directory.join("retailers/example-offers.csv");
    let text = fs::read_to_string(&offers).unwrap();
    let row = text.lines().nth(1).unwrap().to_owned();
    let price = row
        .split(',')
        .find(|cell| cell.contains('.') && cell.parse::<f64>().is_ok());
    let dearer = row.replacen(price.unwrap(), &format!("1{}", price.unwrap()), 1);
    fs::write(&offers, text.replacen(&row, &dearer, 1)).unwrap();
    assert_eq!(poll(&guides)["held"], 1);
    let listed = run(&guides.directory, &["held", "--json"]);
    let listed: serde_json::Value = serde_json::from_slice(&listed.stdout).unwrap();
    assert!(listed.to_string().contains("factor"), "{listed}");
    poll(&guides);
    let listed = run(&guides.directory, &["held"]);
    let reader = Reader::open(&guides.ledger()).unwrap();
    assert_eq!(reader.list_held().unwrap(), [], "{:?}", listed.stdout);
}

#[test]
fn a_column_that_nobody_reads_may_change_without_a_change_of_price() {
    // Pitfall H23: offers are compared, not bytes.
    let guides = Guides::new();
    assert_eq!(poll(&guides)["changed"], poll_size(&guides));
    let offers = guides.directory.join("retailers/example-offers.csv");
    let text = fs::read_to_string(&offers).unwrap();
    let mut lines = text.lines();
    let mut stamped = format!("{},stamp\n", lines.next().unwrap());
    lines
        .enumerate()
        .for_each(|(number, line)| stamped += &format!("{line},{number}\n"));
    fs::write(&offers, stamped).unwrap();
    let polled = poll(&guides);
    assert_eq!(
        (&polled["status"], &polled["changed"]),
        (&"fresh".into(), &0.into())
    );
}

fn poll_size(guides: &Guides) -> usize {
    Reader::open(&guides.ledger())
        .unwrap()
        .listed_offers()
        .unwrap()
        .len()
}

#[test]
fn help_says_what_each_command_does() {
    let output = Command::new(env!("CARGO_BIN_EXE_rigtide"))
        .arg("--help")
        .output()
        .unwrap();
    insta::assert_snapshot!(text(&output.stdout));
}

#[test]
fn fit_tells_what_goes_together_what_does_not_and_what_it_draws() {
    let guides = Guides::new();
    let fit = |parts: &[&str]| {
        let output = run(&guides.directory, &[&["fit"], parts].concat());
        (output.status.code(), text(&output.stdout))
    };
    let set = [
        "askerune-fjell-26",
        "drefholm-quay-a13-micro-ddr5",
        "oskvale-lumevar-33-duo",
        "sennovik-ember-450-w",
        "vennoquil-rowan-1-tb",
    ];
    let (code, told) = fit(&set);
    assert_eq!(code, Some(0), "{told}");
    // 88 + 150 + 75 W; 407 W with 30 % on top; Bronze at 70 % load, 115 V: 83.86 %.
    for expected in [
        "fits      The board has the socket that the processor needs.",
        "caution   There is a cooler, or the processor has one in its box.",
        "power: 313 W of load: Askerune Fjell 26 88 W, Oskvale Lumevar 33 Duo 150 W, the rest 75 W",
        "with 30 % headroom 407 W are needed: a supply of 450 W or more",
        "never open a supply",
    ] {
        assert!(told.contains(expected), "{expected}\n{told}");
    }
    assert!(
        !told.contains("ECC"),
        "no memory, nothing to say of it:\n{told}"
    );
    let (code, told) = fit(&["askerune-fjell-26", "jastrune-slate-v11-ddr5"]);
    assert_eq!(code, Some(4));
    assert!(
        told.starts_with(
            "conflict  The board has the socket that the processor needs.\n          the processor \
             needs socket AM5, the board \"Jastrune Slate V11 DDR5\" has LGA1851\n"
        ),
        "{told}"
    );
    let (code, told) = fit(&["askerune-fjell-26", "sennovik-ember-450-w", "--json"]);
    let report: serde_json::Value = serde_json::from_str(&told).unwrap();
    assert_eq!(code, Some(0));
    assert_eq!(report["power"]["load_w"], 163);
    assert_eq!(report["power"]["supply"]["wall_w_115"], "194.98");
}
