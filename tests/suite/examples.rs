//! The example feeds in `config/examples`: every one loads, and reads its sample as it says.

use super::support::program::Configuration;
use super::support::server::{Seen, Server, Step, answer};
use serde_json::Value;
use std::path::{Path, PathBuf};

const NOW: &str = "2026-06-15T12:00:00Z";

/// A feed, its sample, and the offers in it: number, price in minor units, currency, state, part.
/// A record that is refused has no price and the name of the reason instead of a state.
type Example = (
    &'static str,
    &'static str,
    &'static [(
        &'static str,
        Option<i64>,
        &'static str,
        &'static str,
        &'static str,
    )],
);

const EXAMPLES: &[Example] = &[
    (
        "csv/export",
        "csv.sample.csv",
        &[
            (
                "OT-1",
                Some(118_990),
                "EUR",
                "in_stock",
                "askerune-fjell-26",
            ),
            // The sale holds today.
            (
                "OT-2",
                Some(3_490),
                "EUR",
                "in_stock",
                "haldrune-siltwind-46",
            ),
            ("OT-3", None, "", "price_missing", ""),
        ],
    ),
    (
        "tsv-without-header/list",
        "tsv-without-header.sample.tsv",
        &[
            (
                "M-7",
                Some(120_900),
                "EUR",
                "in_stock",
                "veldimor-strand-32",
            ),
            (
                "M-8",
                Some(3_450),
                "EUR",
                "sold_out",
                "ulvaskop-skerry-42-low",
            ),
        ],
    ),
    (
        "json/api",
        "json.sample.json",
        &[
            (
                "Q-11",
                Some(9_790),
                "EUR",
                "in_stock",
                "ulvaskop-tern-32-gb-2x16-gb-ddr5-6000",
            ),
            ("Q-12", Some(18_900), "EUR", "pre_order", ""),
        ],
    ),
    (
        "ndjson/stream",
        "ndjson.sample.ndjson",
        &[
            (
                "T1",
                Some(28_490),
                "EUR",
                "in_stock",
                "oskvale-lumevar-33-duo",
            ),
            (
                "T1",
                Some(27_900),
                "EUR",
                "in_stock",
                "oskvale-lumevar-33-duo",
            ),
        ],
    ),
    (
        "xml-namespaces/products",
        "xml-namespaces.sample.xml",
        &[
            (
                "B-1",
                Some(160_400),
                "DKK",
                "in_stock",
                "pelgrund-korvassil-25-compact",
            ),
            ("B-2", Some(43_900), "DKK", "back_order", "drefholm-loft-12"),
        ],
    ),
    (
        "rss/news",
        "rss.sample.xml",
        &[
            (
                "https://yarrowick.example/i/31",
                Some(6_950),
                "GBP",
                "unknown",
                "haldrune-hearth-550-w",
            ),
            (
                "https://yarrowick.example/i/32",
                Some(104_300),
                "GBP",
                "unknown",
                "sennovik-ember-450-w",
            ),
        ],
    ),
    (
        "atom/entries",
        "atom.sample.xml",
        &[(
            "urn:felldar:501",
            Some(106_990),
            "EUR",
            "in_stock",
            "vennoquil-rowan-1-tb",
        )],
    ),
    (
        "html-json-ld/pages",
        "html-json-ld.sample.html",
        &[
            (
                "S-V11",
                Some(13_400),
                "EUR",
                "in_stock",
                "jastrune-slate-v11-ddr5",
            ),
            (
                "S-V11",
                Some(10_100),
                "EUR",
                "in_stock",
                "jastrune-slate-v11-ddr5",
            ),
        ],
    ),
    (
        "html-selectors/shelf",
        "html-selectors.sample.html",
        &[
            ("O-1", Some(107_400), "CHF", "in_stock", "vennoquil-barn-14"),
            ("O-2", None, "", "price_from", ""),
        ],
    ),
    (
        "url-template/lookup",
        "url-template.sample.json",
        &[(
            "P-9",
            Some(134_900),
            "SEK",
            "in_stock",
            "drefholm-quay-a13-micro-ddr5",
        )],
    ),
    (
        "index-page/shelf",
        "index-page.sample.html",
        &[(
            "H-33",
            Some(28_490),
            "EUR",
            "sold_out",
            "oskvale-lumevar-33-duo",
        )],
    ),
    (
        "file-directory/by-hand",
        "file-directory.sample",
        &[
            (
                "L1",
                Some(59_900),
                "NOK",
                "in_stock",
                "sennovik-reed-16-gb-1x16-gb-ddr5-5600",
            ),
            ("L2", Some(164_900), "NOK", "sold_out", "ulvaskop-moss-1-tb"),
        ],
    ),
    (
        "standard-input/pipe",
        "standard-input.sample.csv",
        &[(
            "Z-1",
            Some(104_990),
            "USD",
            "unknown",
            "sennovik-ember-450-w",
        )],
    ),
    (
        "pages-by-link-header/api",
        "pages-by-link-header.sample.json",
        &[(
            "C1",
            Some(28_490),
            "EUR",
            "unknown",
            "oskvale-lumevar-33-duo",
        )],
    ),
    (
        "pages-by-body/api",
        "pages-by-body.sample.json",
        // The catalogue has the compact one alone.
        &[("D1", Some(21_490), "EUR", "unknown", "")],
    ),
    (
        "pages-by-parameter/api",
        "pages-by-parameter.sample.csv",
        &[("E1", Some(3_990), "EUR", "unknown", "haldrune-siltwind-46")],
    ),
];

