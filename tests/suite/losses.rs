//! What is missing is not always gone: pages that fail, pages that say "not found", cut bodies.

use crate::support::program::Configuration;
use crate::support::server::{Seen, Server, Step, answer, head};
use serde_json::{Value, json};

const PARTS: &str = r#"
[[part]]
id = "tern-7"
kind = "gpu"
name = "Norvant Tern 7"
brand = "Norvant"
mpn = "NV-8810/16G"

[[part]]
id = "fjell-26"
kind = "cpu"
name = "Askerune Fjell 26"
brand = "Askerune"
mpn = "ASK-F26-BX"
"#;

const TIMES: [&str; 6] = [
    "2026-06-15T12:00:00Z",
    "2026-06-15T13:00:00Z",
    "2026-06-15T14:00:00Z",
    "2026-06-15T15:00:00Z",
    "2026-06-15T16:00:00Z",
    "2026-06-15T17:00:00Z",
];

/// A shop with one feed, and the instants at which it is polled.
struct Shop {
    configuration: Configuration,
    n_polls: usize,
}

impl Shop {
    fn new(feed: &str) -> Shop {
        let configuration = Configuration::new(TIMES[0]);
        configuration.write("catalogue/parts.toml", PARTS);
        let head = "name = \"Brindlemark\"\ncountry = \"DE\"\ncurrency = \"EUR\"\n[[feed]]\n\
                    id = \"all\"\nminimum_interval_s = 0\n";
        configuration.write("retailers/brindlemark.toml", format!("{head}{feed}"));
        Shop {
            configuration,
            n_polls: 0,
        }
    }

    /// Polls an hour after the last time.
    async fn poll(&mut self) -> Value {
        self.configuration.at(TIMES[self.n_polls]);
        self.n_polls += 1;
        let ran = self.configuration.run_beside(&["poll", "--json"]).await;
        assert!(ran.code == 0 || ran.code == 5, "{}", ran.err);
        let polls: Value = serde_json::from_str(&ran.out).unwrap();
        polls[0].clone()
    }

    /// Prices and the hour until which a part was seen at them.
    fn seen(&self, part: &str) -> Vec<(i64, String)> {
        let history = self.configuration.run(&["history", part, "--json"]);
        let points = history.json(0)["points"].clone();
        let point = |point: &Value| {
            let until = point["until"].as_str().unwrap()[11..13].to_owned();
            (point["price_minor"].as_i64().unwrap(), until)
        };
        points.as_array().unwrap().iter().map(point).collect()
    }

    /// Whether the ledger counts an offer of the part as listed.
    fn is_listed(&self, part: &str) -> bool {
        let ledger = self.configuration.path("ledger.sqlite");
        let reader = rigtide::ledger::Reader::open(&ledger).unwrap();
        let offers = reader.current_offers().unwrap();
        offers.iter().any(|offer| offer.part.part == part)
    }
}

fn record(sku: &str, title: &str, mpn: &str, price: &str) -> Value {
    json!({ "sku": sku, "title": title, "mpn": mpn, "price": price })
}

fn tern() -> Value {
    record("1", "Norvant Tern 7", "NV-8810/16G", "489.00")
}

fn fjell() -> Value {
    record("2", "Askerune Fjell 26", "ASK-F26-BX", "189.90")
}

// Pitfall F35, with the same poll before and after it.
#[tokio::test]
async fn offers_of_a_page_that_fails_are_not_missing() {
    let pages = |seen: &Seen, second: Vec<Step>| match seen.path.as_str() {
        "/1" => {
            let page = json!({ "offers": [tern()], "next": "/2" });
            answer(200, &[], page.to_string())
        }
        _ => second,
    };
    let server = Server::start(move |seen| {
        let second = match seen.nth {
            1..=4 => answer(500, &[], ""),
            _ => answer(200, &[], json!({ "offers": [fjell()] }).to_string()),
        };
        pages(seen, second)
    })
    .await;
    let url = server.url("/1");
    let mut shop = Shop::new(&format!(
        "url = \"{url}\"\nformat = \"json\"\nrecords = \"$.offers[*]\"\nnext_from = \"body\"\n\
         next_page = \"$.next\"\n[feed.fields]\nsku = \"sku\"\ntitle = \"title\"\nmpn = \"mpn\"\n\
         price = \"price\"\n"
    ));
    shop.poll().await;
    for _ in 0..4 {
        shop.poll().await;
        // Far more polls than make a missing offer gone.
        assert!(shop.is_listed("fjell-26"));
        assert_eq!(shop.seen("fjell-26"), [(18_990, "12".to_owned())]);
    }
    assert_eq!(shop.poll().await["status"], "fresh");
    assert_eq!(shop.seen("fjell-26"), [(18_990, "17".to_owned())]);
}

fn product_page(product: &Value) -> Vec<Step> {
    let thing = json!({
        "@type": "Product", "name": product["title"], "sku": product["sku"], "mpn": product["mpn"],
        "offers": { "price": product["price"], "priceCurrency": "EUR" },
    });
    let page = format!("<html><script type='application/ld+json'>{thing}</script></html>");
    answer(200, &[("Content-Type", "text/html")], page)
}

