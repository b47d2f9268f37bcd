//! `rigtide match`: offers that wait for the author, and what the author's word does, run as built.

use crate::support::program::Configuration;
use serde_json::{Value, json};

const NOW: &str = "2026-06-15T12:00:00Z";
const HOURS: [&str; 4] = [
    "2026-06-15T13:00:00Z",
    "2026-06-15T14:00:00Z",
    "2026-06-15T15:00:00Z",
    "2026-06-15T16:00:00Z",
];

const PARTS: &str = r#"
[[part]]
id = "fenrir-16"
kind = "gpu"
name = "Norvant Fenrir 8810 16GB"
brand = "Norvant"
mpn = "NV-8810-16"

[[part]]
id = "fenrir-8"
kind = "gpu"
name = "Norvant Fenrir 8810 8GB"
brand = "Norvant"
mpn = "NV-8810-8"
"#;
const RETAILER: &str = r#"
name = "Brindlemark"
country = "DE"
currency = "EUR"
[[feed]]
id = "list"
file = "list.csv"
format = "csv"
[feed.fields]
sku = "nr"
title = "title"
price = "price"
"#;
/// Its memory is not told, so that it fits both cards alike: pitfall M25.
const OPEN: &str = "Norvant Fenrir 8810";
const CHANGED: &str = "Norvant Fenrir 8810 Rev. 2";

fn configuration() -> Configuration {
    let configuration = Configuration::new(NOW);
    configuration.write("catalogue/parts.toml", PARTS);
    configuration.write("retailers/brindlemark.toml", RETAILER);
    poll(&configuration, OPEN, "499.00");
    configuration
}

/// Polls a feed whose first offer is `title` at `price`.
fn poll(configuration: &Configuration, title: &str, price: &str) -> Value {
    let list = format!(
        "nr,title,price\nA-1,{title},{price}\nA-2,Norvant Fenrir 8810 8GB,399.00\nA-3,Garden chair,20.00\n"
    );
    configuration.write("list.csv", list);
    configuration.run(&["poll", "--json"]).json(0)[0].clone()
}

fn queue(configuration: &Configuration) -> Vec<Value> {
    let queue = configuration.run(&["match", "--json"]).json(0)["queue"].clone();
    queue.as_array().unwrap().clone()
}

/// The prices that count for a part now or did so once, by SKU.
fn counted(configuration: &Configuration, part: &str) -> Vec<(String, i64)> {
    let history = configuration.run(&["history", part, "--json"]).json(0);
    let points = history["points"].as_array().unwrap().iter();
    let point = |point: &Value| {
        let sku = point["sku"].as_str().unwrap().to_owned();
        (sku, point["price_minor"].as_i64().unwrap())
    };
    points.map(point).collect()
}

#[test]
fn what_fits_two_parts_alike_waits_with_the_evidence() {
    let configuration = configuration();
    let queue = queue(&configuration);
    let [waiting] = queue.as_slice() else {
        panic!("{queue:?}")
    };
    let head = ["retailer", "sku", "title", "price_minor", "currency"].map(|key| &waiting[key]);
    assert_eq!(
        json!(head),
        json!(["brindlemark", "A-1", OPEN, 49_900, "EUR"])
    );
    let question = waiting["question"].as_str().unwrap();
    assert!(
        question.starts_with("more than one part fits it: "),
        "{question}"
    );
    let proposals = waiting["proposals"].as_array().unwrap();
    let mut parts: Vec<&str> = proposals
        .iter()
        .map(|proposal| proposal["part"].as_str().unwrap())
        .collect();
    parts.sort_unstable();
    assert_eq!(parts, ["fenrir-16", "fenrir-8"]);
    for proposal in proposals {
        assert_eq!(proposal["by"], "title");
        assert!(proposal["confidence"].as_u64().unwrap() <= 100);
        assert!(proposal["agreed"].is_array() && proposal["objections"].is_array());
    }
    let told = configuration.run(&["match"]).exited(0);
    for expected in ["brindlemark/A-1", OPEN, "499.00", "1. fenrir", "2. fenrir"] {
        assert!(told.contains(expected), "{expected}: {told}");
    }
    assert!(!told.contains("Garden chair"), "{told}");
}

