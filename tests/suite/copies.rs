//! What a feed's validators and own dates say of a poll: an older copy is no news (pitfall H28).

use crate::support::feed::{access, fetch, fetch_known, fetcher, fresh};
use crate::support::program::Configuration;
use crate::support::server::{Server, Step, answer};
use rigtide::feeds::http::Outcome;
use serde_json::Value;

const PARTS: &str = r#"
[[part]]
id = "tern-7"
kind = "gpu"
name = "Norvant Tern 7"
brand = "Norvant"
mpn = "NV-8810/16G"
gtin = "6291041500213"
"#;

fn configuration(url: &str, format: &str) -> Configuration {
    let configuration = Configuration::new("2026-06-15T12:00:00Z");
    configuration.write("catalogue/parts.toml", PARTS);
    let retailer = format!(
        "name = \"Brindlemark\"\ncountry = \"DE\"\ncurrency = \"EUR\"\n\
         [[feed]]\nid = \"all\"\nurl = \"{url}\"\nminimum_interval_s = 0\n{format}"
    );
    configuration.write("retailers/brindlemark.toml", retailer);
    configuration
}

/// Polls at each instant, and returns the report and the tern's prices of each.
async fn polls(mut configuration: Configuration, times: &[&'static str]) -> Vec<(Value, Value)> {
    let mut polls = Vec::new();
    for now in times {
        configuration.at(now);
        let report = configuration.run_beside(&["poll", "--json"]).await.json(0);
        let history = ["history", "tern-7", "--json"];
        let history = configuration.run_beside(&history).await.json(0);
        polls.push((report[0].clone(), history["points"].clone()));
    }
    polls
}

const EVERY_HOUR: [&str; 4] = [
    "2026-06-15T12:00:00Z",
    "2026-06-15T13:00:00Z",
    "2026-06-15T14:00:00Z",
    "2026-06-15T15:00:00Z",
];

fn statuses(polls: &[(Value, Value)]) -> Vec<&str> {
    let statuses = polls.iter().map(|(report, _)| report["status"].as_str());
    statuses.map(Option::unwrap).collect()
}

/// The price of now, and when it was last seen.
fn newest((_, points): &(Value, Value)) -> (i64, &str) {
    let newest = points.as_array().unwrap().last().unwrap();
    let price = newest["price_minor"].as_i64().unwrap();
    (price, newest["until"].as_str().unwrap())
}

fn csv(price: &str, last_modified: &str) -> Vec<Step> {
    let body = format!("nr;title;mpn;price\n1;Norvant Tern 7;NV-8810/16G;{price}\n");
    answer(200, &[("Last-Modified", last_modified)], body)
}

const CSV: &str = "format = \"csv\"\ndelimiter = \";\"\n[feed.fields]\nsku = \"nr\"\n\
                   title = \"title\"\nmpn = \"mpn\"\nprice = \"price\"\n";

// Pitfall H28.
#[tokio::test]
async fn an_older_copy_from_a_second_server_changes_nothing() {
    const MORNING: &str = "Mon, 15 Jun 2026 09:00:00 GMT";
    const NOON: &str = "Mon, 15 Jun 2026 11:55:00 GMT";
    const AFTERNOON: &str = "Mon, 15 Jun 2026 13:55:00 GMT";
    // The second server's copy has yesterday's price.
    let server = Server::start(|seen| match seen.nth {
        0 => csv("489,00", NOON),
        1 => csv("519,00", MORNING),
        _ => csv("479,00", AFTERNOON),
    })
    .await;
    let polls = polls(configuration(&server.url("/all"), CSV), &EVERY_HOUR[..3]).await;
    assert_eq!(statuses(&polls), ["fresh", "unchanged", "fresh"]);
    let note = polls[1].0["notes"][0].as_str().unwrap();
    for wanted in ["older copy", "2026-06-15T09:00:00Z", "2026-06-15T11:55:00Z"] {
        assert!(note.contains(wanted), "{note}");
    }
    // The older copy says nothing of the price now, so it is not seen again either.
    assert_eq!(newest(&polls[1]), (48_900, "2026-06-15T12:00:00Z"));
    assert_eq!(newest(&polls[2]), (47_900, "2026-06-15T14:00:00Z"));
    // The newer copy's validators are the ones that stay.
    let asked = server.seen();
    assert_eq!(asked[2].header("if-modified-since"), Some(NOON));
}

// Pitfall H28: "if the feed carries its own date".
#[tokio::test]
async fn a_feeds_own_date_tells_an_older_copy() {
    let rss = |price: &str, built: &str| {
        format!(
            "<rss version=\"2.0\"><channel><title>Brindlemark</title>\
             <lastBuildDate>{built}</lastBuildDate><item><guid>1</guid>\
             <title>Norvant Tern 7</title><mpn>NV-8810/16G</mpn><price>{price}</price>\
             </item></channel></rss>"
        )
    };
    let atom = |price: &str, updated: &str| {
        format!(
            "<feed xmlns=\"http://www.w3.org/2005/Atom\"><title>Brindlemark</title>\
             <updated>{updated}</updated><entry><id>1</id><updated>2026-06-01T00:00:00Z</updated>\
             <title>Norvant Tern 7</title><mpn>NV-8810/16G</mpn><price>{price}</price>\
             </entry></feed>"
        )
    };
    let fields = "[feed.fields]\nmpn = \"mpn\"\nprice = \"price\"\n";
    let shop = |price: &str, updated: &str| {
        format!(
            "<shop><made><at>{updated}</at></made><part><id>1</id><title>Norvant Tern 7</title>\
             <mpn>NV-8810/16G</mpn><price>{price}</price></part></shop>"
        )
    };
    let json = |price: &str, updated: &str| {
        format!(
            "{{\"list\": [{{\"id\": \"1\", \"title\": \"Norvant Tern 7\", \
             \"mpn\": \"NV-8810/16G\", \"price\": \"{price}\"}}], \
             \"made\": {{\"at\": \"{updated}\"}}}}"
        )
    };
    // A query with a filter reads the document whole, any other reads it as it comes.
    let by_query = |records: &str| {
        format!(
            "format = \"json\"\nrecords = \"{records}\"\nupdated = \"$.made.at\"\n{fields}\
             sku = \"id\"\ntitle = \"title\"\n"
        )
    };
    for (format, new, old) in [
        (
            by_query("$.list[*]"),
            json("489.00 EUR", "2026-06-15T11:55:00Z"),
            json("519.00 EUR", "2026-06-15T11:00:00Z"),
        ),
        (
            by_query("$.list[?@.id]"),
            json("489.00 EUR", "2026-06-15T11:55:00Z"),
            json("519.00 EUR", "2026-06-15T11:00:00Z"),
        ),
        (
            format!("format = \"rss\"\n{fields}"),
            rss("489.00 EUR", "Mon, 15 Jun 2026 13:55:00 +0200"),
            rss("519.00 EUR", "Mon, 15 Jun 2026 11:00:00 GMT"),
        ),
        (
            format!("format = \"atom\"\n{fields}"),
            atom("489.00 EUR", "2026-06-15T11:55:00Z"),
            atom("519.00 EUR", "2026-06-15T11:00:00Z"),
        ),
        (
            format!(
                "format = \"xml\"\nrecords = \"part\"\nupdated = \"made/at\"\n{fields}\
                 sku = \"id\"\ntitle = \"title\"\n"
            ),
            shop("489.00 EUR", "2026-06-15T11:55:00Z"),
            shop("519.00 EUR", "2026-06-15T11:00:00Z"),
        ),
    ] {
        let name = format.clone();
        // The servers' own dates say the opposite and do not count.
        let server = Server::start(move |seen| match seen.nth {
            0 => answer(
                200,
                &[("Last-Modified", "Mon, 15 Jun 2026 09:00:00 GMT")],
                &new,
            ),
            _ => answer(
                200,
                &[("Last-Modified", "Mon, 15 Jun 2026 11:59:00 GMT")],
                &old,
            ),
        })
        .await;
        let configuration = configuration(&server.url("/all"), &format);
        let polls = polls(configuration, &EVERY_HOUR[..2]).await;
        assert_eq!(statuses(&polls), ["fresh", "unchanged"], "{name}");
        assert_eq!(newest(&polls[1]), (48_900, EVERY_HOUR[0]), "{name}");
    }
}

// A shop that restores yesterday's list means it: it is not refused for ever.
#[tokio::test]
async fn an_older_document_that_stays_is_believed() {
    let server = Server::start(|seen| match seen.nth {
        0 => csv("489,00", "Mon, 15 Jun 2026 11:55:00 GMT"),
        _ => csv("519,00", "Mon, 15 Jun 2026 09:00:00 GMT"),
    })
    .await;
    let configuration = configuration(&server.url("/all"), CSV);
    let polls = polls(configuration, &EVERY_HOUR[..4]).await;
    // `confirm_polls` is 2.
    let expected = ["fresh", "unchanged", "unchanged", "fresh"];
    assert_eq!(statuses(&polls), expected);
    assert_eq!(newest(&polls[2]), (48_900, EVERY_HOUR[0]));
    assert_eq!(newest(&polls[3]), (51_900, EVERY_HOUR[3]));
}

// RFC 9110 section 8.8.3.2, table 3, by the weak comparison that If-None-Match asks for (13.1.2).
// A server compares; the program's part is to send the tag so that the comparison comes out right,
// and to send both validators, of which the date then does not count (13.1.3).
#[tokio::test]
async fn a_tag_that_a_server_compares_weakly_is_unchanged() {
    const MODIFIED: &str = "Mon, 15 Jun 2026 09:00:00 GMT";
    for (known, current, is_match) in [
        ("W/\"1\"", "W/\"1\"", true),
        ("W/\"1\"", "W/\"2\"", false),
        ("W/\"1\"", "\"1\"", true),
        ("\"1\"", "\"1\"", true),
    ] {
        let server = Server::start(move |seen| {
            let opaque = |tag: &str| tag.trim_start_matches("W/").to_owned();
            let condition = seen.header("if-none-match").map(opaque);
            let tag = if seen.nth == 0 { known } else { current };
            let headers = [("ETag", tag), ("Last-Modified", MODIFIED)];
            match condition {
                Some(condition) if condition == opaque(current) => answer(304, &headers, ""),
                _ => answer(200, &headers, format!("a;b\n{};2\n", seen.nth)),
            }
        })
        .await;
        let (url, fetcher) = (server.url("/feed"), fetcher());
        let access = access(&url, "");
        let first = fresh(fetch(&fetcher, &access, &url).await);
        let again = fetch_known(&fetcher, &access, &url, Some(&first.validators)).await;
        let is_unchanged = matches!(again, Outcome::Unchanged { .. });
        assert_eq!(is_unchanged, is_match, "{known} and {current}");
        let sent = &server.seen()[1];
        assert_eq!(sent.header("if-none-match"), Some(known));
        assert_eq!(sent.header("if-modified-since"), Some(MODIFIED));
    }
}
