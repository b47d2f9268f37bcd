//! `publish`, `refresh`, `editions` and `diff`, run as an author would.

use crate::support::guides::{Guides, run, text};
use rigtide::ledger::Ledger;
use rigtide::optimise::Effort;
use rigtide::watch::decision::decide_briefs;
use rigtide::watch::settings::load_settings;
use serde_json::Value;

const FEED: &str = "retailers/example-offers.csv";

fn published() -> Guides {
    let guides = Guides::new();
    done(&guides, &["poll"]);
    done(&guides, &["publish"]);
    guides
}

fn done(guides: &Guides, arguments: &[&str]) -> String {
    let output = run(&guides.directory, arguments);
    assert!(output.status.success(), "{}", text(&output.stderr));
    text(&output.stdout)
}

fn json(guides: &Guides, arguments: &[&str]) -> Value {
    let told = done(guides, &[arguments, &["--json"]].concat());
    serde_json::from_str(&told).unwrap()
}

fn sha256_of(bytes: &[u8]) -> String {
    // `sha256sum` of coreutils is none of ours.
    use std::io::Write;
    use std::process::{Command, Stdio};
    let mut child = Command::new("sha256sum")
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .spawn()
        .unwrap();
    child.stdin.take().unwrap().write_all(bytes).unwrap();
    let output = child.wait_with_output().unwrap();
    text(&output.stdout)[..64].to_owned()
}

/// The offers of the feed, of which some line is changed.
fn edit_offer(guides: &Guides, sku: &str, from: &str, to: &str) {
    edit_offer_of(guides, FEED, sku, from, to);
}

fn edit_offer_of(guides: &Guides, feed: &str, sku: &str, from: &str, to: &str) {
    let path = guides.directory.join(feed);
    let before = std::fs::read_to_string(&path).unwrap();
    let lines = before.lines().map(|line| match line.starts_with(sku) {
        true => line.replace(from, to),
        false => line.to_owned(),
    });
    let after = lines.collect::<Vec<_>>().join("\n") + "\n";
    assert_ne!(after, before, "{sku} is not offered");
    std::fs::write(path, after).unwrap();
}

#[test]
fn an_edition_is_kept_byte_for_byte_under_a_hash_that_others_compute() {
    let guides = Guides::new();
    done(&guides, &["poll"]);
    let folder = guides.directory.join("out");
    let into = folder.to_str().unwrap();
    let told = json(&guides, &["publish", "--into", into, "--max-chars", "1200"]);
    assert_eq!(
        (&told["edition"], &told["written"]),
        (&1.into(), &true.into())
    );
    let brief = told["brief"].as_str().unwrap().to_owned();
    let document = done(&guides, &["editions", &brief, "1", "--json"]);
    assert_eq!(told["sha256"], sha256_of(document.as_bytes()));
    let document: Value = serde_json::from_str(&document).unwrap();
    for (form, ending) in [
        ("markdown", "md"),
        ("html", "html"),
        ("text", "txt"),
        ("csv", "csv"),
        ("json", "json"),
    ] {
        let shown = done(&guides, &["editions", &brief, "1", "--format", form]);
        let file = std::fs::read(folder.join(format!("guide.{ending}"))).unwrap();
        assert_eq!(shown.as_bytes(), file, "{form}");
        assert_eq!(document["forms"][form], sha256_of(&file), "{form}");
        assert!(!shown.is_empty());
    }
    let text = done(&guides, &["editions", &brief, "1", "--format", "text"]);
    assert!(text.contains("Edition 1, published "), "{text}");
    assert!(text.chars().count() <= 1_200);
    // Each pick's offer is named as the ledger knows it, and so are those that were not picked.
    let evidence = &document["evidence"];
    let bought = evidence["picks"].as_array().unwrap();
    assert_eq!(
        bought.len(),
        document["answer"]["picks"].as_array().unwrap().len()
    );
    assert!(evidence["considered"].as_array().unwrap().len() > bought.len());
    let ledger = rusqlite::Connection::open(guides.ledger()).unwrap();
    for pick in bought {
        let observation = &pick["observation"];
        let from: chrono::DateTime<chrono::Utc> =
            observation["from"].as_str().unwrap().parse().unwrap();
        let price: i64 = ledger
            .query_row(
                "SELECT price_minor FROM interval WHERE offer_id = ?1 AND from_ms = ?2",
                (
                    observation["offer"].as_i64().unwrap(),
                    from.timestamp_millis(),
                ),
                |row| row.get(0),
            )
            .unwrap();
        assert_eq!(pick["price_minor"], price);
    }
    // What the ledger keeps cannot be changed unseen.
    done(&guides, &["verify"]);
    ledger
        .execute(
            "UPDATE edition_form SET content = content || ' ' WHERE form = 'csv'",
            [],
        )
        .unwrap();
    let verified = run(&guides.directory, &["verify"]);
    assert!(!verified.status.success());
    assert!(crate::support::guides::text(&verified.stdout).contains("csv of edition 1"));
}