fn examples() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("config/examples")
}

/// The starter's catalogue with every example as a retailer.
fn configuration() -> (Configuration, usize) {
    let configuration = Configuration::new(NOW);
    for name in ["catalogue/parts.toml", "catalogue/workloads.toml"] {
        configuration.copy(&format!("config/{name}"), name);
    }
    let mut n_examples = 0;
    for entry in std::fs::read_dir(examples()).unwrap() {
        let name = entry.unwrap().file_name().into_string().unwrap();
        if name.ends_with(".toml") {
            configuration.copy(
                &format!("config/examples/{name}"),
                &format!("retailers/{name}"),
            );
            n_examples += 1;
        }
    }
    (configuration, n_examples)
}

#[test]
fn every_example_loads_without_a_fault() {
    let (configuration, n_examples) = configuration();
    let shown = configuration.run(&["check"]).exited(0);
    let expected = format!("{n_examples} retailers with {n_examples} feeds");
    assert!(shown.contains(&expected), "{shown}");
    // Only what differs in where its secrets are has no sample of its own.
    assert_eq!(n_examples, EXAMPLES.len() + 1);
}

#[test]
fn every_sample_is_read_as_its_mapping_says() {
    let (configuration, _) = configuration();
    for (feed, sample, offers) in EXAMPLES {
        let saved = examples().join(sample);
        let saved = saved.to_str().unwrap();
        let trial = configuration.run(&["feed", "try", feed, "--from", saved, "--json"]);
        let trial = trial.json(0);
        let records = trial["records"].as_array().unwrap();
        assert_eq!(records.len(), offers.len(), "{feed}: {trial:#}");
        for (record, (sku, price, currency, state, part)) in records.iter().zip(*offers) {
            assert_eq!(record["sku"], *sku, "{feed}");
            assert_eq!(record["price_minor"].as_i64(), *price, "{feed} {record:#}");
            match price {
                Some(_) => {
                    assert_eq!(record["verdict"], "accepted", "{feed} {record:#}");
                    assert_eq!(record["currency"], *currency, "{feed}");
                    assert_eq!(record["availability"], *state, "{feed} {record:#}");
                    let found = record["part"].as_str().unwrap_or_default();
                    assert_eq!(found, *part, "{feed} {record:#}");
                }
                None => {
                    assert_eq!(record["verdict"], "refused", "{feed}");
                    assert_eq!(trial["counts"]["reasons"][*state], 1, "{feed} {trial:#}");
                }
            }
        }
    }
}

