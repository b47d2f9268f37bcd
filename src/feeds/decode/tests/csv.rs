//! CSV as shops export it: delimiters, quotes, damage.

use super::support::{run, text};
use crate::feeds::decode::DecodeFault;
use crate::market::{Field, Origin};

const PLAIN: &str = "format = \"csv\"\ndelimiter = \";\"\n[fields]\nsku = \"id\"\ntitle = \"title\"\nprice = \"price\"\n";

fn comma(fields: &str) -> String {
    format!("format = \"csv\"\ndelimiter = \",\"\n[fields]\n{fields}\n")
}

#[test]
fn a_byte_order_mark_is_not_part_of_the_first_column() {
    // F01, plain and before a quoted header.
    for header in ["id;title;price", "\"id\";title;price"] {
        let body = format!("\u{feff}{header}\n12;Board;129,90\n");
        let decoded = run(PLAIN, body).unwrap();
        assert_eq!(decoded.column(Field::Sku), ["12"]);
    }
}

#[test]
fn semicolons_divide_and_decimal_commas_stay() {
    // F02. The cell is text for people, letter for letter.
    let decoded = run(PLAIN, "id;title;price\n12;Board;129,90\n").unwrap();
    let price = decoded.only().first(Field::Price).unwrap();
    assert_eq!(
        (price.text.as_str(), price.origin),
        ("129,90", Origin::Person)
    );
    assert_eq!(decoded.only().index, 1);
}

#[test]
fn another_delimiter_than_configured_is_named() {
    // F03.
    let toml = comma("sku = \"id\"\nprice = \"price\"");
    let fault = run(&toml, "id;title;price\n12;Board;129,90\n").unwrap_err();
    let DecodeFault::Delimiter { configured, found } = &fault else {
        panic!("{fault}");
    };
    assert_eq!((configured.as_str(), found.as_str()), ("\",\"", "\";\""));
}

#[test]
fn a_separator_line_is_obeyed_and_skipped() {
    // F04; also quoted, and against the configured delimiter.
    for first in ["sep=|", "\"sep=|\"", "SEP=|"] {
        let decoded = run(PLAIN, format!("{first}\r\nid|title|price\r\n1|Fan|9\r\n")).unwrap();
        assert_eq!(decoded.column(Field::Title), ["Fan"]);
    }
}

#[test]
fn an_inch_mark_in_an_unquoted_field_is_literal() {
    // F05.
    let body = "id;title;price\n7;Panel 27\" curved;399,00\n8;Panel 24\";299,00\n9;Desk;1\n";
    let decoded = run(PLAIN, body).unwrap();
    let titles = decoded.column(Field::Title);
    assert_eq!(titles, ["Panel 27\" curved", "Panel 24\"", "Desk"]);
}

#[test]
fn a_quote_that_is_never_closed_costs_one_row() {
    // F05: the field begins with the stray quote, so it looks like a quoted one.
    let body = "id;title;price\n1;Fan;9\n2;\"Panel curved;399\n3;Desk;5\n4;Lamp;6\n";
    let decoded = run(PLAIN, body).unwrap();
    assert_eq!(decoded.column(Field::Sku), ["1", "3", "4"]);
    assert_eq!(decoded.rejects.len(), 1);
    assert!(decoded.rejects[0].reason.contains("never closed"));
}

#[test]
fn doubled_quotes_and_line_ends_inside_quotes_are_one_record() {
    // F06; RFC 4180 section 2 rules 5 to 7.
    let body = "id;title;price\r\n1;\"Panel 27\"\" curved\";9\n2;\"two\r\nlines\";8\r\n3;\"a;b\";7";
    let decoded = run(PLAIN, body).unwrap();
    let titles = decoded.column(Field::Title);
    assert_eq!(titles, ["Panel 27\" curved", "two\r\nlines", "a;b"]);
}

