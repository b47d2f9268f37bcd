//! Results in, rates out, and what they are worth: `rigtide measure`, `rigtide rates` and
//! `rigtide best --robust`, run as an author would.

use crate::support::guides::{Guides, rigtide, run, text};
use serde_json::Value;
use std::fs;

/// The starter's gaming workload, measured by two tests; its cards have no rates written at them.
fn measured_guides() -> Guides {
    let guides = Guides::new();
    let path = guides.directory.join("catalogue/workloads.toml");
    let workloads = fs::read_to_string(&path).unwrap();
    let tests = "[[workload.test]]\ntest = \"Harrow Fields\"\nsetting = \"1080p high\"\n\
        [[workload.test]]\ntest = \"Ninth Tide\"\nsetting = \"1080p high\"\n";
    fs::write(&path, format!("{workloads}\n{tests}")).unwrap();
    let path = guides.directory.join("catalogue/parts.toml");
    let parts = fs::read_to_string(&path).unwrap();
    let mut kept = String::new();
    let mut is_gpu = false;
    let mut is_rate = false;
    for line in parts.lines() {
        if line.starts_with("kind = ") {
            is_gpu = line == "kind = \"gpu\"";
        }
        if line.starts_with('[') {
            is_rate = line == "[part.rates.gaming-1080p]";
        }
        if !(is_gpu && is_rate) {
            kept += line;
            kept.push('\n');
        }
    }
    fs::write(&path, kept).unwrap();
    guides
}

fn json(guides: &Guides, arguments: &[&str]) -> Value {
    let output = run(&guides.directory, arguments);
    let printed = text(&output.stdout);
    serde_json::from_str(&printed)
        .unwrap_or_else(|error| panic!("{error}: {printed}{}", text(&output.stderr)))
}

/// The ids of the starter's cards.
fn cards(guides: &Guides) -> Vec<String> {
    let parts = fs::read_to_string(guides.directory.join("catalogue/parts.toml")).unwrap();
    let parts: toml::Table = toml::from_str(&parts).unwrap();
    let parts = parts["part"].as_array().unwrap().iter();
    parts
        .filter(|part| part["kind"].as_str() == Some("gpu"))
        .map(|part| part["id"].as_str().unwrap().to_owned())
        .collect()
}

fn results(cards: &[String]) -> String {
    let mut rows = "parts,test,setting,value,unit,source,date\n".to_owned();
    for (number, card) in cards.iter().enumerate() {
        let (low, high) = (50 + 10 * number, 70 + 14 * number);
        rows += &format!("{card},Harrow Fields,1080p high,{low},fps,own bench,2026-10-02\n");
        rows += &format!("{card},Ninth Tide,1080p high,{high},fps,own bench,2026-10-02\n");
    }
    rows
}

#[test]
fn imported_results_become_rates_and_the_best_build_rests_on_them() {
    let guides = measured_guides();
    let cards = cards(&guides);
    let polled = run(&guides.directory, &["poll"]);
    assert!(polled.status.success(), "{}", text(&polled.stderr));
    let before = json(&guides, &["best", "--json"]);
    assert_eq!(
        before["proof"]["status"], "infeasible",
        "no card has a rate"
    );

    let file = guides.directory.join("bench-october.csv");
    fs::write(&file, results(&cards)).unwrap();
    let file = file.to_str().unwrap();
    let taken = json(&guides, &["measure", "import", file, "--json"]);
    assert_eq!(taken["taken"], 2 * cards.len());
    assert_eq!(taken["file"], "measurements/bench-october.csv");
    assert_eq!(taken["doubts"], Value::Array(Vec::new()));
    let again = json(&guides, &["measure", "import", file, "--json"]);
    assert_eq!(again["taken"], 0);
    assert_eq!(again["known_already"], 2 * cards.len());

    let rates = json(&guides, &["rates", "--workload", "gaming-1080p", "--json"]);
    let rates = rates["workloads"][0]["rates"].as_array().unwrap();
    let first = rates.iter().find(|rate| rate["part"] == *cards[0]).unwrap();
    // The geometric mean of 50 and 70.
    assert!(
        (first["rate"].as_f64().unwrap() - 59.161).abs() < 0.01,
        "{first}"
    );
    assert_eq!(first["estimate"], false);
    assert_eq!(first["newest"], "2026-10-02");
    assert!(first["price_minor"].as_i64().unwrap() > 0);

    let best = json(&guides, &["best", "--json"]);
    assert_eq!(best["proof"]["status"], "optimal");
    let unused = &best["rates"]["gaming-1080p"]["unused_percent"];
    assert_eq!(unused.as_object().unwrap().len(), 2, "processor and card");
    let gains = best["gain_percent_of_a_tenth"].as_object().unwrap();
    assert!(gains.contains_key("graphics") && gains.contains_key("processor"));
}