#[test]
fn an_accepted_part_counts_at_once_and_is_kept_until_the_listing_changes() {
    // Pitfall M26: a pair that the author pinned is kept across polls and restarts.
    let mut configuration = configuration();
    assert_eq!(counted(&configuration, "fenrir-16"), []);
    let accept = [
        "match",
        "brindlemark/A-1",
        "--accept",
        "fenrir-16",
        "--json",
    ];
    let done = configuration.run(&accept).json(0);
    assert_eq!(
        done,
        json!({"retailer": "brindlemark", "sku": "A-1", "done": "accepted",
               "part": "fenrir-16", "question": null})
    );
    let a_1 = |minor: i64| ("A-1".to_owned(), minor);
    assert_eq!(counted(&configuration, "fenrir-16"), [a_1(49_900)]);
    assert_eq!(queue(&configuration), Vec::<Value>::new());

    configuration.at(HOURS[0]);
    let polled = poll(&configuration, "NORVANT  Fenrir 8810", "489.00");
    assert_eq!(polled["matched"], 2, "{polled}");
    assert_eq!(
        counted(&configuration, "fenrir-16"),
        [a_1(49_900), a_1(48_900)]
    );

    configuration.at(HOURS[1]);
    let polled = poll(&configuration, CHANGED, "489.00");
    assert_eq!(
        (&polled["matched"], counted(&configuration, "fenrir-16")),
        (&json!(1), vec![])
    );
    let notes = polled["notes"].to_string();
    assert!(notes.contains("listing changed"), "{notes}");
    let waiting = queue(&configuration);
    let question = waiting[0]["question"].as_str().unwrap();
    assert!(question.starts_with("listing changed"), "{question}");
    assert_eq!(waiting[0]["proposals"][0]["part"], "fenrir-16");

    // Noted once, asked until it is answered.
    configuration.at(HOURS[2]);
    let polled = poll(&configuration, CHANGED, "479.00");
    assert_eq!(polled["notes"], json!([]));
    assert_eq!(queue(&configuration).len(), 1);
    configuration
        .run(&["match", "brindlemark/A-1", "--accept", "1"])
        .exited(0);
    assert_eq!(counted(&configuration, "fenrir-16").len(), 3);
}

#[test]
fn refused_parts_are_not_proposed_again() {
    let mut configuration = configuration();
    let refuse = [
        "match",
        "brindlemark/A-1",
        "--refuse",
        "fenrir-16",
        "--json",
    ];
    let done = configuration.run(&refuse).json(0);
    assert_eq!(done["done"], "refused");
    // One card is left, yet the title does not tell its memory any more than before.
    let question = done["question"].as_str().unwrap();
    assert_eq!(done["part"], Value::Null, "{done}");
    assert!(
        question.starts_with("it may be a part: fenrir-8"),
        "{question}"
    );
    let refuse = ["match", "brindlemark/A-1", "--refuse", "--json"];
    let done = configuration.run(&refuse).json(0);
    assert_eq!(
        (&done["part"], &done["question"]),
        (&Value::Null, &Value::Null)
    );
    configuration.at(HOURS[0]);
    assert_eq!(poll(&configuration, OPEN, "489.00")["matched"], 1);
    assert_eq!(queue(&configuration), Vec::<Value>::new());

    let forget = ["match", "brindlemark/A-1", "--forget"];
    configuration.run(&forget).exited(0);
    assert_eq!(queue(&configuration).len(), 1);
    let again = configuration.run(&forget);
    assert_eq!((again.code, again.out.as_str()), (2, ""));
    assert!(again.err.contains("nothing was decided"), "{}", again.err);
}

