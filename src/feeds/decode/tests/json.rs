//! JSON documents and lines of JSON.

use super::support::{all, run, text};
use crate::market::{Field, Origin};

const NESTED: &str = "format = \"json\"\nrecords = \"$.products[*]\"\n[fields]\nsku = \"id\"\ntitle = \"name\"\nprice = \"price.amount\"\ncurrency = \"price.currency\"\n";

#[test]
fn arrays_nested_lists_and_lines_are_read_by_their_path() {
    // F32.
    let record = r#"{"id":"1","name":"Fan","price":{"amount":1299.00,"currency":"EUR"}}"#;
    let flat = NESTED.replace("records = \"$.products[*]\"\n", "");
    let lines = flat.replace("\"json\"", "\"ndjson\"");
    for (toml, body) in [
        (NESTED, format!("{{\"total\":1,\"products\":[{record}]}}")),
        (&flat, format!("[{record}]")),
        (&lines, format!("{record}\n\n{record}\r\n")),
        // A filter needs the whole document, and gives the same.
        (
            &NESTED.replace("[*]", "[?@.id == '1']"),
            format!("{{\"products\":[{record}, {{\"id\":\"2\"}}]}}"),
        ),
    ] {
        let decoded = run(toml, &body).unwrap();
        let price = decoded.offers[0].first(Field::Price).unwrap();
        // The number's own text: 1299.00 is not 1299.
        assert_eq!(
            (price.text.as_str(), price.origin),
            ("1299.00", Origin::Machine)
        );
        assert_eq!(decoded.column(Field::Currency)[0], "EUR");
    }
}

#[test]
fn members_that_nobody_reads_change_nothing() {
    // RFC 8259 section 4: names are texts, so an escape in one changes nothing; of two members
    // of one name the last is kept, as most readers do.
    let plain = r#"{"id":"1","name":"Fan","price":{"amount":12.50,"currency":"EUR"}}"#;
    let odd = r#"{"text":"{\"id\":9}","id":"0","tags":[{"id":[8]},null,1e9],"n\u0061me":"Fan",
        "price":{"x":{},"amount":12.50,"currency":"EUR"},"id":"1","amount":7}"#;
    let body =
        format!("{{\"products\":[{plain},{odd},17,-3,1.5,1e99,[1],null,\"text\",true,{plain}]}}");
    let toml = format!("rejects_percent_max = 100\n{NESTED}");
    let decoded = run(&toml, body).unwrap();
    let [first, others @ ..] = decoded.offers.as_slice() else {
        panic!("{decoded:?}");
    };
    assert_eq!(others.len(), 2);
    assert!(others.iter().all(|other| other.fields == first.fields));
    // What is no object has no members.
    assert_eq!(decoded.rejects.len(), 8);
}

#[test]
fn numbers_keep_every_digit() {
    // F33 and P35: no float on the way.
    let toml = "format = \"json\"\n[fields]\nsku = \"s\"\nprice = \"p\"\n";
    for number in [
        "19.99",
        "129990",
        "0.1000",
        "123456789012345678901234567890.12",
        "-0",
    ] {
        let decoded = run(toml, format!("[{{\"s\":1,\"p\":{number}}}]")).unwrap();
        assert_eq!(decoded.column(Field::Price), [number]);
    }
}

#[test]
fn texts_are_for_people_unless_the_settings_say_otherwise() {
    let body = r#"[{"s":1,"p":"1.299"}]"#;
    for (rule, origin) in [
        ("price = \"p\"", Origin::Person),
        (
            "price = { select = \"p\", written_for = \"programs\" }",
            Origin::Machine,
        ),
    ] {
        let toml = format!("format = \"json\"\n[fields]\nsku = \"s\"\n{rule}\n");
        let decoded = run(&toml, body).unwrap();
        assert_eq!(decoded.only().first(Field::Price).unwrap().origin, origin);
    }
}

#[test]
fn a_page_in_place_of_json_fails_the_poll() {
    // H06.
    let fault = run(
        NESTED,
        "<!doctype html>\n<html><title>Log in</title></html>",
    )
    .unwrap_err();
    assert_eq!(fault.to_string(), "expected JSON, found an HTML page");
}

#[test]
fn a_document_cut_off_or_damaged_fails_the_poll() {
    // F21's rule for JSON.
    for (body, code) in [
        ("{\"products\":[{\"id\":1},{\"id\":2", "body-truncated"),
        ("{\"products\":[{\"id\":1}]", "body-truncated"),
        ("{\"products\":[{\"id\":1},,]}", "syntax"),
        ("{\"products\":[{\"id\":1}]} x", "syntax"),
        ("", "no-data"),
    ] {
        assert_eq!(run(NESTED, body).unwrap_err().code(), code, "{body}");
    }
}

