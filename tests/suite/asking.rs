//! `ladder`, `why`, `entry-prices`, `what-if` and `best --alternatives`, run as an author would.

use crate::support::guides::{Guides, run, text};
use serde_json::Value;

fn polled() -> Guides {
    let guides = Guides::new();
    let output = run(&guides.directory, &["poll"]);
    assert!(output.status.success(), "{}", text(&output.stderr));
    guides
}

fn json(guides: &Guides, arguments: &[&str]) -> Value {
    let output = run(&guides.directory, arguments);
    let printed = text(&output.stdout);
    serde_json::from_str(&printed)
        .unwrap_or_else(|error| panic!("{error}: {printed}{}", text(&output.stderr)))
}

#[test]
fn the_ladder_ends_at_the_best_and_each_rung_says_what_it_buys() {
    let guides = polled();
    let ladder = json(&guides, &["ladder", "--json"]);
    assert_eq!(ladder["whole"], true);
    let rungs = ladder["rungs"].as_array().unwrap();
    assert!(rungs.len() >= 2, "{ladder}");
    assert_eq!(rungs[0]["step_up"], Value::Null);
    for pair in rungs.windows(2) {
        let minor = |rung: &Value| rung["total_minor"].as_i64().unwrap();
        assert!(minor(&pair[0]) < minor(&pair[1]));
        assert_eq!(
            pair[1]["step_up"]["cost_minor"].as_i64(),
            Some(minor(&pair[1]) - minor(&pair[0]))
        );
        assert!(!pair[1]["changes"].as_array().unwrap().is_empty());
    }
    // The rung that the brief's budget stands on is the best build.
    let best = json(&guides, &["best", "--json"]);
    let budget = best["budget_minor"].as_i64().unwrap();
    let within = rungs
        .iter()
        .rfind(|rung| rung["total_minor"].as_i64().unwrap() <= budget);
    assert_eq!(within.unwrap()["score_exact"], best["score_exact"]);
    assert_eq!(within.unwrap()["total_minor"], best["total_minor"]);

    let svg = guides.directory.join("ladder.svg");
    let shown = run(
        &guides.directory,
        &["ladder", "--svg", svg.to_str().unwrap()],
    );
    assert!(text(&shown.stdout).contains("the best that any money buys"));
    assert!(std::fs::read_to_string(svg).unwrap().starts_with("<svg"));
    let part = json(&guides, &["ladder", "--to", "1", "--json"]);
    assert_eq!(part["rungs"], Value::Array(Vec::new()));
}

#[test]
fn a_part_enters_at_its_entry_price_and_not_a_cent_above_it() {
    let guides = polled();
    // Delivery is free here, so that the price that is set is the landed one.
    let path = guides.directory.join("retailers/example.toml");
    let retailer = std::fs::read_to_string(&path).unwrap();
    let free: Vec<&str> = retailer
        .lines()
        .filter(|line| !line.starts_with("delivery"))
        .collect();
    std::fs::write(&path, free.join("\n")).unwrap();
    assert!(run(&guides.directory, &["check"]).status.success());
    let best = json(&guides, &["best", "--json"]);
    let prices = json(&guides, &["entry-prices", "graphics", "--json"]);
    let parts = prices["roles"][0]["parts"].as_array().unwrap();
    let out = parts
        .iter()
        .find(|part| part["in_best"] == false && part["entry_minor"].is_i64());
    let out = out.unwrap();
    let (part, entry) = (
        out["part"].as_str().unwrap(),
        out["entry_minor"].as_i64().unwrap(),
    );
    let pick = |answer: &Value| {
        let picks = answer["picks"].as_array().unwrap();
        let graphics = picks
            .iter()
            .find(|pick| pick["role"] == "graphics")
            .unwrap();
        (
            graphics["part"].clone(),
            answer["total_minor"].clone(),
            answer["score_exact"].clone(),
        )
    };
    let at = |minor: i64| {
        let price = format!("{part}={}.{:02}", minor / 100, minor % 100);
        json(&guides, &["what-if", "--price", &price, "--json"])
    };
    // A cent below it is in; at its price it is as good as what stands; a cent above it is out.
    assert_eq!(
        pick(&at(entry - 1)["then"]).0,
        Value::String(part.to_owned())
    );
    assert_eq!(pick(&at(entry)["then"]).1, pick(&best).1);
    assert_eq!(pick(&at(entry + 1)["then"]), pick(&best));
    let why = json(&guides, &["why", part, "--json"]);
    assert_eq!(why["roles"][0]["verdict"], "beaten");
    assert_eq!(why["roles"][0]["entry_minor"].as_i64(), Some(entry));
    assert_eq!(why["roles"][0]["best"]["total_minor"], best["total_minor"]);
}