#[test]
fn the_first_edition_is_published_and_the_next_ones_refreshed() {
    let guides = Guides::new();
    done(&guides, &["poll"]);
    let early = run(&guides.directory, &["refresh"]);
    assert_eq!(early.status.code(), Some(2), "{}", text(&early.stderr));
    assert!(done(&guides, &["editions"]).contains("no edition is published yet"));
    done(&guides, &["publish"]);
    let again = run(&guides.directory, &["publish"]);
    assert_eq!(again.status.code(), Some(2));
    assert!(text(&again.stderr).contains("rigtide refresh"));
    // The same picks at the same prices are no news, though they were seen again.
    done(&guides, &["poll"]);
    let same = json(&guides, &["refresh"]);
    assert_eq!(
        (&same["written"], &same["edition"]),
        (&false.into(), &1.into())
    );
    assert!(done(&guides, &["refresh"]).starts_with("nothing has changed since edition 1"));
    let forced = json(&guides, &["refresh", "--anyway"]);
    assert_eq!(
        (&forced["written"], &forced["edition"]),
        (&true.into(), &2.into())
    );
    let unknown = run(&guides.directory, &["editions", "example", "7"]);
    assert_eq!(unknown.status.code(), Some(2), "{}", text(&unknown.stdout));
}

#[test]
fn the_next_edition_says_what_changed_and_the_one_before_stays() {
    let guides = published();
    let brief = json(&guides, &["editions"])[0]["brief"]
        .as_str()
        .unwrap()
        .to_owned();
    let before = done(&guides, &["editions", &brief, "1", "--json"]);
    let is_true = json(&guides, &["diff"]);
    assert_eq!(is_true["is_true"], true, "{is_true}");
    assert!(done(&guides, &["diff"]).contains("is true as of"));
    edit_offer(&guides, "EX-107", "97.90", "99.90");
    edit_offer(&guides, "EX-102", "in stock", "sold out");
    done(&guides, &["poll"]);

    let diff = json(&guides, &["diff"]);
    assert_eq!(diff["is_true"], false);
    let picks = diff["picks"].as_array().unwrap();
    let memory = picks.iter().find(|pick| pick["role"] == "memory").unwrap();
    assert_eq!(
        memory["now_minor"].as_i64().unwrap() - memory["then_minor"].as_i64().unwrap(),
        200
    );
    let gone = picks
        .iter()
        .find(|pick| pick["role"] == "processor")
        .unwrap();
    assert_eq!(gone["now_minor"], Value::Null);
    assert_eq!(diff["total_now_minor"], Value::Null);
    assert!(!diff["best"]["changes"].as_array().unwrap().is_empty());
    let shown = done(&guides, &["diff", &brief, "1"]);
    assert!(shown.contains("cannot be had any more"), "{shown}");

    let next = json(&guides, &["refresh"]);
    let changes: Vec<&str> = next["changes"]
        .as_array()
        .unwrap()
        .iter()
        .map(|one| one.as_str().unwrap())
        .collect();
    assert!(
        changes
            .iter()
            .any(|one| one.starts_with("processor: ")
                && one.ends_with("which cannot be had any more.")),
        "{changes:?}"
    );
    assert!(
        changes
            .iter()
            .any(|one| one.contains("EUR 99.90; it was EUR 97.90")),
        "{changes:?}"
    );
    for form in ["markdown", "html", "text", "json"] {
        let guide = done(&guides, &["editions", &brief, "2", "--format", form]);
        assert!(guide.contains("99.90; it was"), "{form}: {guide}");
    }
    let text = done(&guides, &["editions", &brief, "2", "--format", "text"]);
    assert!(text.contains("WHAT CHANGED SINCE EDITION 1 OF "), "{text}");
    assert_eq!(done(&guides, &["editions", &brief, "1", "--json"]), before);
    let after: Value =
        serde_json::from_str(&done(&guides, &["editions", &brief, "2", "--json"])).unwrap();
    assert_eq!(after["before"], sha256_of(before.as_bytes()));
    // The published form is what the schema says, too.
    let schema = include_str!("../../config/guide.schema.json");
    let schema: Value = serde_json::from_str(schema).unwrap();
    let validator = jsonschema::validator_for(&schema).unwrap();
    let errors = validator
        .iter_errors(&after["guide"])
        .map(|one| one.to_string());
    assert_eq!(errors.collect::<Vec<_>>(), Vec::<String>::new());
}

/// Tells when the guide is off by 1 %; each look is a minute later and gives subjects and texts.
fn watching(guides: &Guides) -> impl FnMut() -> Vec<(String, String)> {
    guides.edit(
        "briefs/example.toml",
        "# [[tell]]\n# when = \"build_changed\"",
        "[[tell]]\nwhen = \"guide_outdated\"\ntotal_percent = \"1\"",
    );
    let settings = load_settings(&guides.directory).unwrap();
    let ledger = guides.ledger();
    let mut minute = 0;
    move || {
        minute += 1;
        let at = chrono::Utc::now() + chrono::TimeDelta::minutes(minute);
        let mut ledger = Ledger::open(&ledger).unwrap();
        let (told, faults) = decide_briefs(&settings, &mut ledger, at, Effort::default()).unwrap();
        assert!(faults.is_empty(), "{faults:?}");
        let told = told.into_iter();
        told.map(|bulletin| (bulletin.subject, bulletin.text))
            .collect()
    }
}