#[test]
fn an_empty_list_is_told_from_a_missing_one() {
    let fault = run(NESTED, "{\"products\":[],\"total\":0}").unwrap_err();
    assert_eq!(fault.code(), "no-data");
    let fault = run(NESTED, "{\"items\":[{\"id\":1}],\"total\":1}").unwrap_err();
    assert_eq!(
        fault.to_string(),
        "no records at $.products[*]; found an object with items, total"
    );
}

#[test]
fn a_renamed_member_fails_the_poll_and_is_named() {
    // F36's rule for JSON.
    let toml = "format = \"json\"\n[fields]\nsku = \"id\"\nprice = \"price\"\n";
    let body = format!("[{}]", [r#"{"id":1,"price_eur":5}"#; 3].join(","));
    assert_eq!(
        run(toml, body).unwrap_err().to_string(),
        "`price` was found in none of 3 records at \"price\", did you mean \"price_eur\"?; \
         the first record has: id, price_eur"
    );
    // A price that is there and says nothing is another matter.
    let body = format!("[{}]", [r#"{"id":1,"price":null}"#; 3].join(","));
    assert_eq!(run(toml, body).unwrap().offers.len(), 3);
}

#[test]
fn one_bad_line_never_loses_its_neighbours() {
    let toml = "format = \"ndjson\"\n[fields]\nsku = \"id\"\n";
    let decoded = run(toml, "{\"id\":1}\n{\"id\":2,}\n\n{\"id\":3}\n{}\n").unwrap();
    assert_eq!(decoded.column(Field::Sku), ["1", "3"]);
    let reasons: Vec<(u64, &str)> = decoded
        .rejects
        .iter()
        .map(|reject| (reject.index, reject.reason.as_str()))
        .collect();
    assert_eq!(reasons[0].0, 2);
    assert!(
        reasons[0].1.starts_with("not JSON at column 9"),
        "{reasons:?}"
    );
    assert_eq!(
        reasons[1],
        (4, "none of the mapped fields is in this record")
    );
    let fault = run(toml, "{\"id\":1}\n{\"id\":2").unwrap_err();
    assert_eq!(fault.code(), "body-truncated");
}

#[test]
fn variants_become_records_and_can_read_around_themselves() {
    // F30: the group's number is a field of its own.
    let toml = "format = \"json\"\nvariants = \"variants\"\n[fields]\nsku = \"sku\"\nprice = \"price\"\ntitle = [\"^.name\"]\ngroup_id = \"^.id\"\n";
    let body = r#"[{"id":"G1","name":"Kit","price":1,"variants":[{"sku":"a","price":189},{"sku":"b","price":329}]},
                   {"id":"G2","name":"Fan","sku":"c","price":9,"variants":[]}]"#;
    let decoded = run(toml, body).unwrap();
    assert_eq!(decoded.column(Field::Sku), ["a", "b", "c"]);
    assert_eq!(decoded.column(Field::Price), ["189", "329", "9"]);
    assert_eq!(decoded.column(Field::Title), ["Kit", "Kit", "Fan"]);
    assert_eq!(decoded.column(Field::GroupId), ["G1", "G1", "G2"]);
}

#[test]
fn one_of_several_prices_is_chosen_by_a_query() {
    let toml = "format = \"json\"\n[fields]\nsku = \"id\"\nprice = \"$.prices[?@.kind == 'gross'].amount\"\ngtin = \"codes\"\ntitle = \"names.0\"\n";
    let body = r#"[{"id":7,"prices":[{"kind":"net","amount":100},{"kind":"gross","amount":119.00}],
                    "codes":["4006588234017",71588234019],"names":["Fan"]}]"#;
    let decoded = run(toml, body).unwrap();
    assert_eq!(text(decoded.only(), Field::Price), "119.00");
    assert_eq!(
        all(decoded.only(), Field::Gtin),
        ["4006588234017", "71588234019"]
    );
    assert_eq!(text(decoded.only(), Field::Title), "Fan");
}

#[test]
fn the_next_page_is_found_before_or_behind_the_records() {
    let toml = format!("next_page = \"$.links.next\"\n{NESTED}");
    let list = "\"products\":[{\"id\":1}]";
    let next = "\"links\":{\"next\":\"/page/2\"}";
    for body in [format!("{{{list},{next}}}"), format!("{{{next},{list}}}")] {
        let decoded = run(&toml, &body).unwrap();
        assert_eq!(decoded.summary.next_page.as_deref(), Some("/page/2"));
    }
    let last = run(&toml, format!("{{{list},\"links\":{{\"next\":null}}}}")).unwrap();
    assert_eq!(last.summary.next_page, None);
}