// Pitfalls H08 and H09: two pages, of which one goes away in either of two ways.
#[tokio::test]
async fn a_page_that_is_gone_takes_its_offer_along_after_some_polls_and_no_other() {
    let html = [("Content-Type", "text/html")];
    let missing = "<html><title>Product not found</title><p>We do not have it.</p></html>";
    for (lost, is_gone) in [
        (answer(404, &html, ""), true),
        (answer(410, &html, ""), true),
        (answer(200, &html, missing), true),
        (answer(503, &html, ""), false),
    ] {
        let shown = format!("{:?}", &lost);
        let server = Server::start(move |seen| match (seen.path.as_str(), seen.nth) {
            ("/tern", _) => product_page(&tern()),
            (_, 0) => product_page(&fjell()),
            _ => lost.clone(),
        })
        .await;
        let (tern, fjell) = (server.url("/tern"), server.url("/fjell"));
        let mut shop = Shop::new(&format!(
            "urls = [\"{tern}\", \"{fjell}\"]\nformat = \"html\"\n"
        ));
        shop.poll().await;
        assert!(shop.is_listed("fjell-26"), "{shown}");
        let poll = shop.poll().await;
        // Once is no proof.
        assert_eq!(
            shop.seen("fjell-26"),
            [(18_990, "12".to_owned())],
            "{shown}"
        );
        assert!(!poll["notes"].as_array().unwrap().is_empty(), "{poll}");
        for _ in 0..3 {
            shop.poll().await;
        }
        assert_eq!(shop.is_listed("fjell-26"), !is_gone, "{shown}");
        assert!(shop.is_listed("tern-7"), "{shown}");
    }
}

// Pitfalls F21 and H15: a document that ends in its middle, by its own form or by its length.
#[tokio::test]
async fn a_cut_document_changes_nothing() {
    let whole = format!("<shop>{}{}</shop>", element(&tern()), element(&fjell()));
    let half = format!("<shop>{}", element(&tern()));
    for cut in [answer(200, &[], &half), short_of(&whole, &half)] {
        let whole = whole.clone();
        let server = Server::start(move |seen| match seen.nth {
            0 => answer(200, &[], &whole),
            _ => cut.clone(),
        })
        .await;
        let url = server.url("/all");
        let mut shop = Shop::new(&format!(
            "url = \"{url}\"\nformat = \"xml\"\nrecords = \"part\"\n[feed.fields]\nsku = \"sku\"\n\
             title = \"title\"\nmpn = \"mpn\"\nprice = \"price\"\n"
        ));
        assert_eq!(shop.poll().await["status"], "fresh");
        for _ in 0..4 {
            let poll = shop.poll().await;
            assert_eq!(poll["status"], "failed", "{poll}");
        }
        for part in ["tern-7", "fjell-26"] {
            assert!(shop.is_listed(part));
            assert_eq!(shop.seen(part)[0].1, "12");
        }
    }
}

fn element(record: &Value) -> String {
    let members = record.as_object().unwrap().iter();
    let inner: String = members
        .map(|(name, value)| format!("<{name}>{}</{name}>", value.as_str().unwrap()))
        .collect();
    format!("<part>{inner}</part>")
}

/// An answer that promises `whole` and stops after `sent`.
fn short_of(whole: &str, sent: &str) -> Vec<Step> {
    let length = whole.len().to_string();
    let mut bytes = head(200, &[("Content-Length", &length)]);
    bytes.extend(sent.as_bytes());
    vec![Step::Send(bytes), Step::Close]
}

// Pitfall D10's sibling: not the program fails in the middle of a poll but its ledger.
#[tokio::test]
async fn a_ledger_that_fails_halfway_through_a_feed_keeps_the_last_good_state_and_says_so() {
    // Records go to the ledger some hundred at a time: these are several such batches.
    const N_RECORDS: usize = 1_000;
    let list = |price: usize| {
        let rows =
            (0..N_RECORDS).map(|n| format!("A-{n};Norvant Tern 7;NV-8810/16G;{}\n", price + n));
        format!("nr;title;mpn;price\n{}", rows.collect::<String>())
    };
    let mut shop = Shop::new(
        "file = \"list.csv\"\nformat = \"csv\"\ndelimiter = \";\"\n[feed.fields]\nsku = \"nr\"\n\
         title = \"title\"\nmpn = \"mpn\"\nprice = \"price\"\n",
    );
    shop.configuration.write("list.csv", list(400));
    assert_eq!(shop.poll().await["offers"], N_RECORDS);
    let before = shop.seen("tern-7");
    let path = shop.configuration.path("ledger.sqlite");
    let change = |statement: &str| {
        let ledger = rusqlite::Connection::open(&path).unwrap();
        ledger.execute_batch(statement).unwrap();
    };
    change(
        "CREATE TRIGGER worn_out BEFORE INSERT ON observation
         WHEN NEW.offer_id = 700 BEGIN SELECT RAISE(ABORT, 'worn out'); END",
    );
    shop.configuration.write("list.csv", list(405));
    shop.configuration.at(TIMES[1]);
    let failed = shop.configuration.run(&["poll", "--json"]);
    assert_eq!(failed.code, 6, "{}{}", failed.out, failed.err);
    assert!(failed.err.contains("worn out"), "{}", failed.err);
    assert_eq!(shop.seen("tern-7"), before);
    change("DROP TRIGGER worn_out");
    shop.n_polls = 2;
    let report = shop.poll().await;
    assert_eq!(
        (&report["status"], &report["changed"]),
        (&json!("fresh"), &json!(N_RECORDS))
    );
}
