//! What a shop may write into its feed, over everything that the page shows: it stays a text.

use crate::support::daemon::Daemon;
use crate::support::guides::{Guides, run, text};
use crate::support::web::{address, get, header, status, with_web};
use std::fs;

/// A script, a picture that acts, text that runs backwards (U+202E), and more of it than fits.
fn hostile() -> [String; 4] {
    [
        "<script>alert(1)</script>\"'><img src=x onerror=alert(2)>".to_owned(),
        "<svg/onload=alert(3)><a href=\"javascript:alert(4)\">Fjell</a>".to_owned(),
        "Fjell \u{202e}62 gnirts &lt;b&gt; </title></textarea><b>\u{202e}".to_owned(),
        format!("<i>{}</i>", "Fjell <b>26</b> ".repeat(10_000 / 16)),
    ]
}

/// Each title on an offer that is a part by its numbers, and on one that is none.
fn guides() -> Guides {
    let guides = Guides::new();
    let path = guides.directory.join("retailers/example-offers.csv");
    let mut rows = fs::read_to_string(&path).unwrap();
    if !rows.ends_with('\n') {
        rows.push('\n');
    }
    for (number, title) in hostile().iter().enumerate() {
        let title = title.replace('"', "\"\"");
        rows.push_str(&format!(
            "BAD-{number},\"{title}\",Askerune,9520009000012,ASK-F26-BX,18{number}.50,in stock\n\
             WORSE-{number},\"Askerune {title}\",\"{title}\",,,19{number}.50,in stock\n"
        ));
    }
    fs::write(path, rows).unwrap();
    guides
}

const PAGES: [&str; 24] = [
    "/",
    "/brief/example",
    "/brief/example?budget=880.00&ban=askerune-fjell-26",
    "/brief/example/entries",
    "/brief/example/entries/processor",
    "/brief/example/alternatives",
    "/brief/example/why/askerune-fjell-26",
    "/brief/example/guide",
    "/brief/example/guide/html",
    "/brief/example/save?budget=880.00",
    "/parts",
    "/parts?q=%3Cscript%3Ealert(1)%3C/script%3E%E2%80%AE",
    "/part/askerune-fjell-26",
    "/feeds",
    "/feed/example/export",
    "/try/feed/example/export",
    "/matching",
    "/journal",
    "/journal?kind=%3Cscript%3Ealert(1)%3C/script%3E",
    "/outbox",
    "/outbox?state=all",
    "/brief/%3Cscript%3Ealert(1)%3C%2Fscript%3E",
    "/part/%22%3E%3Csvg%20onload=alert(1)%3E",
    "/%3Cscript%3Ealert(1)%3C/script%3E",
];

#[test]
fn what_a_shop_writes_stays_a_text_on_every_page() {
    let guides = guides();
    with_web(&guides, "listen = \"127.0.0.1:0\"");
    let polled = run(&guides.directory, &["poll"]);
    assert!(polled.status.success(), "{}", text(&polled.stderr));
    let daemon = Daemon::start(&guides.directory);
    let address = address(&daemon);
    let mut shown = Vec::new();
    for path in PAGES {
        let (head, body) = get(&address, path);
        assert!([200, 400, 404].contains(&status(&head)), "{path}: {head}");
        assert!(
            header(&head, "content-type")
                .unwrap()
                .starts_with("text/html"),
            "{path}"
        );
        let policy = header(&head, "content-security-policy").unwrap();
        assert!(policy.starts_with("default-src 'none'"), "{path}: {policy}");
        holds_no_markup_of_others(path, &body);
        if body.contains("&lt;script&gt;alert(1)") {
            shown.push(path);
        }
    }
    // There is something to hold: the offers of a part, how a feed is read, and what was asked for.
    for path in ["/part/askerune-fjell-26", "/try/feed/example/export"] {
        assert!(shown.contains(&path), "{path} is not among {shown:?}");
    }
}

fn holds_no_markup_of_others(path: &str, body: &str) {
    for raw in [
        "<script>",
        "<svg/onload",
        "<svg onload",
        "<img src=x",
        "=\"javascript:",
        "<b>26</b>",
        "<i>Fjell",
    ] {
        assert!(!body.contains(raw), "{path} has {raw}");
    }
    for (at, _) in body.match_indices("<script") {
        let tag = &body[at..at + body[at..].find('>').unwrap()];
        // What the guide says of itself as data (JSON-LD) is no script that runs.
        let is_data = path.contains("/guide") && tag == "<script type=\"application/ld+json\"";
        assert!(is_data || tag.contains(" src=\"/assets/"), "{path}: {tag}");
    }
    // Handlers in attributes are scripts too; none of ours has any.
    for tag in body
        .split('<')
        .skip(1)
        .filter_map(|rest| rest.split('>').next())
    {
        let names = tag.split('"').step_by(2).flat_map(str::split_whitespace);
        let acts = names.filter(|name| name.starts_with("on") && name.ends_with('='));
        assert_eq!(acts.count(), 0, "{path}: <{tag}>");
    }
    // Unicode Bidirectional Algorithm (UAX #9), 3.1.3: what runs backwards ends with its isolate.
    let mut rest = body;
    let mut outside = String::new();
    while let Some((before, after)) = rest.split_once("<bdi") {
        outside.push_str(before);
        rest = after.split_once("</bdi>").unwrap().1;
    }
    outside.push_str(rest);
    let mut within_tag = false;
    let mut last = String::new();
    for character in outside.chars() {
        match character {
            '<' => within_tag = true,
            '>' => within_tag = false,
            '\u{202e}' if !within_tag => panic!("{path} turns around after {last}"),
            _ => last.push(character),
        }
        if last.chars().count() > 60 {
            last.remove(0);
        }
    }
}

#[test]
fn what_a_shop_writes_is_json_to_programs() {
    let guides = guides();
    with_web(&guides, "listen = \"127.0.0.1:0\"");
    run(&guides.directory, &["poll"]);
    let daemon = Daemon::start(&guides.directory);
    let address = address(&daemon);
    let mut found = Vec::new();
    for path in [
        "/api/v1/questions",
        "/api/v1/parts/askerune-fjell-26",
        "/api/v1/feeds/example/export",
    ] {
        let (head, body) = get(&address, path);
        assert_eq!(
            (status(&head), header(&head, "content-type")),
            (200, Some("application/json")),
            "{path}"
        );
        assert_eq!(header(&head, "x-content-type-options"), Some("nosniff"));
        serde_json::from_str::<serde_json::Value>(&body).unwrap();
        found.push(body.contains("<script>alert(1)</script>"));
    }
    assert!(found.contains(&true), "no title came through: {found:?}");
}
