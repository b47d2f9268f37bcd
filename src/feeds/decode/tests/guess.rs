//! First mappings that are proposed for a source.

use super::support::run;
use crate::feeds::decode::{Context, Guess, decode_links, guess};
use crate::market::Field;

fn look(body: impl AsRef<[u8]>) -> Guess {
    let mut bytes = body.as_ref();
    guess(&mut bytes, &Context::default()).unwrap()
}

/// The proposed settings as they would stand, read and used on the same body.
fn used(body: impl AsRef<[u8]>) -> super::support::Decoded {
    let toml = look(&body).toml.replace("[feed.fields]", "[fields]");
    run(&toml, body).unwrap_or_else(|fault| panic!("{fault}\n{toml}"))
}

#[test]
fn a_semicolon_file_with_german_names_is_mapped() {
    let body = "Artikelnr;Bezeichnung;Hersteller;EAN;Herstellernummer;Preis;UVP;Lagerbestand;Link;Bild\n\
                A-1;Board K650;Fenrir;4006588234017;FN-K650;129,90;149,90;5;https://vela.example/a1;/i/1.png\n\
                A-2;Lüfter 120;Fenrir;4006588234017;FN-F12;9,90;;0;https://vela.example/a2;/i/2.png\n";
    let guess = look(body);
    insta::assert_snapshot!(guess.toml, @r#"
    format = "csv"
    delimiter = ";"

    [feed.fields]
    sku = "Artikelnr"   # A-1
    title = "Bezeichnung"   # Board K650
    brand = "Hersteller"   # Fenrir
    gtin = "EAN"   # 4006588234017
    mpn = "Herstellernummer"   # FN-K650
    price = "Preis"   # 129,90
    list_price = "UVP"   # 149,90
    availability = "Lagerbestand"   # 5
    link = "Link"   # https://vela.example/a1
    # not used: Bild
    "#);
    let decoded = used(body);
    assert_eq!(decoded.column(Field::Price), ["129,90", "9,90"]);
}

#[test]
fn an_undeclared_encoding_is_written_down() {
    let (bytes, _, _) =
        encoding_rs::WINDOWS_1252.encode("id,name,price\n1,Lüfter für Gehäuse,5\n2,Kühler,6\n");
    assert!(look(&bytes).toml.contains("encoding = \"windows-1252\""));
    assert_eq!(
        used(&bytes).column(Field::Title),
        ["Lüfter für Gehäuse", "Kühler"]
    );
}

#[test]
fn a_file_without_a_header_gets_numbers() {
    let body = "1001,https://vela.example/1,4006588234017,12.50\n1002,https://vela.example/2,4006588234017,13.50\n";
    let guess = look(body);
    assert!(guess.toml.contains("header = false"), "{}", guess.toml);
    assert!(guess.toml.contains("gtin = \"#3\""), "{}", guess.toml);
}

#[test]
fn records_of_json_are_found_wherever_they_are() {
    let record = r#"{"id":"1","name":"Fan \" x","price":{"amount":12.50,"currency":"EUR"},"ean":"4006588234017","odd name":1}"#;
    for (body, records) in [
        (
            format!(
                "{{\"meta\":{{\"pages\":[{{\"n\":1}}]}},\"data\":{{\"my-offers\":[{record},{record}]}}}}"
            ),
            "\"$.data['my-offers'][*]\"",
        ),
        (format!("[{record}]"), "\"$[*]\""),
        (record.to_owned(), "\"$\""),
        (format!("{record}\n{record}\n"), "ndjson"),
    ] {
        let guess = look(&body);
        assert!(guess.toml.contains(records), "{}", guess.toml);
        let decoded = used(&body);
        assert_eq!(decoded.column(Field::Price)[0], "12.50", "{}", guess.toml);
        assert_eq!(decoded.column(Field::Currency)[0], "EUR");
        assert_eq!(decoded.column(Field::Title)[0], "Fan \" x");
    }
}

#[test]
fn only_the_start_of_a_long_document_is_needed() {
    let record = r#"{"sku":"1","title":"Fan, {large]","price":12.50}"#;
    let body = format!("{{\"offers\":[{}]}}", vec![record; 30_000].join(","));
    assert_eq!(used(&body).offers.len(), 30_000);
}

#[test]
fn the_repeated_element_of_xml_is_the_record() {
    let body = "<?xml version='1.0'?><catalog xmlns:g='urn:g'><info><a>1</a><b>2</b></info><products>\
        <product nr='1'><g:title>Fan</g:title><g:price>12.50 EUR</g:price><offer><link>https://vela.example/1</link></offer></product>\
        <product nr='2'><g:title>Lamp</g:title><g:price>9 EUR</g:price><offer><link>https://vela.example/2</link></offer></product></products></catalog>";
    let guess = look(body);
    assert!(
        guess.toml.contains("records = \"product\""),
        "{}",
        guess.toml
    );
    let decoded = used(body);
    assert_eq!(decoded.column(Field::Sku), ["1", "2"]);
    assert_eq!(decoded.column(Field::Price), ["12.50 EUR", "9 EUR"]);
    assert_eq!(decoded.column(Field::Link)[1], "https://vela.example/2");
}

#[test]
fn names_that_no_path_can_write_are_not_proposed() {
    let body = "<f><p }nr='1' id='a'><title>Fan</title><price>5</price></p>\
                <p }nr='2' id='b'><title>Lamp</title><price>6</price></p></f>";
    let decoded = used(body);
    assert_eq!(decoded.column(Field::Sku), ["a", "b"]);
    assert_eq!(decoded.column(Field::Price), ["5", "6"]);
}

#[test]
fn rss_and_atom_are_known() {
    let rss = "<rss version='2.0'><channel><title>x</title><item><title>Fan</title><link>https://vela.example/1</link><price>5</price></item>\
               <item><title>Lamp</title><link>https://vela.example/2</link><price>6</price></item></channel></rss>";
    assert!(look(rss).toml.starts_with("format = \"rss\"\n"));
    assert_eq!(used(rss).column(Field::Price), ["5", "6"]);
    let atom = "<feed xmlns='http://www.w3.org/2005/Atom'><entry><id>1</id><title>Fan</title><price xmlns='urn:p'>5</price></entry></feed>";
    assert!(look(atom).toml.starts_with("format = \"atom\"\n"));
}

#[test]
fn pages_are_read_by_what_they_carry() {
    let product = r#"<html><script type="application/ld+json">{"@type":"Product","name":"Fan","offers":{"price":"5"}}</script></html>"#;
    assert_eq!(look(product).toml, "format = \"html\"\n");
    assert_eq!(used(product).column(Field::Price), ["5"]);
    let metas = "<html><meta property='product:price:amount' content='5'></html>";
    assert!(look(metas).toml.contains("opengraph"));
    assert!(
        look("<html><body><h1>Fan</h1></body></html>")
            .toml
            .contains("# price = ")
    );
}

#[test]
fn lists_of_variants_with_prices_are_offers() {
    let of_shop = r#"{"items":[
        {"id":"7","title":"Tern kit","maker":"Ulvaskop","url":"https://vela.example/7","price":"from 51.90",
         "variants":[{"sku":"7-16","ean":"4006588234017","price":{"amount":51.90,"currency":"EUR"}},
                     {"sku":"7-32","ean":"4006588234017","price":{"amount":97.90,"currency":"EUR"}}]},
        {"id":"8","title":"Reed kit","maker":"Sennovik","url":"https://vela.example/8","price":"from 49.90",
         "variants":[{"sku":"8-16","ean":"4006588234017","price":{"amount":49.90,"currency":"EUR"}}]}]}"#;
    insta::assert_snapshot!(look(of_shop).toml, @r#"
    format = "json"
    records = "$.items[*]"
    variants = "variants"

    [feed.fields]
    sku = "sku"   # 7-16
    title = "^.title"   # Tern kit
    brand = "^.maker"   # Ulvaskop
    gtin = "ean"   # 4006588234017
    price = "price.amount"   # 51.90
    currency = "price.currency"   # EUR
    link = "^.url"   # https://vela.example/7
    # not used: ^.id
    "#);
    let decoded = used(of_shop);
    assert_eq!(decoded.column(Field::Sku), ["7-16", "7-32", "8-16"]);
    assert_eq!(decoded.column(Field::Price), ["51.90", "97.90", "49.90"]);
    assert_eq!(
        decoded.column(Field::Title),
        ["Tern kit", "Tern kit", "Reed kit"]
    );
    // Without a price of the record, the elements need no key; other lists of prices are none.
    let bare = r#"[{"sku":"1","title":"Fan","offers":[{"price":5}]},{"sku":"2","title":"Lamp","offers":[{"price":6}]}]"#;
    assert_eq!(used(bare).column(Field::Price), ["5", "6"]);
    assert_eq!(used(bare).column(Field::Sku), ["1", "2"]);
    for list in ["price_history", "related"] {
        let other = bare
            .replace("\"offers\"", &format!("\"price\":4,\"{list}\""))
            .replace("{\"price\":", "{\"sku\":\"x\",\"price\":");
        assert!(!look(&other).toml.contains("variants"), "{list}");
        assert_eq!(used(&other).column(Field::Price), ["4", "4"]);
    }
    let unkeyed = bare.replace("\"offers\"", "\"price\":4,\"steps\"");
    assert!(!look(unkeyed).toml.contains("variants"));
}

