//! `guide`, run as an author would.

use crate::support::guides::{Guides, run, text};
use serde_json::Value;
use std::fs;

fn polled(link: &str) -> Guides {
    let guides = Guides::new();
    guides.edit(
        "retailers/example.toml",
        "[[feed]]\nid = \"export\"",
        &format!("{link}\n[[feed]]\nid = \"export\""),
    );
    let output = run(&guides.directory, &["poll"]);
    assert!(output.status.success(), "{}", text(&output.stderr));
    guides
}

fn guide(guides: &Guides, arguments: &[&str]) -> String {
    let output = run(&guides.directory, &[&["guide"], arguments].concat());
    assert!(output.status.success(), "{}", text(&output.stderr));
    text(&output.stdout)
}

const PAID: &str =
    "[link]\ntemplate = \"https://go.example/c?id={tag}&item={sku}\"\ntag = \"author-1\"\n";

#[test]
fn the_json_is_what_its_schema_says_and_agrees_with_the_answer() {
    let guides = polled(PAID);
    let told: Value = serde_json::from_str(&guide(&guides, &["--format", "json"])).unwrap();
    let schema = include_str!("../../config/guide.schema.json");
    let schema: Value = serde_json::from_str(schema).unwrap();
    let validator = jsonschema::validator_for(&schema).unwrap();
    let errors: Vec<String> = validator
        .iter_errors(&told)
        .map(|one| one.to_string())
        .collect();
    assert_eq!(errors, Vec::<String>::new());
    let output = run(&guides.directory, &["best", "--json"]);
    let best: Value = serde_json::from_str(&text(&output.stdout)).unwrap();
    assert_eq!(told["total_minor"], best["total_minor"]);
    assert_eq!(told["score"], best["score"]);
    for (pick, best) in told["picks"]
        .as_array()
        .unwrap()
        .iter()
        .zip(best["picks"].as_array().unwrap())
    {
        assert_eq!(pick["part"], best["part"]);
        assert_eq!(pick["landed_minor"], best["landed_minor"]);
        assert_eq!(pick["seen_at"], best["seen_at"]);
        let sku = pick["sku"].as_str().unwrap();
        assert_eq!(
            pick["link"],
            format!("https://go.example/c?id=author-1&item={sku}")
        );
    }
    // Without the pick of a role the best is no better, and another part.
    for other in told["alternatives"].as_array().unwrap() {
        assert!(
            other["step"]["score_change"].as_f64().unwrap() <= 0.0,
            "{other}"
        );
        assert!(
            !other["step"]["changes"].as_array().unwrap().is_empty(),
            "{other}"
        );
    }
    for step in told["steps_up"].as_array().unwrap() {
        assert!(step["score_change"].as_f64().unwrap() > 0.0);
        assert!(step["cost_minor"].as_i64().unwrap() > 0);
    }
}

#[test]
fn every_form_discloses_paid_links_and_no_form_does_without_a_tag() {
    let paid = polled(PAID);
    let unpaid = polled("");
    for form in ["markdown", "html", "text", "csv", "json"] {
        let told = guide(&paid, &["--format", form]);
        assert!(told.contains("may earn a commission"), "{form}: {told}");
        let told = guide(&unpaid, &["--format", form]);
        assert!(!told.contains("commission"), "{form}: {told}");
    }
    let short = guide(&paid, &["--max-chars", "600"]);
    assert!(short.chars().count() <= 600);
    assert!(!short.contains("go.example") || short.contains("may earn a commission"));
}

#[test]
fn a_template_of_the_authors_writes_the_guide_and_cannot_hide_what_is_paid_for() {
    let guides = polled(PAID);
    let folder = guides.directory.join("templates");
    fs::create_dir(&folder).unwrap();
    let own = run(&guides.directory, &["templates", "guide.md"]);
    let own = text(&own.stdout).replace("## {{", "### {{");
    fs::write(folder.join("guide.md"), own).unwrap();
    let markdown = guide(&guides, &["--format", "markdown"]);
    assert!(markdown.contains("\n### The picks\n"), "{markdown}");
    assert!(!markdown.contains("\n## "), "{markdown}");

    let bare = "{% for pick in guide.picks %}{{ pick.link }}\n{% endfor %}";
    fs::write(folder.join("guide.md"), bare).unwrap();
    let output = run(&guides.directory, &["guide", "--format", "markdown"]);
    assert_eq!(output.status.code(), Some(3));
    let said = text(&output.stderr);
    assert!(
        said.contains("templates/guide.md: a paid link stands without its disclosure"),
        "{said}"
    );
}