#[test]
fn a_question_changes_nothing_and_a_brief_can_pin_and_ban_for_good() {
    let guides = polled();
    let before = json(&guides, &["best", "--json"]);
    let case = before["picks"]
        .as_array()
        .unwrap()
        .iter()
        .find(|pick| pick["role"] == "case");
    let case = case.unwrap()["part"].as_str().unwrap().to_owned();
    let other = json(&guides, &["what-if", "--ban", &case, "--json"]);
    let picked = |answer: &Value| -> Vec<String> {
        let picks = answer["picks"].as_array().unwrap().iter();
        picks
            .map(|pick| pick["part"].as_str().unwrap().to_owned())
            .collect()
    };
    assert!(!picked(&other["then"]).contains(&case));
    assert_eq!(picked(&other["now"]), picked(&before));
    let banned = picked(&other["then"]);

    guides.edit(
        "briefs/example.toml",
        "[power]",
        &format!("[ban]\nparts = [\"{case}\"]\n\n[power]"),
    );
    let lasting = json(&guides, &["best", "--json"]);
    assert_eq!(picked(&lasting), banned);
    let why = json(&guides, &["why", &case, "--json"]);
    assert!(
        why["left_out"][0]
            .as_str()
            .unwrap()
            .contains("will not have"),
        "{why}"
    );
    let gone = run(&guides.directory, &["what-if", "--ban", "nobody"]);
    assert_eq!(gone.status.code(), Some(2));
    let nothing = run(&guides.directory, &["what-if", "--with-budget", "10"]);
    assert_eq!(nothing.status.code(), Some(4));
    assert!(text(&nothing.stdout).contains("the cheapest build that fits costs"));
}

#[test]
fn a_part_that_nothing_fits_with_names_the_rule_that_keeps_it_out() {
    let guides = polled();
    let prices = json(&guides, &["entry-prices", "--json"]);
    let roles = prices["roles"].as_array().unwrap();
    assert_eq!(roles.len(), 8, "every role of the brief");
    // A case in which no board goes.
    guides.edit(
        "catalogue/parts.toml",
        "id = \"drefholm-loft-12\"",
        "id = \"drefholm-loft-12\"\nguessed = []",
    );
    let parts = std::fs::read_to_string(guides.directory.join("catalogue/parts.toml")).unwrap();
    let mut own = parts
        .split_inclusive("[[part]]")
        .map(str::to_owned)
        .collect::<Vec<String>>();
    for part in own
        .iter_mut()
        .filter(|part| part.contains("\"drefholm-loft-12\""))
    {
        let line = part
            .lines()
            .find(|line| line.starts_with("form_factors"))
            .unwrap()
            .to_owned();
        *part = part.replace(&line, "form_factors = [\"Mini-ITX\"]");
    }
    std::fs::write(guides.directory.join("catalogue/parts.toml"), own.concat()).unwrap();
    let why = json(&guides, &["why", "drefholm-loft-12", "--json"]);
    assert_eq!(why["roles"][0]["verdict"], "kept_out", "{why}");
    let reason = why["roles"][0]["kept_out"][0].as_str().unwrap();
    assert!(reason.contains("keeps it out"), "{why}");
    assert_eq!(why["roles"][0]["entry_minor"], Value::Null);
}