#[test]
fn the_watch_tells_once_that_a_published_guide_is_no_longer_true() {
    let guides = published();
    let mut look = watching(&guides);
    assert_eq!(look(), []);
    // 3.00 of some 900.00 are less than 1 %, 20.00 are more.
    edit_offer(&guides, "EX-116", "74.90", "77.90");
    done(&guides, &["poll"]);
    assert_eq!(look(), []);
    edit_offer(&guides, "EX-116", "77.90", "94.90");
    done(&guides, &["poll"]);
    let told = look();
    assert_eq!(told.len(), 1, "{told:?}");
    assert!(
        told[0]
            .0
            .contains("guide outdated: its total is off by +2."),
        "{told:?}"
    );
    assert!(told[0].1.contains("Vennoquil Barn 14: "), "{told:?}");
    assert_eq!(look(), []);
    // A new edition is true again, though the watch has not seen it being published.
    done(&guides, &["refresh"]);
    assert_eq!(look(), []);
    edit_offer(&guides, "EX-115", "in stock", "sold out");
    edit_offer(&guides, "EX-116", "in stock", "sold out");
    done(&guides, &["poll"]);
    let told = look();
    assert!(told[0].0.contains("cannot be had any more"), "{told:?}");
}

#[test]
fn an_edition_keeps_and_compares_what_it_says_of_other_countries() {
    let guides = Guides::new();
    done(&guides, &["poll"]);
    guides.sell_in_austria("CHF");
    guides.edit(
        "briefs/example.toml",
        "# countries = [\"AT\", \"FR\"]",
        "countries = [\"AT\", \"FR\"]",
    );
    done(&guides, &["publish"]);
    let document = json(&guides, &["editions", "example", "1"]);
    let [austria] = document["abroad"].as_array().unwrap().as_slice() else {
        panic!("nothing is sold in France: {}", document["abroad"]);
    };
    assert_eq!(austria["country"], "AT");
    assert_eq!(austria["answer"]["currency"], "CHF");
    let evidence = &document["evidence"]["abroad"][0];
    let bought = evidence["picks"].as_array().unwrap();
    assert_eq!(
        bought.len(),
        austria["answer"]["picks"].as_array().unwrap().len()
    );
    assert!(evidence["considered"].as_array().unwrap().len() > bought.len());
    assert!(bought.iter().all(|pick| pick["retailer"] == "alpen"));
    assert_eq!(json(&guides, &["diff"])["is_true"], true);

    let mut look = watching(&guides);
    assert_eq!(look(), []);
    edit_offer_of(
        &guides,
        "retailers/alpen-offers.csv",
        "EX-107",
        "97.50",
        "118.50",
    );
    done(&guides, &["poll"]);
    let told = look();
    assert!(
        told[0]
            .0
            .contains("guide outdated: in AT, its total is off by +2."),
        "{told:?}"
    );
    assert!(
        told[0].1.contains("in AT: ") && told[0].1.contains("CHF 100.00 -> CHF 121.00"),
        "{told:?}"
    );
    assert_eq!(look(), []);

    let diff = json(&guides, &["diff"]);
    assert_eq!(diff["is_true"], false);
    assert_eq!(diff["picks"], Value::Array(Vec::new()));
    let [austria] = diff["abroad"].as_array().unwrap().as_slice() else {
        panic!("{diff}");
    };
    let [memory] = austria["picks"].as_array().unwrap().as_slice() else {
        panic!("{austria}");
    };
    assert_eq!(
        (&memory["role"], &memory["then_minor"], &memory["now_minor"]),
        (&"memory".into(), &10_000.into(), &12_100.into())
    );
    assert!(austria["total_percent"].as_f64().unwrap() > 2.0);
    let shown = done(&guides, &["diff"]);
    assert!(
        shown.contains("in AT: total of the published picks: CHF"),
        "{shown}"
    );

    // The author gives up one country and takes up none: the next edition says so.
    let next = json(&guides, &["refresh"]);
    let changes = next["changes"].as_array().unwrap();
    assert!(
        changes[0].as_str().unwrap().starts_with("In AT: ")
            && changes[0]
                .as_str()
                .unwrap()
                .ends_with("CHF 118.50; it was CHF 97.50."),
        "{changes:?}"
    );
    assert_eq!(json(&guides, &["diff"])["is_true"], true);
    guides.edit("briefs/example.toml", "countries = [\"AT\", \"FR\"]", "");
    let without = json(&guides, &["refresh"]);
    assert_eq!(
        without["changes"],
        serde_json::json!(["No longer priced in AT."])
    );
}
