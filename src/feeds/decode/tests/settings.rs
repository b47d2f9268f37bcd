//! What a feed's table may say of its format.

use super::support::{read_settings, run_in};
use crate::feeds::decode::{Context, FORMATS, decode_links};

fn faults(toml: &str) -> Vec<String> {
    let faults = read_settings(toml).unwrap_err();
    faults.iter().map(|fault| fault.to_string()).collect()
}

fn check(toml: &str, expected: &str) {
    let found = faults(toml);
    assert!(
        found.iter().any(|fault| fault.contains(expected)),
        "{found:?}"
    );
}

#[test]
fn every_format_has_its_own_name() {
    let mut names: Vec<&str> = FORMATS.iter().map(|format| format.name()).collect();
    let listed = names.clone();
    names.sort_unstable();
    names.dedup();
    assert_eq!(names, listed, "sorted, and none twice");
    assert!(FORMATS.iter().all(|format| !format.reads().is_empty()));
}

#[test]
fn wrong_settings_are_named_with_their_place_and_remedy() {
    check(
        "format = \"jsn\"\n",
        "1:10: unknown format \"jsn\"; did you mean \"json\"?",
    );
    check("format = \"csv\"\n", "`fields` is missing");
    check(
        "format = \"csv\"\n[fields]\nprise = \"x\"\n",
        "3:1: unknown key `prise`; did you mean `price`?",
    );
    check(
        "format = \"csv\"\ndelimiter = \"ab\"\n[fields]\nsku = \"x\"\n",
        "2:13: `delimiter` is \"ab\"",
    );
    check(
        "format = \"csv\"\nheader = false\n[fields]\nsku = \"x\"\n",
        "4:7: \"x\" names a column",
    );
    check(
        "format = \"csv\"\n[fields]\nsku = \"#0\"\n",
        "the first is #1",
    );
    check(
        "format = \"json\"\nrecords = \"$.a[\"\n[fields]\nsku = \"x\"\n",
        "2:11: \"$.a[\" is not a JSONPath",
    );
    check(
        "format = \"json\"\n[fields]\nsku = \"a[0]\"\n",
        "a JSONPath starts with $",
    );
}

#[test]
fn wrong_rules_of_a_field_are_named() {
    check(
        "format = \"json\"\n[fields]\nsku = { pattern = \"x\" }\n",
        "needs either `select` or `always`",
    );
    check(
        "format = \"json\"\n[fields]\nsku = { select = \"a\", pattern = \"(\" }\n",
        "not a regular expression",
    );
    check(
        "format = \"json\"\n[fields]\nsku = { select = \"a\", written_for = \"me\" }\n",
        "`written_for` is \"me\"",
    );
    check(
        "format = \"xml\"\n[fields]\nsku = \"a\"\n",
        "`records` is missing",
    );
    check(
        "format = \"xml\"\nrecords = \"a b\"\n[fields]\nsku = \"a\"\n",
        "\"a b\" is not the name",
    );
    check(
        "format = \"html\"\n[fields]\nprice = \"p[\"\n",
        "is not a CSS selector",
    );
    check(
        "format = \"html\"\nstructured_data = \"ld\"\n",
        "unknown structured data \"ld\"",
    );
    check(
        "format = \"html\"\nstructured_data = []\n",
        "`fields` is missing",
    );
    check(
        "format = \"csv\"\nencoding = \"latin-99\"\n[fields]\nsku = \"a\"\n",
        "unknown encoding \"latin-99\"",
    );
}

#[test]
fn a_page_without_mapping_is_fully_configured() {
    assert!(read_settings("format = \"html\"\n").is_ok());
}

#[test]
fn links_of_an_index_are_completed_and_kept_once() {
    let settings = read_settings("format = \"html\"\nlinks = \"a.part\"\n").unwrap();
    assert!(settings.reads_links());
    let page = "<a class=part href='/p/1'>1</a><a href='/about'>x</a><a class=part href='p/2#top'>2</a>\
                <a class=part href='https://shop.example/p/1'>again</a><a class=part>none</a>";
    let context = Context {
        address: Some("https://shop.example/list/all"),
        ..Context::default()
    };
    let links = decode_links(&settings, &mut page.as_bytes(), &context).unwrap();
    assert_eq!(
        links,
        ["https://shop.example/p/1", "https://shop.example/list/p/2"]
    );
    let none = decode_links(&settings, &mut &b"<p>sold out</p>"[..], &context);
    assert_eq!(none.unwrap_err().code(), "no-data");
}

#[test]
fn reading_stops_when_the_receiver_does() {
    let settings = read_settings("format = \"csv\"\n[fields]\nsku = \"id\"\n").unwrap();
    let mut n_records = 0;
    let mut sink = |_| {
        n_records += 1;
        std::ops::ControlFlow::Break(())
    };
    let body = "id\n1\n2\n3\n";
    let result = crate::feeds::decode::decode(
        &settings,
        &mut body.as_bytes(),
        &Context::default(),
        &mut sink,
    );
    assert_eq!(result.unwrap_err().code(), "stopped");
    assert_eq!(n_records, 1);
}

#[test]
fn relative_links_are_completed_with_the_address_of_the_feed() {
    use crate::market::Field;
    let context = Context {
        address: Some("https://shop.example/feeds/all.csv"),
        ..Context::default()
    };
    let toml = "format = \"csv\"\n[fields]\nlink = \"url\"\n";
    let body = "url\n/p/1\nhttps://other.example/2\nmailto:x@y.example\n";
    let decoded = run_in(toml, body, &context).unwrap();
    assert_eq!(
        decoded.column(Field::Link),
        [
            "https://shop.example/p/1",
            "https://other.example/2",
            "mailto:x@y.example"
        ]
    );
}
