//! The catalogue's schema, its reference, and `rigtide catalogue check`.

use crate::support::guides::{Guides, run, text};
use crate::support::program::Configuration;
use rigtide::catalogue::schema::catalogue_schema;
use rigtide::catalogue::{Kind, Spec, load_catalogue};
use rigtide::fit::render_reference;
use serde_json::Value;
use std::fs;
use std::path::Path;

const NOW: &str = "2026-11-02T09:00:00Z";

fn validator() -> jsonschema::Validator {
    jsonschema::draft7::new(&catalogue_schema()).unwrap()
}

/// A TOML file as the JSON that an editor checks.
fn as_json(toml: &str) -> Value {
    let table: toml::Table = toml::from_str(toml).unwrap();
    // Through text: numbers then have the form that JSON files have.
    serde_json::from_str(&serde_json::to_string(&table).unwrap()).unwrap()
}

fn complaints(validator: &jsonschema::Validator, toml: &str) -> Vec<String> {
    let json = as_json(toml);
    let errors = validator.iter_errors(&json);
    errors
        .map(|error| format!("{}: {error}", error.instance_path()))
        .collect()
}

#[test]
fn the_schema_is_one_and_accepts_the_starter() {
    let schema = catalogue_schema();
    assert!(jsonschema::draft7::meta::is_valid(&schema));
    let validator = validator();
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    for file in ["parts", "workloads"] {
        let text = fs::read_to_string(root.join(format!("config/catalogue/{file}.toml"))).unwrap();
        assert_eq!(
            complaints(&validator, &text),
            Vec::<String>::new(),
            "{file}"
        );
    }
    let guides = Guides::new();
    let printed = run(&guides.directory, &["schema"]);
    assert_eq!(printed.status.code(), Some(0));
    assert_eq!(
        serde_json::from_slice::<Value>(&printed.stdout).unwrap(),
        schema
    );
}

#[test]
fn what_is_broken_is_refused_by_schema_and_loader_alike() {
    let part = |more: &str| {
        format!("[[part]]\nid = \"a\"\nkind = \"gpu\"\nname = \"A\"\nmpn = \"1\"\n{more}\n")
    };
    let validator = validator();
    for good in [
        part("length_mm = 300"),
        part("length_mm = \"30 cm\""),
        part("length_mm = \"11,8 In\"\nslots_occupied = \"2.5-slot\""),
        part("gtin = [\"6291041500213\", \"0 71588 23401 9\"]\ncolour = \"black\""),
        part("length_mm = 300\nguessed = [\"length_mm\"]\nsource = \"s\""),
        "[[part]]\nid = \"b\"\nkind = \"board\"\nname = \"B\"\nlight_headers = \"5 V\"\n\
         m2_slots = [{ length_mm_max = 80, sata = true }]\n"
            .to_owned(),
    ] {
        assert_eq!(
            complaints(&validator, &good),
            Vec::<String>::new(),
            "{good}"
        );
        assert_eq!(load_catalogue(&[("a.toml", &good)]).1, [], "{good}");
    }
    for broken in [
        part("lenght_mm = 300"),
        part("socket = \"AM5\""),
        part("length_mm = 3000"),
        part("length_mm = \"300 W\""),
        part("length_mm = \"long\""),
        part("length_mm = true"),
        part("colour = 5"),
        part("guessed = [\"lenght\"]"),
        part("gtin = \"629104150021\\u0033x\""),
        part("[part.rates.cut]\nrate = 5"),
        part("[part.rates.cut]\nrate = -5\nsource = \"s\""),
        part("").replace("\"gpu\"", "\"gpx\""),
        part("").replace("name = \"A\"", ""),
        part("").replace("\"a\"", "\" \""),
        "[[part]]\nid = \"b\"\nkind = \"board\"\nname = \"B\"\n\
         m2_slots = [{ sata = true }]\n"
            .to_owned(),
        "[[workload]]\nid = \"cut\"\nunit = \"jobs/h\"\nlimited_by = [\"cpx\"]\nreference = 10\n"
            .to_owned(),
        "[[workload]]\nid = \"cut\"\nunit = \"jobs/h\"\nlimited_by = [\"cpu\"]\nreference = 0\n"
            .to_owned(),
        "[[parts]]\n".to_owned(),
    ] {
        assert!(
            !complaints(&validator, &broken).is_empty(),
            "the schema takes\n{broken}"
        );
        assert!(
            !load_catalogue(&[("a.toml", &broken)]).1.is_empty(),
            "the loader takes\n{broken}"
        );
    }
}