#[test]
fn a_guide_goes_into_a_file_and_what_makes_no_sense_is_refused() {
    let guides = polled("");
    let file = guides.directory.join("guide.html");
    let printed = guide(
        &guides,
        &["--format", "html", "--out", file.to_str().unwrap()],
    );
    assert_eq!(printed, "");
    let html = std::fs::read_to_string(file).unwrap();
    assert!(html.starts_with("<!DOCTYPE html>"));
    let refused = run(
        &guides.directory,
        &["guide", "--format", "html", "--max-chars", "9"],
    );
    assert_eq!(refused.status.code(), Some(2));
    let nothing = run(&guides.directory, &["guide", "--with-budget", "1"]);
    assert_eq!(nothing.status.code(), Some(4));
}

#[test]
fn the_picks_are_priced_in_other_countries_with_substitutes_for_what_is_not_sold_there() {
    for currency in ["EUR", "CHF"] {
        let guides = polled(PAID);
        guides.sell_in_austria(currency);
        let told: Value = serde_json::from_str(&guide(
            &guides,
            &[
                "--format",
                "json",
                "--country",
                "at",
                "--country",
                "DE",
                "--country",
                "FR",
            ],
        ))
        .unwrap();
        let [austria, france] = told["countries"].as_array().unwrap().as_slice() else {
            panic!("{}", told["countries"]);
        };
        assert_eq!(
            (&austria["country"], &austria["currency"]),
            (&"AT".into(), &currency.into())
        );
        // Another part stands for what is not sold there, and where it must for what does not go with
        // that: no other processor has its socket. All else keeps its place at its own price.
        let home = told["picks"].as_array().unwrap();
        let away = austria["picks"].as_array().unwrap();
        let mut sum = 0;
        for (here, there) in home.iter().zip(away) {
            let is_kept = ["cooler", "memory", "graphics", "drive", "power"]
                .contains(&here["role"].as_str().unwrap());
            assert_eq!(here["part"] == there["part"], is_kept, "{here} {there}");
            assert_eq!(there["retailer"], "Alpenteile");
            assert_eq!(there["price_currency"], currency);
            // No tag leaks into another shop's link.
            let link = there["link"].as_str().unwrap();
            assert!(
                link.contains("author-2") && !link.contains("author-1"),
                "{link}"
            );
            sum += there["landed_minor"].as_i64().unwrap();
        }
        let orders = austria["orders"].as_array().unwrap();
        let orders: i64 = orders
            .iter()
            .map(|one| one["minor"].as_i64().unwrap())
            .sum();
        assert_eq!(austria["total_minor"], sum + orders, "{austria}");
        let roles = |key: &str| -> Vec<&str> {
            let changes = austria[key].as_array().unwrap().iter();
            changes.map(|one| one["role"].as_str().unwrap()).collect()
        };
        assert_eq!(roles("substitutes"), ["processor", "case"]);
        assert_eq!(roles("goes_with"), ["board"]);
        assert_eq!(france["total_minor"], Value::Null);
        assert!(
            france["obstacle"]
                .as_str()
                .unwrap()
                .contains("nothing that is sold there")
        );
        let schema = include_str!("../../config/guide.schema.json");
        let schema: Value = serde_json::from_str(schema).unwrap();
        let validator = jsonschema::validator_for(&schema).unwrap();
        let errors = validator.iter_errors(&told).map(|one| one.to_string());
        assert_eq!(errors.collect::<Vec<_>>(), Vec::<String>::new());
        // The brief can name them, and every form says what stands in for what.
        guides.edit(
            "briefs/example.toml",
            "# countries = [\"AT\", \"FR\"]",
            "countries = [\"AT\"]",
        );
        for form in ["markdown", "html", "text"] {
            let guide = guide(&guides, &["--format", form]);
            assert!(guide.contains("is not sold in AT"), "{form}: {guide}");
            assert!(guide.contains("Alpenteile"), "{form}");
        }
        let csv = guide(&guides, &["--format", "csv"]);
        assert!(csv.contains("\"AT\"") && csv.contains("\"DE\""), "{csv}");
    }
    let guides = polled("");
    let refused = run(&guides.directory, &["guide", "--country", "Austria"]);
    assert_eq!(refused.status.code(), Some(2));
}

#[test]
fn an_alternative_is_no_step_of_the_ladder_and_changes_as_little_as_it_can() {
    let guides = polled("");
    let told: Value = serde_json::from_str(&guide(&guides, &["--format", "json"])).unwrap();
    let steps = ["steps_up", "steps_down"].map(|key| told[key].as_array().unwrap().clone());
    let steps: Vec<Value> = steps.concat();
    let others = told["alternatives"].as_array().unwrap();
    assert!(!others.is_empty());
    for other in others {
        assert!(
            steps
                .iter()
                .all(|step| step["changes"] != other["step"]["changes"]),
            "{other}"
        );
    }
}