#[test]
fn a_page_of_links_to_pages_is_an_index() {
    let page = |link: &dyn Fn(usize) -> String| {
        let links: String = (1..=8).map(link).collect();
        format!(
            "<html><nav><a href='/'>Home</a><a href='/help/terms'>Terms</a><a href='/help/post'>Post</a>\
             <a href='mailto:a@shop.example'>Mail</a></nav>{links}<a href='https://other.example/p/1'>Else</a></html>"
        )
    };
    let context = Context {
        address: Some("https://shop.example/offers"),
        ..Context::default()
    };
    for (page, selector, first) in [
        (
            page(&|n| {
                format!(
                    "<li><a class='card' href='/p/part-{n}'>Part {n}</a><a href='/p/part-{n}#more'>more</a></li>"
                )
            }),
            "a[href^='/p/']",
            "https://shop.example/p/part-1",
        ),
        (
            page(&|n| {
                format!("<a class='tile x' href='https://shop.example/part/{n}/'>Part {n}</a>")
            }),
            "a[href^='https://shop.example/part/']",
            "https://shop.example/part/1/",
        ),
        (
            page(&|n| format!("<a href='show?id={n}&lang=en'>Part {n}</a>")),
            "a[href^='show?id=']",
            "https://shop.example/show?id=1&lang=en",
        ),
        // All at the top, where navigation is too: their class tells them apart.
        (
            page(&|n| format!("<a class='card' href='/part-{n}'>Part {n}</a>")),
            "a.card",
            "https://shop.example/part-1",
        ),
    ] {
        let guess = guess(&mut page.as_bytes(), &context).unwrap();
        assert!(guess.is_index);
        let expected = format!("format = \"html\"\nlinks = \"{selector}\"\nlimit = 100\n");
        assert_eq!(guess.toml, expected);
        let toml = guess.toml.replace("limit = 100\n", "");
        let settings = super::support::read_settings(&toml).unwrap();
        let links = decode_links(&settings, &mut page.as_bytes(), &context).unwrap();
        assert_eq!((links.len(), links[0].as_str()), (8, first));
    }
}

