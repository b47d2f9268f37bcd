//! Checks against published tests and worked examples of standards.

use crate::feeds::decode::json_path::Path;
use serde_json::Value;
use std::path::PathBuf;

/// The checked copies of others' data beside the checkout; `RIGTIDE_FACTS` names another place.
fn facts(file: &str) -> Option<String> {
    let beside = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("../shared/facts");
    let folder = std::env::var_os("RIGTIDE_FACTS").map_or(beside, PathBuf::from);
    match std::fs::read_to_string(folder.join(file)) {
        Ok(text) => Some(text),
        Err(error) => {
            let is_required = std::env::var_os("CI").is_some_and(|ci| ci == "true");
            assert!(!is_required, "cannot read {file}: {error}");
            println!("skipped: cannot read {file}: {error}");
            None
        }
    }
}

#[test]
fn jsonpath_agrees_with_the_compliance_suite() {
    // A subset of the JSONPath Compliance Test Suite (github.com/jsonpath-standard, BSD-2-Clause).
    let Some(cases) = facts("jsonpath_cts_subset.jsonl") else {
        return;
    };
    let (mut n_valid, mut n_invalid, mut n_streamed) = (0, 0, 0);
    for line in cases.lines().filter(|line| !line.trim().is_empty()) {
        let case: Value = serde_json::from_str(line).unwrap();
        let (name, selector) = (&case["name"], case["selector"].as_str().unwrap());
        let path = Path::parse_query(selector);
        if case["invalid"] == true {
            n_invalid += 1;
            assert!(path.is_err(), "{name}: {selector}");
            continue;
        }
        n_valid += 1;
        let path = path.unwrap_or_else(|error| panic!("{name}: {error}"));
        n_streamed += usize::from(matches!(path, Path::Steps(_)));
        let found: Vec<Value> = path.find(&case["document"]).into_iter().cloned().collect();
        let results = case["results"].as_array().unwrap();
        assert!(
            results.contains(&Value::Array(found.clone())),
            "{name}: {selector}: {found:?}"
        );
    }
    assert!(
        n_valid > 100 && n_invalid > 50 && n_streamed > 10,
        "{n_valid} {n_invalid} {n_streamed}"
    );
}

#[test]
fn the_bookstore_of_rfc_9535_answers_as_printed() {
    // RFC 9535 section 1.5, figure 1 and table 2 (abridged).
    let store: Value = serde_json::from_str(
        r#"{"store":{"book":[
            {"category":"reference","author":"Nigel Rees","title":"Sayings of the Century","price":8.95},
            {"category":"fiction","author":"Evelyn Waugh","title":"Sword of Honour","price":12.99},
            {"category":"fiction","author":"Herman Melville","title":"Moby Dick","isbn":"0-553-21311-3","price":8.99},
            {"category":"fiction","author":"J. R. R. Tolkien","title":"The Lord of the Rings","isbn":"0-395-19395-8","price":22.99}],
            "bicycle":{"color":"red","price":399}}}"#,
    )
    .unwrap();
    for (query, expected) in [
        ("$.store.book[*].title", 4),
        ("$..author", 4),
        ("$.store..price", 5),
        ("$..book[2].title", 1),
        ("$..book[-1]", 1),
        ("$..book[:2]", 2),
        ("$..book[?@.isbn]", 2),
        ("$..book[?@.price<10]", 2),
        ("$.store['book'][0].price", 1),
    ] {
        let found = Path::parse_query(query).unwrap().find(&store).len();
        assert_eq!(found, expected, "{query}");
    }
}