#[test]
fn what_the_examples_say_of_single_values_is_so() {
    let (configuration, _) = configuration();
    let record = |feed: &str, sample: &str, number: usize| -> Value {
        let saved = examples().join(sample);
        let saved = saved.to_str().unwrap();
        let trial = configuration.run(&["feed", "try", feed, "--from", saved, "--json"]);
        trial.json(0)["records"][number].clone()
    };
    let csv = record("csv/export", "csv.sample.csv", 0);
    assert_eq!(csv["shipping_minor"], 490);
    let umlaut = record("csv/export", "csv.sample.csv", 2);
    assert_eq!(umlaut["title"], "Kühlpaste für Kühler");
    let json = record("json/api", "json.sample.json", 0);
    assert_eq!(json["raw"]["link"], "https://quennby.example/p/g1");
    let other = record("ndjson/stream", "ndjson.sample.ndjson", 1);
    assert_eq!(other["seller"], "Grimsel Reuse");
    let xml = record("xml-namespaces/products", "xml-namespaces.sample.xml", 0);
    assert_eq!(xml["title"], "Pelgrund Korvassil 25 & bracket <short>");
    let used = record("rss/news", "rss.sample.xml", 1);
    assert_eq!(used["condition"], "used");
    assert_eq!(used["title"], "Sennovik Ember 450 W");
    let second = record("html-json-ld/pages", "html-json-ld.sample.html", 1);
    assert_eq!(second["condition"], "used");
    assert_eq!(second["shipping_minor"], 590);
    // Pitfall S18.
    let sold_out = record("index-page/shelf", "index-page.sample.html", 0);
    let note = sold_out["notes"][0].as_str().unwrap();
    assert!(
        note.contains("InStock") && note.contains("ausverkauft"),
        "{note}"
    );
    let shelf = record("html-selectors/shelf", "html-selectors.sample.html", 0);
    assert_eq!(shelf["mpn"], "VEN-BARN14");
    assert_eq!(shelf["raw"]["link"], "https://ormelle.example/a/o-1");
}

/// Answers whatever is asked, by path and query.
type Script = fn(&Seen) -> Vec<Step>;

fn sample(name: &str) -> Vec<u8> {
    std::fs::read(examples().join(name)).unwrap()
}

/// Tries an example whose shop is a server on loopback: what it came to, and what was asked.
async fn tried_at(
    retailer: &str,
    feed: &str,
    variables: &[(&'static str, &'static str)],
    script: Script,
) -> (Value, Vec<Seen>) {
    let server = Server::start(script).await;
    let (mut configuration, _) = configuration();
    configuration.set(variables);
    let name = format!("retailers/{retailer}.toml");
    let text = std::fs::read_to_string(configuration.path(&name)).unwrap();
    let (before, after) = text.split_once("https://").unwrap();
    let (_, path) = after.split_once(".example/").unwrap();
    // The pause is for real shops.
    let text = format!("{before}{}{path}", server.url("/")).replace("minimum_interval_s = 5\n", "");
    let text = text.replace("\nformat = ", "\nminimum_interval_s = 0\nformat = ");
    configuration.write(&name, text);
    let feed = format!("{retailer}/{feed}");
    let arguments = ["feed", "try", &feed, "--limit", "2", "--json"];
    let trial = configuration.run_beside(&arguments).await.json(0);
    (trial, server.seen())
}

fn paths(seen: &[Seen]) -> Vec<&str> {
    seen.iter().map(|seen| seen.path.as_str()).collect()
}