#[test]
fn the_examples_of_rfc_4180_read_as_it_says() {
    // RFC 4180 section 2, rules 1, 2, 5, 6 and 7, with a header to name the columns.
    let toml = comma("sku = \"f1\"\ntitle = \"f2\"\nprice = \"f3\"");
    for (row, expected) in [
        ("aaa,bbb,ccc\r\n", ["aaa", "bbb", "ccc"]),
        ("zzz,yyy,xxx", ["zzz", "yyy", "xxx"]),
        ("\"aaa\",\"bbb\",\"ccc\"\r\n", ["aaa", "bbb", "ccc"]),
        ("\"aaa\",\"b\r\nbb\",\"ccc\"\r\n", ["aaa", "b\r\nbb", "ccc"]),
        ("\"aaa\",\"b\"\"bb\",\"ccc\"", ["aaa", "b\"bb", "ccc"]),
    ] {
        let decoded = run(&toml, format!("f1,f2,f3\r\n{row}")).unwrap();
        let offer = decoded.only();
        let fields = [Field::Sku, Field::Title, Field::Price].map(|field| text(offer, field));
        assert_eq!(fields, expected, "{row:?}");
    }
}

#[test]
fn rows_with_a_wrong_number_of_fields_are_rejected_and_counted() {
    // F07.
    let mut body = "id;title;price\n".to_owned();
    for row in 0..40 {
        body += &format!("{row};Part;9\n");
    }
    body += "41;Part\n42;Part;9;extra\n43;Part;9;\n";
    let decoded = run(PLAIN, &body).unwrap();
    assert_eq!((decoded.offers.len(), decoded.rejects.len()), (41, 2));
    assert_eq!(decoded.rejects[0].index, 41);
    assert_eq!(decoded.rejects[0].reason, "2 fields instead of 3");
}

#[test]
fn too_large_a_share_of_bad_rows_fails_the_poll() {
    // F07.
    let body = "id;title;price\n".to_owned() + &"1;Part;9\n".repeat(10) + &"2;Part\n".repeat(10);
    let fault = run(PLAIN, &body).unwrap_err();
    assert!(matches!(
        fault,
        DecodeFault::TooManyRejects {
            rejected: 10,
            records: 20,
            ..
        }
    ));
    let tolerant = format!("rejects_percent_max = 50\n{PLAIN}");
    assert_eq!(run(&tolerant, &body).unwrap().summary.rejected, 10);
}

#[test]
fn a_header_without_rows_fails_the_poll() {
    // F29.
    for body in ["id;title;price\r\n", "id;title;price\r\n\r\n;;\r\n"] {
        let fault = run(PLAIN, body).unwrap_err();
        assert_eq!(fault.code(), "no-data", "{body:?}");
    }
}

#[test]
fn a_renamed_column_fails_the_poll_and_is_named() {
    // F36.
    let fault = run(PLAIN, "id;title;price_eur\n1;Fan;9\n").unwrap_err();
    assert_eq!(
        fault.to_string(),
        "no column \"price\", did you mean \"price_eur\"?; the header has: id, title, price_eur"
    );
}

#[test]
fn column_names_are_trimmed_and_folded() {
    // F37.
    let decoded = run(PLAIN, "ID;Title;Price\u{a0}\n1;Fan;9\n").unwrap();
    assert_eq!(decoded.column(Field::Price), ["9"]);
}

#[test]
fn zero_bytes_and_the_old_end_mark_are_dropped_and_noted() {
    // F38.
    let decoded = run(PLAIN, b"id;title;price\n1;F\0an;9\n\x1A").unwrap();
    assert_eq!(decoded.column(Field::Title), ["Fan"]);
    assert!(decoded.has_note("2 control characters"));
}

#[test]
fn backslash_escapes_are_an_option_and_never_merge_rows() {
    // F40.
    let body =
        "id;title;price\n1;\"A \\\"B\\\" C\";5\n2;\"D \\\"E\\\"\nF\";6\n3;G;7\n4;H;8\n5;I;8\n";
    let escaped = format!("escape = '\\'\n{PLAIN}");
    let decoded = run(&escaped, body).unwrap();
    assert_eq!(
        decoded.column(Field::Title)[..2],
        ["A \"B\" C", "D \"E\"\nF"]
    );
    let plain = run(PLAIN, body).unwrap();
    assert_eq!(plain.column(Field::Sku), ["1", "3", "4", "5"]);
    assert_eq!(plain.rejects.len(), 2);
}