#[test]
fn the_text_says_how_many_rules_hold_and_names_none() {
    let guides = polled("");
    let short = guide(&guides, &["--format", "text"]);
    assert_eq!(short.matches("Checked: ").count(), 1, "{short}");
    let whole = guide(&guides, &["--format", "markdown"]);
    let n_rules = whole.matches("Checked: ").count();
    assert!(n_rules > 5);
    assert!(
        short.contains(&format!("Checked: {n_rules} rules")),
        "{short}"
    );
}

#[test]
fn what_was_measured_stands_beside_what_was_expected_and_a_large_difference_is_flagged() {
    let guides = polled("");
    guides.edit(
        "catalogue/workloads.toml",
        "reference = \"60\"\n\n# A workload",
        "reference = \"60\"\n[[workload.test]]\ntest = \"Harrow Fields\"\nsetting = \"1080p high\"\n\n# A workload",
    );
    let told: Value = serde_json::from_str(&guide(&guides, &["--format", "json"])).unwrap();
    let parts: Vec<&str> = told["picks"]
        .as_array()
        .unwrap()
        .iter()
        .filter(|pick| ["processor", "graphics"].contains(&pick["role"].as_str().unwrap()))
        .map(|pick| pick["part"].as_str().unwrap())
        .collect();
    let add = |value: &str, date: &str, more: &[&str]| {
        let test = [
            "--test",
            "Harrow Fields",
            "--setting",
            "1080p high",
            "--unit",
            "frames/s",
        ];
        let all = [
            &["measure", "add"],
            parts.as_slice(),
            &test,
            &["--value", value, "--date", date],
            more,
        ];
        let output = run(&guides.directory, &all.concat());
        assert!(output.status.success(), "{}", text(&output.stderr));
    };
    add("74.0", "2026-09-01", &["--note", "cool day"]);
    let calm = run(&guides.directory, &["guide"]);
    assert!(
        !text(&calm.stderr).contains("warning"),
        "{}",
        text(&calm.stderr)
    );
    add(
        "55.5",
        "2026-09-02",
        &[
            "--temperature-c",
            "71.5",
            "--wall-w",
            "900",
            "--clock-mhz",
            "2580",
            "--voltage-v",
            "0.95",
        ],
    );
    let output = run(&guides.directory, &["guide", "--format", "json"]);
    let warned = text(&output.stderr);
    assert!(
        warned.contains("55.5 frames/s measured, 75.0 expected (-26 %)"),
        "{warned}"
    );
    assert!(warned.contains("900 W measured at the wall"), "{warned}");
    let told: Value = serde_json::from_slice(&output.stdout).unwrap();
    let measured = told["workloads"]
        .as_array()
        .unwrap()
        .iter()
        .map(|one| &one["measured"])
        .find(|one| !one.is_null())
        .unwrap();
    assert_eq!(measured["temperature_c"], 71.5);
    assert_eq!(
        (&measured["is_flagged"], &measured["is_wall_flagged"]),
        (&true.into(), &true.into())
    );
    for form in ["html", "markdown", "text"] {
        let guide = guide(&guides, &["--format", form]);
        for said in [
            "55.5 frames/s",
            "71.5 °C",
            "900 W at the wall",
            "2580 MHz",
            "0.95 V",
            "2026-09-02",
        ] {
            assert!(guide.contains(said), "{form} lacks {said}: {guide}");
        }
    }
}

#[test]
fn a_dearer_processor_draws_hardly_more_frames_with_a_mid_range_card() {
    // Gaming is mostly limited by the graphics card (common practice, no source).
    let guides = polled("");
    guides.edit("briefs/example.toml", "cap = \"75\"\n", "");
    let gaming = |processor: &str| {
        let told = guide(
            &guides,
            &[
                "--format",
                "json",
                "--pin",
                "graphics=pelgrund-korvassil-25-compact",
                "--pin",
                &format!("processor={processor}"),
            ],
        );
        let told: Value = serde_json::from_str(&told).unwrap();
        let workloads = told["workloads"].as_array().unwrap().clone();
        let gaming = workloads
            .into_iter()
            .find(|one| one["name"] == "1080p gaming");
        let gaming = gaming.unwrap();
        assert!(
            gaming["limited_by"]
                .as_str()
                .unwrap()
                .starts_with("graphics")
        );
        let picks = told["picks"].as_array().unwrap();
        let price = picks
            .iter()
            .find(|pick| pick["role"] == "processor")
            .unwrap();
        (
            gaming["rate"].as_f64().unwrap(),
            price["landed_minor"].as_i64().unwrap(),
        )
    };
    let (four_cores, cheap) = gaming("askerune-fjell-26");
    let (more_cores, dear) = gaming("veldimor-strand-32");
    assert!(dear > cheap);
    assert!(
        (four_cores / more_cores - 1.0).abs() < 0.03,
        "{four_cores} {more_cores}"
    );
}