#[test]
fn one_result_is_written_down_and_listed_with_its_doubts() {
    let guides = measured_guides();
    let card = &cards(&guides)[0];
    let add = |value: &str| {
        let arguments = [
            "measure",
            "add",
            card,
            "--test",
            "Harrow Fields",
            "--setting",
            "1080p high",
            "--value",
            value,
            "--unit",
            "fps",
            "--date",
            "2026-10-02",
            "--json",
        ];
        json(&guides, &arguments)
    };
    assert_eq!(add("61.4")["taken"], 1);
    let contradicted = add("95");
    assert_eq!(contradicted["taken"], 1);
    assert_eq!(contradicted["doubts"][0]["kind"], "conflict");
    let written = fs::read_to_string(guides.directory.join("measurements/own.csv")).unwrap();
    assert_eq!(
        written,
        format!(
            "parts,test,setting,value,unit,limited_by,source,date,note,\
             temperature_c,wall_w,clock_mhz,voltage_v\n\
             {card},Harrow Fields,1080p high,61.4,frames/s,,own bench,2026-10-02,,,,,\n\
             {card},Harrow Fields,1080p high,95,frames/s,,own bench,2026-10-02,,,,,\n"
        )
    );
    let listed = run(&guides.directory, &["measure", "list", card]);
    let listed = text(&listed.stdout);
    assert!(
        listed.contains("61.4 frames/s") && listed.contains("conflict: "),
        "{listed}"
    );
    let wrong = run(
        &guides.directory,
        &[
            "measure", "add", "nobody", "--test", "a", "--value", "1", "--unit", "fps",
        ],
    );
    assert_eq!(wrong.status.code(), Some(2), "{}", text(&wrong.stderr));
}

#[test]
fn a_file_with_faults_changes_nothing_and_names_each_of_them() {
    let guides = measured_guides();
    let file = guides.directory.join("typed.csv");
    fs::write(
        &file,
        "parts,test,value,unit,source\nnobody,Fold,12,points,me\n",
    )
    .unwrap();
    let refused = run(
        &guides.directory,
        &["measure", "import", file.to_str().unwrap()],
    );
    assert_eq!(refused.status.code(), Some(3));
    assert!(
        text(&refused.stderr).contains("typed.csv:2"),
        "{}",
        text(&refused.stderr)
    );
    assert!(!guides.directory.join("measurements").exists());
    // The same in the folder is a fault of the configuration.
    fs::create_dir(guides.directory.join("measurements")).unwrap();
    fs::copy(&file, guides.directory.join("measurements/typed.csv")).unwrap();
    let checked = run(&guides.directory, &["check"]);
    assert_eq!(checked.status.code(), Some(3));
}

#[test]
fn what_the_evidence_cannot_tell_apart_is_called_a_near_tie() {
    let guides = measured_guides();
    let cards = cards(&guides);
    fs::create_dir(guides.directory.join("measurements")).unwrap();
    fs::write(
        guides.directory.join("measurements/own.csv"),
        results(&cards),
    )
    .unwrap();
    assert!(run(&guides.directory, &["poll"]).status.success());
    let asked = || {
        let mut command = rigtide(&guides.directory);
        command.args(["best", "--robust", "40", "--json"]);
        command.env("RIGTIDE_TEST_NOW", "2026-11-25T12:00:00Z");
        command.output().unwrap()
    };
    let first = asked();
    assert_eq!(first.stdout, asked().stdout, "the same bytes each run");
    let answer: Value = serde_json::from_slice(&first.stdout).unwrap();
    let robust = &answer["robust"];
    assert_eq!(robust["draws"], 40);
    let (low, high) = (&robust["score"]["low"], &robust["score"]["high"]);
    let score = answer["score"].as_f64().unwrap();
    assert!(
        low.as_f64().unwrap() < score && score < high.as_f64().unwrap(),
        "{robust}"
    );
    let picks = robust["picks"].as_array().unwrap();
    assert_eq!(picks.len(), answer["picks"].as_array().unwrap().len());
    assert!(
        picks
            .iter()
            .all(|pick| pick["stays"].as_u64().unwrap() <= 40)
    );
    // Another seed draws otherwise.
    let other = json(
        &guides,
        &["best", "--robust", "40", "--seed", "2", "--json"],
    );
    assert_ne!(other["robust"]["score"], robust["score"]);
    let shown = text(&run(&guides.directory, &["best", "--robust", "40"]).stdout);
    assert!(
        shown.contains("drawn 40 times") && shown.contains("of 40"),
        "{shown}"
    );
}