#[test]
fn the_reference_that_is_committed_is_the_one_of_the_code() {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("config/catalogue/REFERENCE.md");
    let reference = render_reference();
    let committed = fs::read_to_string(&path).unwrap();
    assert!(
        committed == reference,
        "write it anew: rigtide schema --reference >config/catalogue/REFERENCE.md"
    );
    let guides = Guides::new();
    let printed = run(&guides.directory, &["schema", "--reference"]);
    assert_eq!(text(&printed.stdout), reference);
}

const GAPS: &str = r#"
[[part]]
id = "case-a"
kind = "case"
name = "Case A"
mpn = "CA-1"
gpu_length_mm_max = 330
[[part]]
id = "case-b"
kind = "case"
name = "Case B"
mpn = "ca1"
gpu_length_mm_max = 330
[[part]]
id = "water"
kind = "cooler"
name = "Water"
radiator_mm = 280
guessed = ["radiator_mm"]
"#;

#[test]
fn check_names_what_is_missing_per_rule_duplicates_and_drafts() {
    let configuration = Configuration::new(NOW);
    configuration.write("catalogue/parts.toml", GAPS);
    let said = configuration.run(&["catalogue", "check"]).exited(0);
    for expected in [
        "2 cases have no `radiator_mounts`: rule radiator-mount cannot be proven for case-a, case-b",
        "case-a, case-b: the same MPN but for its spelling",
        "water is a draft: confirm radiator_mm, and take them out of `guessed`",
        "nothing has been polled yet",
    ] {
        assert!(said.contains(expected), "{expected} is not in\n{said}");
    }
    let report = configuration.run(&["catalogue", "check", "--json"]).json(0);
    assert_eq!(report["parts"], 3);
    assert_eq!(report["unoffered"], Value::Null);
    assert_eq!(report["drafts"][0]["guessed"][0], "radiator_mm");
    let gaps = report["gaps"].as_array().unwrap();
    let mounts = gaps
        .iter()
        .find(|gap| gap["spec"] == "radiator_mounts")
        .unwrap();
    assert_eq!(mounts["parts"].as_array().unwrap().len(), 2);
}

#[test]
fn check_goes_on_where_the_configuration_has_faults_and_says_so() {
    let configuration = Configuration::new(NOW);
    configuration.write(
        "catalogue/parts.toml",
        format!("{GAPS}\n[[part]]\nid = \"x\"\n"),
    );
    let ran = configuration.run(&["catalogue", "check"]);
    assert_eq!(ran.code, 3);
    assert!(
        ran.out.contains("2 cases have no `radiator_mounts`"),
        "{}",
        ran.out
    );
    assert!(ran.err.contains("`kind` is missing"), "{}", ran.err);
    let why = "the settings have faults, so offers were not looked at";
    assert!(ran.out.contains(why), "{}", ran.out);
    assert!(!ran.out.contains("polled"), "{}", ran.out);
    let report = configuration.run(&["catalogue", "check", "--json"]).json(3);
    assert!(!report["faults"].as_array().unwrap().is_empty());
}

#[test]
fn parts_without_an_offer_for_thirty_days_are_named() {
    let guides = Guides::new();
    let at = |now: &str, arguments: &[&str]| -> Value {
        let mut command = crate::support::guides::rigtide(&guides.directory);
        command.args(arguments).env("RIGTIDE_TEST_NOW", now);
        let output = command.output().unwrap();
        assert_eq!(output.status.code(), Some(0), "{}", text(&output.stderr));
        serde_json::from_slice(&output.stdout).unwrap()
    };
    at("2026-11-02T09:00:00Z", &["poll", "--json"]);
    let check = ["catalogue", "check", "--json"];
    let soon = at("2026-12-01T09:00:00Z", &check);
    let n_soon = soon["unoffered"].as_array().unwrap().len();
    let late = at("2026-12-03T09:00:00Z", &check);
    let late = late["unoffered"].as_array().unwrap();
    assert!(late.len() > n_soon, "{late:?}");
    assert!(late.iter().any(|one| {
        one["seen"]
            .as_str()
            .is_some_and(|at| at.starts_with("2026-11-02"))
    }));
    let longer = at(
        "2026-12-03T09:00:00Z",
        &[&check[..], &["--days", "60"]].concat(),
    );
    assert_eq!(longer["unoffered"].as_array().unwrap().len(), n_soon);
}

const RETAILER: &str = r#"
name = "Brindlemark"
country = "DE"
currency = "EUR"
[[feed]]
id = "all"
file = "offers.csv"
format = "csv"
[feed.fields]
sku = "sku"
title = "title"
brand = "brand"
gtin = "gtin"
price = "price"
availability = "stock"
"#;