#[tokio::test]
async fn pages_are_followed_by_header_body_and_parameter() {
    let by_header = |seen: &Seen| {
        let link = [("Link", "</api/offers?page=2>; rel=\"next\"")];
        let links: &[(&str, &str)] = if seen.path.contains("page=2") {
            &[]
        } else {
            &link
        };
        answer(200, links, sample("pages-by-link-header.sample.json"))
    };
    // The same offer twice is one offer.
    let (trial, seen) = tried_at("pages-by-link-header", "api", &[], by_header).await;
    assert_eq!(trial["counts"]["records"], 2, "{trial:#}");
    assert_eq!(
        paths(&seen),
        ["/api/offers?per_page=100", "/api/offers?page=2"]
    );

    let by_body = |seen: &Seen| match seen.path.as_str() {
        "/api/offers" => answer(200, &[], sample("pages-by-body.sample.json")),
        _ => answer(
            200,
            &[],
            "{\"offers\":[{\"sku\":\"D2\",\"title\":\"Fan\",\"price\":9}]}",
        ),
    };
    let (trial, seen) = tried_at("pages-by-body", "api", &[], by_body).await;
    assert_eq!(trial["counts"]["accepted"], 2, "{trial:#}");
    assert_eq!(paths(&seen), ["/api/offers", "/api/offers?after=D1"]);

    let by_parameter = |seen: &Seen| match seen.path.ends_with("seite=0") {
        true => answer(200, &[], sample("pages-by-parameter.sample.csv")),
        false => answer(200, &[], "sku,title,price\nE2,Fan,9.00\n"),
    };
    let (trial, seen) = tried_at("pages-by-parameter", "api", &[], by_parameter).await;
    assert_eq!(trial["counts"]["accepted"], 2, "{trial:#}");
    let expected = [
        "/offers.csv?sort=sku&seite=0",
        "/offers.csv?sort=sku&seite=1",
    ];
    assert_eq!(paths(&seen), expected);
}

#[tokio::test]
async fn credentials_come_from_the_environment_and_are_sent() {
    let variables = [
        ("GRAVELUND_KEY", "k/1"),
        ("GRAVELUND_CUSTOMER", "c-7"),
        ("GRAVELUND_PASSWORD", "open sesame"),
        ("TOLVARRA_TOKEN", "t0ken"),
    ];
    let ten = |_: &Seen| {
        let offers =
            (1..=10).map(|n| format!("{{\"sku\":\"{n}\",\"title\":\"Fan {n}\",\"price\":9}}"));
        answer(
            200,
            &[],
            format!("[{}]", offers.collect::<Vec<_>>().join(",")),
        )
    };
    let (trial, seen) = tried_at("headers-and-secrets", "private", &variables, ten).await;
    assert_eq!(trial["counts"]["accepted"], 10);
    assert_eq!(paths(&seen), ["/export.json?key=k%2F1"]);
    assert_eq!(seen[0].header("accept-language"), Some("de"));
    assert_eq!(seen[0].header("x-customer"), Some("c-7"));
    // RFC 7617 section 2: base64 of "guide:open sesame".
    assert_eq!(
        seen[0].header("authorization"),
        Some("Basic Z3VpZGU6b3BlbiBzZXNhbWU=")
    );

    let lines = |_: &Seen| answer(200, &[], sample("ndjson.sample.ndjson"));
    let (_, seen) = tried_at("ndjson", "stream", &variables, lines).await;
    assert_eq!(seen[0].header("authorization"), Some("Bearer t0ken"));
}

#[tokio::test]
async fn an_index_and_a_template_lead_to_one_document_for_each_offer() {
    let shop = |seen: &Seen| match seen.path.as_str() {
        "/grafikkarten" => answer(
            200,
            &[],
            "<html><a href=/cart>Cart</a><ul class=produkte>\
             <li><a class=titel href=/p/1>1</a><li><a class=titel href=/p/2>2</a></ul>",
        ),
        _ => answer(200, &[], sample("index-page.sample.html")),
    };
    let (trial, seen) = tried_at("index-page", "shelf", &[], shop).await;
    assert_eq!(trial["counts"]["records"], 2, "{trial:#}");
    assert_eq!(paths(&seen), ["/grafikkarten", "/p/1", "/p/2"]);

    let document = |_: &Seen| answer(200, &[], sample("url-template.sample.json"));
    let (_, seen) = tried_at("url-template", "lookup", &[], document).await;
    // Parts in the order of their ids; two of them, as two records are asked for.
    assert_eq!(
        paths(&seen),
        ["/api/parts/ASK-F26-BX", "/api/parts/DRE-LOFT12"]
    );
}