#[test]
fn rates_are_checked_by_leaving_each_result_out() {
    let guides = measured_guides();
    let cards = cards(&guides);
    fs::create_dir(guides.directory.join("measurements")).unwrap();
    // Three runs elsewhere agree with the bench, and one has a digit too many.
    let own = results(&cards);
    let mut rows = own.clone();
    for source in ["a reader", "another reader", "a third"] {
        let others = own.replace("own bench", source);
        rows += others.split_once('\n').unwrap().1;
    }
    rows = rows.replacen("1080p high,50,", "1080p high,500,", 1);
    fs::write(guides.directory.join("measurements/own.csv"), rows).unwrap();
    let checked = json(&guides, &["rates", "--check", "--days", "1", "--json"]);
    let workloads = checked["workloads"].as_array().unwrap();
    let gaming = workloads
        .iter()
        .find(|one| one["id"] == "gaming-1080p")
        .unwrap();
    let outliers: Vec<&Value> = gaming["checks"]
        .as_array()
        .unwrap()
        .iter()
        .filter(|check| check["outlier"] == true)
        .collect();
    assert_eq!(outliers.len(), 1, "{gaming}");
    assert_eq!(outliers[0]["at"][0], "measurements/own.csv:2");
    assert_eq!(gaming["stale"].as_array().unwrap().len(), cards.len());
    let shown = text(&run(&guides.directory, &["rates", "--check"]).stdout);
    assert!(shown.contains("foretell each of"), "{shown}");
    let of_card = text(&run(&guides.directory, &["rates", &cards[0]]).stdout);
    assert!(of_card.contains("in 19 of 20 cases"), "{of_card}");
    let svg = guides.directory.join("rates.svg");
    run(&guides.directory, &["poll"]);
    let drawn = run(
        &guides.directory,
        &["rates", "--svg", svg.to_str().unwrap()],
    );
    assert!(drawn.status.success(), "{}", text(&drawn.stderr));
    assert!(fs::read_to_string(svg).unwrap().starts_with("<svg"));
}

#[test]
fn estimates_count_only_where_the_brief_admits_them() {
    let guides = measured_guides();
    let cards = cards(&guides);
    // All at another resolution: every rate is an estimate.
    let rows = results(&cards).replace("1080p high", "1440p high");
    fs::create_dir(guides.directory.join("measurements")).unwrap();
    fs::write(guides.directory.join("measurements/own.csv"), rows).unwrap();
    assert!(run(&guides.directory, &["poll"]).status.success());
    let refused = json(&guides, &["best", "--json"]);
    let reason = "of parts whose rate is an estimate that the brief does not admit";
    assert!(
        refused["left_out"][reason].as_u64().unwrap() > 0,
        "{refused}"
    );
    guides.edit(
        "briefs/example.toml",
        "currency =",
        "estimates = \"allowed\"\ncurrency =",
    );
    let admitted = json(&guides, &["best", "--json"]);
    assert_eq!(admitted["proof"]["status"], "optimal", "{admitted}");
    guides.edit("briefs/example.toml", "\"allowed\"", "\"maybe\"");
    let wrong = run(&guides.directory, &["check"]);
    assert!(
        text(&wrong.stdout).contains("write one of refused, written, allowed")
            || text(&wrong.stderr).contains("write one of refused, written, allowed")
    );
}