#[test]
fn a_body_cut_off_in_its_last_row_fails_the_poll() {
    // H16: where the connection's end is the body's end, only the text tells.
    for body in [
        "id;title;price\n1;Fan;9\n2;Bo",
        "id;title;price\n1;Fan;9\n2;\"Boa",
    ] {
        assert_eq!(
            run(PLAIN, body).unwrap_err().code(),
            "body-truncated",
            "{body:?}"
        );
    }
}

#[test]
fn a_page_in_place_of_rows_fails_the_poll() {
    // H06.
    let body = "\n<!DOCTYPE html><html><body>Please wait</body></html>";
    assert_eq!(run(PLAIN, body).unwrap_err().code(), "other-format");
}

#[test]
fn columns_can_be_numbered_and_the_delimiter_found() {
    let toml = "format = \"csv\"\nheader = false\n[fields]\nsku = \"#1\"\nprice = \"#3\"\n";
    for delimiter in [";", "\t", "|", ","] {
        let body = ["12", "Board, black; new", "129.90"].map(|cell| format!("\"{cell}\""));
        let decoded = run(toml, body.join(delimiter)).unwrap();
        assert_eq!(decoded.column(Field::Price), ["129.90"], "{delimiter:?}");
    }
}

#[test]
fn several_places_constants_and_patterns_fill_fields() {
    let toml = comma(
        "sku = \"id\"\ngtin = [\"ean\", \"upc\"]\ncondition = { always = \"used\" }\nprice = { select = \"text\", pattern = 'EUR ([0-9.]+)' }",
    );
    let decoded = run(
        &toml,
        "id,ean,upc,text\n1,4006588234017,071588234019,now EUR 12.50 only\n",
    )
    .unwrap();
    let offer = decoded.only();
    assert_eq!(
        super::support::all(offer, Field::Gtin),
        ["4006588234017", "071588234019"]
    );
    assert_eq!(text(offer, Field::Condition), "used");
    assert_eq!(text(offer, Field::Price), "12.50");
}

#[test]
fn lines_may_end_with_a_carriage_return_alone() {
    let decoded = run(PLAIN, "id;title;price\r1;Fan;9\r2;Lamp;8\r").unwrap();
    assert_eq!(decoded.column(Field::Sku), ["1", "2"]);
}

#[test]
fn two_stray_quotes_never_make_one_row_of_two() {
    // F05, F40: row 2 must not get the price of row 3.
    let body = "id;title;price\n1;Fan;9\n2;\"Panel curved;399\n3;\"Desk;5\n4;Lamp;6\n";
    let decoded = run(PLAIN, body).unwrap();
    assert_eq!(decoded.column(Field::Sku), ["1", "4"]);
    assert_eq!(decoded.rejects.len(), 2);
    // On one line a stray quote is literal.
    let decoded = run(PLAIN, "id;title;price\n1;\"27\" panel\";9\n").unwrap();
    assert_eq!(decoded.column(Field::Price), ["9"]);
}

#[test]
fn a_nameless_last_column_may_be_missing() {
    let decoded = run(PLAIN, "id;title;price;\n1;Fan;9\n2;Lamp;8;\n").unwrap();
    assert_eq!(decoded.column(Field::Sku), ["1", "2"]);
}

#[test]
fn cells_are_handed_on_letter_for_letter() {
    // F23 to F27, F31: what they mean is decided when they are normalised.
    let toml = comma(
        "price = \"p\"\nsale_price = \"s\"\nsale_from = \"f\"\navailability = \"a\"\ngtin = \"g\"\nshipping = \"d\"\ncurrency = \"c\"",
    );
    for (field, cell) in [
        (Field::Price, "EUR 12.00"),
        (Field::Currency, "EUR"),
        (Field::SaleFrom, "2026-11-25T00:00+01:00"),
        (Field::Availability, ">10"),
        (Field::Availability, "-3"),
        (Field::Gtin, "'4006588234017"),
        (Field::Gtin, "8.80609E+12"),
        (Field::Shipping, "DE:::4.99 EUR"),
    ] {
        let body = format!("p,s,f,a,g,d,c\n{cell},{cell},{cell},{cell},{cell},{cell},{cell}\n");
        assert_eq!(run(&toml, body).unwrap().column(field), [cell]);
    }
}