#[test]
fn a_page_with_few_links_or_with_offers_is_no_index() {
    let few = "<html><a href='/p/1'>1</a><a href='/p/2'>2</a></html>";
    assert!(!look(few).is_index);
    let links: String = (0..9)
        .map(|n| format!("<a href='/p/{n}'>{n}</a>"))
        .collect();
    let product = format!(
        r#"<html><script type="application/ld+json">{{"@type":"Product","name":"Fan","offers":{{"price":"5"}}}}</script>{links}</html>"#
    );
    assert!(!look(&product).is_index);
}

#[test]
fn nothing_is_an_error_and_not_a_guess() {
    for body in ["", "  \n", "<f/>", "{\"a\":"] {
        assert!(
            guess(&mut body.as_bytes(), &Context::default()).is_err(),
            "{body:?}"
        );
    }
}

proptest::proptest! {
    #[test]
    fn any_bytes_give_a_guess_or_a_fault(body in proptest::collection::vec(proptest::prelude::any::<u8>(), 0..300), start in 0..5usize) {
        let start: &[u8] = [&b"<f><i a='1' b='2'>"[..], b"{\"a\":[{", b"[{\"id\":1},", b"id;price\n", b"<html>"][start];
        let body = [start, &body].concat();
        if let Ok(guess) = guess(&mut &body[..], &Context::default()) {
            let toml = guess.toml.replace("[feed.fields]", "[fields]");
            let document = crate::catalogue::table::Document::parse("f", &toml);
            proptest::prop_assert!(document.is_clean(), "{}", toml);
        }
    }
}