#[test]
fn what_is_sold_out_says_at_what_price_it_would_be_in() {
    let guides = polled();
    let best = json(&guides, &["best", "--json"]);
    let pick = &best["picks"][0];
    let (part, name) = (
        pick["part"].as_str().unwrap(),
        pick["name"].as_str().unwrap(),
    );
    let offered = json(&guides, &["why", part, "--json"]);
    let path = guides.directory.join("retailers/example-offers.csv");
    let offers = std::fs::read_to_string(&path).unwrap();
    let sold_out: Vec<String> = offers
        .lines()
        .map(|line| match line.contains(name) {
            true => line.replace(",in stock", ",sold out"),
            false => line.to_owned(),
        })
        .collect();
    assert_ne!(sold_out.join("\n"), offers.trim_end());
    std::fs::write(&path, sold_out.join("\n")).unwrap();
    assert!(run(&guides.directory, &["poll"]).status.success());
    let gone = json(&guides, &["why", part, "--json"]);
    let role = &gone["roles"][0];
    assert_eq!(role["verdict"], "not_offered", "{gone}");
    assert_eq!(role["landed_minor"], Value::Null);
    assert_eq!(role["entry_minor"], offered["roles"][0]["entry_minor"]);
    assert!(role["entry_minor"].is_i64(), "{gone}");
    let left_out = gone["left_out"][0].as_str().unwrap();
    assert!(left_out.contains("not in stock"), "{gone}");
    let said = text(&run(&guides.directory, &["why", part]).stdout);
    assert!(said.contains("delivered would make it one"), "{said}");
    let prices = json(
        &guides,
        &["entry-prices", pick["role"].as_str().unwrap(), "--json"],
    );
    let parts = prices["roles"][0]["parts"].as_array().unwrap();
    let own = parts.iter().find(|one| one["part"] == part).unwrap();
    assert_eq!(own["landed_minor"], Value::Null);
    assert_eq!(own["entry_minor"], role["entry_minor"]);
    // A brief that plans ahead takes it all the same, and says so.
    guides.edit(
        "briefs/example.toml",
        "budget =",
        "stock = \"any\"\nbudget =",
    );
    let ahead = json(&guides, &["best", "--json"]);
    assert_eq!(ahead["picks"][0]["part"], part, "{ahead}");
    assert_eq!(ahead["picks"][0]["availability"], "sold_out");
    let said = text(&run(&guides.directory, &["best"]).stdout);
    assert!(said.contains("(sold out)"), "{said}");
}

#[test]
fn the_next_best_differ_where_it_matters_and_every_other_socket_has_its_best() {
    let guides = polled();
    let best = json(&guides, &["best", "--alternatives", "2", "--json"]);
    let next = best["alternatives"].as_array().unwrap();
    assert!(!next.is_empty() && next.len() <= 2);
    assert!(next[0]["score"].as_f64().unwrap() <= best["score"].as_f64().unwrap());
    assert!(!next[0]["differs"].as_array().unwrap().is_empty());
    let platforms = best["platforms"].as_array().unwrap();
    assert_eq!(platforms.len(), 1, "two sockets are sold");
    let shown = text(&run(&guides.directory, &["best", "--alternatives", "2"]).stdout);
    assert!(
        shown.contains("the next best")
            && (shown.contains("on AM5") || shown.contains("on LGA1851"))
    );
}

#[test]
fn a_what_if_is_shown_as_a_difference_and_saved_into_the_briefs_file_with_its_comments() {
    let guides = polled();
    let file = guides.directory.join("briefs/example.toml");
    let before = std::fs::read_to_string(&file).unwrap();
    let asked = ["what-if", "--own", "case=drefholm-loft-12", "--json"];
    let shown = json(&guides, &[&asked[..], &["--diff"]].concat());
    assert_eq!(
        (&shown["file"], &shown["saved"]),
        (&"briefs/example.toml".into(), &false.into())
    );
    let diff = shown["diff"].as_str().unwrap();
    assert!(diff.contains("\n+owned = \"drefholm-loft-12\"\n"), "{diff}");
    assert_eq!(std::fs::read_to_string(&file).unwrap(), before);

    // What nobody could build is not written.
    let nothing = run(
        &guides.directory,
        &["what-if", "--with-budget", "10", "--save"],
    );
    assert_eq!(nothing.status.code(), Some(4));
    let said = text(&nothing.stdout);
    assert!(
        said.contains("nothing fits, so briefs/example.toml stays"),
        "{said}"
    );
    assert_eq!(std::fs::read_to_string(&file).unwrap(), before);

    let saved = json(&guides, &[&asked[..], &["--save"]].concat());
    assert_eq!(saved["saved"], true);
    let after = std::fs::read_to_string(&file).unwrap();
    let comments = |text: &str| text.lines().filter(|line| line.contains('#')).count();
    assert_eq!(comments(&after), comments(&before));
    let best = json(&guides, &["best", "--json"]);
    assert_eq!(best["picks"], saved["then"]["picks"]);
    let again = run(&guides.directory, &[&asked[..3], &["--save"]].concat());
    assert!(text(&again.stdout).contains("briefs/example.toml says so already"));
}
