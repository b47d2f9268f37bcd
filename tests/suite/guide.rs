//! `guide`, run as an author would.

use crate::support::guides::{Guides, run, text};
use serde_json::Value;

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