#[test]
fn a_part_that_the_catalogue_lacks_is_not_asked_about_until_the_listing_changes() {
    let mut configuration = configuration();
    configuration
        .run(&["match", "brindlemark/A-1", "--new"])
        .exited(0);
    assert_eq!(queue(&configuration), Vec::<Value>::new());
    configuration.at(HOURS[0]);
    poll(&configuration, OPEN, "489.00");
    assert_eq!(queue(&configuration), Vec::<Value>::new());
    // Its title now names a part outright, which the author has said that it is not.
    configuration.at(HOURS[1]);
    let polled = poll(&configuration, "Norvant Fenrir 8810 16GB", "489.00");
    assert_eq!(polled["matched"], 1, "{polled}");
    assert_eq!(
        queue(&configuration)[0]["proposals"][0]["part"],
        "fenrir-16"
    );
}

#[test]
fn slips_are_named_with_what_was_meant() {
    let configuration = configuration();
    for (arguments, message, hint) in [
        (
            vec!["brindlemrak/A-1", "--new"],
            "no offer is called \"brindlemrak/A-1\"",
            "brindlemark/A-1",
        ),
        (
            vec!["brindlemark/A-1", "--accept", "fenrir-61"],
            "no part has the id \"fenrir-61\"",
            "fenrir-16",
        ),
        (
            vec!["brindlemark/A-3", "--refuse"],
            "nothing to refuse",
            "--new",
        ),
        (vec!["--new"], "required", "RETAILER/SKU"),
        (
            vec!["brindlemark/A-1", "--new", "--forget"],
            "cannot be used with",
            "--forget",
        ),
    ] {
        let ran = configuration.run(&[&["match"], arguments.as_slice()].concat());
        assert_eq!(ran.code, 2, "{arguments:?}: {}{}", ran.out, ran.err);
        assert!(
            ran.err.contains(message) && ran.err.contains(hint),
            "{}",
            ran.err
        );
    }
    assert_eq!(queue(&configuration).len(), 1);
}

#[test]
fn a_part_that_enters_the_catalogue_counts_without_another_poll() {
    let mut configuration = configuration();
    let chair = "[[part]]\nid = \"chair\"\nkind = \"case\"\nname = \"Garden chair\"\n\
                 brand = \"Norvant\"\n";
    assert_eq!(counted(&configuration, "fenrir-8").len(), 1);
    configuration.write("catalogue/parts.toml", format!("{PARTS}\n{chair}"));
    let brand = RETAILER.replace("title = \"title\"", "title = \"title\"\nbrand = \"brand\"");
    configuration.write("retailers/brindlemark.toml", brand);
    let list = "nr,title,brand,price\nA-2,Norvant Fenrir 8810 8GB,Norvant,399.00\n\
                A-3,Garden chair,Norvant,20.00\n";
    configuration.write("list.csv", list);
    configuration.at(HOURS[0]);
    configuration.run(&["poll"]).exited(0);
    assert_eq!(counted(&configuration, "chair").len(), 1);

    // One card is called something else, and nothing is polled: its offer is it no longer, and
    // the open title fits the other card alone.
    configuration.at(HOURS[1]);
    let renamed = PARTS.replace("8810 8GB", "8820 8GB");
    configuration.write("catalogue/parts.toml", format!("{renamed}\n{chair}"));
    let told = configuration.run(&["match"]).exited(0);
    assert!(
        told.contains("the catalogue has changed: 2 offers are another part than before, or none"),
        "{told}"
    );
    assert_eq!(counted(&configuration, "fenrir-8"), []);
    assert_eq!(counted(&configuration, "chair").len(), 1);
    // Once told, it is not told again.
    let told = configuration.run(&["match"]).exited(0);
    assert!(!told.contains("has changed"), "{told}");

    configuration.at(HOURS[2]);
    configuration.write("catalogue/parts.toml", format!("{PARTS}\n{chair}"));
    std::fs::remove_file(configuration.path("list.csv")).unwrap();
    let ran = configuration.run(&["poll"]);
    assert_ne!(ran.code, 0, "the feed has failed: {}", ran.out);
    assert!(ran.out.contains("2 offers are another part"), "{}", ran.out);
    assert_eq!(counted(&configuration, "fenrir-8").len(), 1);
}