const OFFERS: &str = "sku,title,brand,gtin,price,stock\n\
    1,Otterworks Volt 850 W 80 PLUS Gold power supply,Otterworks,6291041500213,99.00,in stock\n\
    2,Otterworks Tern 32GB (2x16GB) DDR5-6000 CL30 memory,Otterworks,,109.00,in stock\n\
    3,Otterworks gift,Otterworks,,9.00,in stock\n";

#[test]
fn unmatched_offers_become_drafts_that_load_and_wait() {
    let configuration = Configuration::new(NOW);
    configuration.write("retailers/brindlemark.toml", RETAILER);
    configuration.write("offers.csv", OFFERS);
    let propose = ["catalogue", "propose", "brindlemark/all"];
    // Before the first poll there is nothing to draft from, and that is said.
    assert!(
        configuration
            .run(&propose)
            .exited(0)
            .contains("not polled yet")
    );
    configuration.run(&["poll"]).exited(0);
    let report = configuration
        .run(&[&propose[..], &["--json"]].concat())
        .json(0);
    assert_eq!(report["offers"], 3);
    assert_eq!(report["drafts"].as_array().unwrap().len(), 2, "{report}");
    assert_eq!(report["left"][0]["sku"], "3");
    let out = configuration.path("catalogue/drafts.toml");
    let written = [&propose[..], &["--out", out.to_str().unwrap()]].concat();
    configuration.run(&written).exited(0);
    let text = fs::read_to_string(&out).unwrap();
    let (catalogue, faults) = load_catalogue(&[("drafts.toml", &text)]);
    assert_eq!(faults, [], "{text}");
    let kit = catalogue
        .parts
        .values()
        .find(|part| part.kind == Kind::Memory)
        .unwrap();
    assert_eq!(kit.number(Spec::CapacityGb), Some(32));
    assert!(kit.guessed.contains(&Spec::CapacityGb));
    let supply = catalogue
        .parts
        .values()
        .find(|part| part.kind == Kind::Psu)
        .unwrap();
    assert_eq!(supply.gtins[0].to_string(), "06291041500213");
    let check = configuration.run(&["catalogue", "check", "--json"]).json(0);
    assert_eq!(check["drafts"].as_array().unwrap().len(), 2);
    // What is in the catalogue now is not proposed again.
    let again = configuration
        .run(&[&propose[..], &["--json"]].concat())
        .json(0);
    let reasons = again["left"].to_string();
    assert!(again["drafts"].as_array().unwrap().is_empty(), "{reasons}");
    let nobody = configuration.run(&["catalogue", "propose", "brindlemark/al"]);
    assert_eq!(nobody.code, 2);
    assert!(
        nobody.err.contains("did you mean \"brindlemark/all\"?"),
        "{}",
        nobody.err
    );
}

#[test]
fn a_csv_file_of_the_configuration_joins_the_catalogue() {
    let configuration = Configuration::new(NOW);
    configuration.write("catalogue/gpu.csv", "id,name,length_mm\ncard,Card,30 cm\n");
    assert!(configuration.run(&["check"]).exited(0).contains("1 parts"));
    configuration.write("catalogue/gpu.csv", "id,name,length_mm\ncard,Card,30 W\n");
    let ran = configuration.run(&["check"]);
    assert_eq!(ran.code, 3);
    assert!(
        ran.err.contains("catalogue/gpu.csv:2:1: `length_mm`"),
        "{}",
        ran.err
    );
}

#[test]
fn a_draft_is_in_no_build_until_its_guesses_are_confirmed() {
    let guides = Guides::new();
    assert_eq!(run(&guides.directory, &["poll"]).status.code(), Some(0));
    let picked = || -> Vec<String> {
        let output = run(&guides.directory, &["best", "--json"]);
        let answer: Value = serde_json::from_slice(&output.stdout).unwrap();
        let picks = answer["picks"].as_array().unwrap().iter();
        picks
            .map(|pick| pick["part"].as_str().unwrap().to_owned())
            .collect()
    };
    let before = picked();
    // Any part of the best build whose kind has another to offer.
    let kit = before
        .iter()
        .find(|part| part.contains("ddr5-6000"))
        .unwrap()
        .clone();
    let id = format!("id = \"{kit}\"\n");
    guides.edit(
        "catalogue/parts.toml",
        &id,
        &format!("{id}guessed = [\"capacity_gb\"]\n"),
    );
    let output = run(&guides.directory, &["best", "--json"]);
    let answer: Value = serde_json::from_slice(&output.stdout).unwrap();
    assert!(
        !answer.to_string().contains(&format!("\"part\":\"{kit}\"")),
        "{answer}"
    );
    assert!(
        answer["left_out"].to_string().contains("drafts"),
        "{}",
        answer["left_out"]
    );
    guides.edit("catalogue/parts.toml", "guessed = [\"capacity_gb\"]\n", "");
    assert_eq!(picked(), before);
}
