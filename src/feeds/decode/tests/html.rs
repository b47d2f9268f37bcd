//! Pages with structured data, and pages without.

use super::support::{all, run, run_in, text};
use crate::feeds::decode::Context;
use crate::market::{Field, Origin};

const PAGE: &str = "format = \"html\"\n";

fn json_ld(body: &str) -> String {
    format!(
        "<html><head><script type=\"application/ld+json\">{body}</script></head><body></body></html>"
    )
}

const OFFER: &str = r#""offers":{"@type":"Offer","price":"1299.00","priceCurrency":"EUR"}"#;

#[test]
fn a_configured_selector_wins_and_the_conflict_is_noted() {
    // S18.
    let toml = "format = \"html\"\n[fields]\navailability = \".stock\"\n";
    let product = r#"{"@type":"Product","name":"Fan","offers":{"price":"9","availability":"https://schema.org/InStock"}}"#;
    let page = json_ld(product).replace("<body>", "<body><p class=stock> sold\n out </p>");
    let decoded = run(toml, page).unwrap();
    assert_eq!(text(decoded.only(), Field::Availability), "sold out");
    assert_eq!(text(decoded.only(), Field::Price), "9");
    assert!(
        decoded.has_note("`availability` is \"https://schema.org/InStock\" in the page's data")
    );
}

#[test]
fn the_one_product_that_the_page_is_about_is_chosen() {
    // S22: a carousel of twelve, and three ways to know better.
    let carousel: Vec<String> = (0..12)
        .map(|n| format!(r#"{{"@type":"Product","name":"Other {n}","sku":"o{n}","offers":{{"price":"{n}"}}}}"#))
        .collect();
    let main = format!(
        r#"{{"@type":"Product","name":"Main","sku":"m","url":"https://shop.example/p/m",{OFFER}}}"#
    );
    let page = json_ld(&format!("[{},{main}]", carousel.join(",")));
    let at = |address, wanted| Context {
        address,
        wanted,
        ..Context::default()
    };
    let wanted = ["M".to_owned()];
    for context in [
        at(Some("http://shop.example/p/m/#top"), &[][..]),
        at(None, &wanted),
    ] {
        let decoded = run_in(PAGE, &page, &context).unwrap();
        assert_eq!(decoded.column(Field::Title), ["Main"]);
    }
    let entity = page.replace(
        &main,
        &format!(r#"{{"@type":"WebPage","mainEntity":{main}}}"#),
    );
    assert_eq!(run(PAGE, entity).unwrap().column(Field::Title), ["Main"]);
    let fault = run(PAGE, &page).unwrap_err();
    assert!(
        fault
            .to_string()
            .contains("13 products on the page and nothing says which"),
        "{fault}"
    );
    let every = run("format = \"html\"\nproducts = \"all\"\n", &page).unwrap();
    assert_eq!(every.offers.len(), 13);
}

#[test]
fn two_prices_on_one_page_are_noted_and_the_order_decides() {
    // S23.
    let microdata = "<div itemscope itemtype='https://schema.org/Product'><b itemprop=name>Fan</b>\
        <div itemprop=offers itemscope itemtype='https://schema.org/Offer'><b itemprop=price content='1069.81'>x</b></div></div>";
    let page = json_ld(r#"{"@type":"Product","name":"Fan","offers":{"price":899.00}}"#)
        .replace("<body>", &format!("<body>{microdata}"));
    let decoded = run(PAGE, &page).unwrap();
    assert_eq!(decoded.column(Field::Price), ["899.00"]);
    assert!(decoded.has_note("json-ld says 899.00, microdata says 1069.81; json-ld is used"));
    let other = "format = \"html\"\nstructured_data = [\"microdata\", \"json-ld\"]\n";
    assert_eq!(run(other, &page).unwrap().column(Field::Price), ["1069.81"]);
    let agreeing = page.replace("1069.81", "899");
    assert!(!run(PAGE, agreeing).unwrap().has_note("says"));
}

#[test]
fn empty_blocks_are_skipped_quietly() {
    // S24.
    for body in ["null", "[]", "  \n ", "<!-- -->"] {
        let page =
            json_ld(body) + &json_ld(&format!(r#"{{"@type":"Product","name":"Fan",{OFFER}}}"#));
        let decoded = run(PAGE, page).unwrap();
        assert_eq!(decoded.column(Field::Title), ["Fan"], "{body}");
        assert!(
            decoded.summary.notes.is_empty(),
            "{body}: {:?}",
            decoded.summary.notes
        );
    }
}

#[test]
fn wrapped_and_slightly_wrong_blocks_are_parsed() {
    let whole = format!(r#"{{"@type":"Product","name":"Fan // 3 /* x */ <!-- y -->",{OFFER}}}"#);
    let encoded = format!(r#"{{"@type":"Product","name":"Fan // 3 /* x */ <!-- y -->",{OFFER}}}"#)
        .replace('"', "&quot;");
    for body in [
        // S25: comment and CDATA wrappers, comment lines.
        format!("<!-- {whole} -->"),
        format!("//<![CDATA[\n{whole}\n//]]>"),
        format!("/*<![CDATA[*/{whole}/*]]>*/"),
        format!("// the product\n{whole}\n// the end"),
        // S27.
        whole.replace("\"EUR\"}", "\"EUR\", } ,"),
        format!("[{whole} , ]"),
        // S28.
        encoded,
        format!("{whole};"),
    ] {
        let decoded = run(PAGE, json_ld(&body)).unwrap();
        assert_eq!(
            decoded.column(Field::Title),
            ["Fan // 3 /* x */ <!-- y -->"],
            "{body}"
        );
        assert_eq!(decoded.column(Field::Price), ["1299.00"]);
    }
}

#[test]
fn raw_line_ends_inside_a_string_are_kept() {
    // S26, S39.
    let body = format!(
        "{{\"@type\":\"Product\",\"name\":\"Kit\n2\tx 16\",\"description\":\"<!-- x --><b>\n…\",{OFFER}}}"
    );
    let decoded = run(PAGE, json_ld(&body)).unwrap();
    assert_eq!(decoded.column(Field::Title), ["Kit\n2\tx 16"]);
}

#[test]
fn entities_inside_values_do_not_break_the_json() {
    // S29, S38: the value stays as it stood; decoding it, once, is the normaliser's.
    for name in ["27&quot; panel", "Kit &amp;amp; cooler"] {
        let body = format!(r#"{{"@type":"Product","name":"{name}",{OFFER}}}"#);
        assert_eq!(
            run(PAGE, json_ld(&body)).unwrap().column(Field::Title),
            [name]
        );
    }
}

#[test]
fn a_block_beyond_repair_costs_no_other() {
    // S30.
    let broken = r#"{"@type":"Product","name":"27" panel"}"#;
    let page =
        json_ld(broken) + &json_ld(&format!(r#"{{"@type":"Product","name":"Fan",{OFFER}}}"#));
    let decoded = run(PAGE, page).unwrap();
    assert_eq!(decoded.column(Field::Title), ["Fan"]);
    assert!(
        decoded.has_note("JSON-LD block 1 was skipped: line 1, column 32"),
        "{:?}",
        decoded.summary.notes
    );
}

#[test]
fn a_page_without_a_product_fails_the_poll() {
    // S37.
    let fault = run(
        PAGE,
        "<html><body><div id=app></div><script src=a.js></script></body></html>",
    )
    .unwrap_err();
    assert_eq!(fault.to_string(), "no data found: no product on the page");
    assert_eq!(run(PAGE, "{\"a\":1}").unwrap_err().code(), "other-format");
}

#[test]
fn attributes_win_over_text_in_microdata_and_rdfa() {
    // S19, S20, S21.
    let body = |scope: &str, name: &str| {
        format!(
            "<div {scope}><a {name}=name href='/x'>Fan</a><div {name}=offers {scope2}>\
             <span {name}=price content='1299.00'>1.299,00 €</span><meta {name}=priceCurrency content=EUR>\
             <link {name}=availability href='https://schema.org/InStock'>\
             <time {name}=priceValidUntil datetime='2027-01-01'>New Year</time></div></div>",
            scope2 = scope.replace("Product", "Offer")
        )
    };
    for page in [
        body("itemscope itemtype='http://schema.org/Product'", "itemprop"),
        body("vocab='https://schema.org/' typeof='Product'", "property"),
        body(
            "prefix='schema: https://schema.org/' typeof='schema:Product'",
            "property",
        ),
    ] {
        let decoded = run(PAGE, &page).unwrap();
        let offer = decoded.only();
        let price = offer.first(Field::Price).unwrap();
        assert_eq!(
            (price.text.as_str(), price.origin),
            ("1299.00", Origin::Machine)
        );
        assert_eq!(text(offer, Field::Title), "Fan");
        assert_eq!(
            text(offer, Field::Availability),
            "https://schema.org/InStock"
        );
        assert_eq!(text(offer, Field::ValidUntil), "2027-01-01");
    }
    // S20: the attribute is not always clean, and is handed on as it stands.
    let page = body("itemscope itemtype='http://schema.org/Product'", "itemprop");
    let decoded = run(
        PAGE,
        page.replace(
            "<span itemprop=price content='1299.00'>1.299,00 €</span>",
            "<meta itemprop=price content='1299,00 €'>",
        ),
    )
    .unwrap();
    assert_eq!(decoded.column(Field::Price), ["1299,00 €"]);
    // Text of the page is for people.
    let decoded = run(PAGE, page.replace(" content='1299.00'", "")).unwrap();
    let price = decoded.only().first(Field::Price).unwrap();
    assert_eq!(
        (price.text.as_str(), price.origin),
        ("1.299,00 €", Origin::Person)
    );
}

#[test]
fn a_number_split_over_elements_is_no_price() {
    // P29.
    let toml = "format = \"html\"\n[fields]\ntitle = \"h1\"\nprice = \".price\"\n";
    let page = |price: &str| format!("<h1>Fan <b>XL</b></h1><p class=price>{price}</p>");
    let decoded = run(toml, page("1.299<sup>99</sup> <i>€</i>")).unwrap();
    assert_eq!(text(decoded.only(), Field::Price), "-");
    assert!(decoded.has_note("a number split over elements"));
    for (price, expected) in [
        ("<b>1.299</b><i>,</i><sup>99</sup> €", "1.299,99 €"),
        (
            "1299&nbsp;,&nbsp;00&nbsp;&euro;",
            "1299\u{a0},\u{a0}00\u{a0}€",
        ),
        ("<s>449,00 €</s><br>389,00 €", "449,00 € 389,00 €"),
        ("389,00 €<script>var x=1</script>", "389,00 €"),
    ] {
        let decoded = run(toml, page(price)).unwrap();
        assert_eq!(decoded.column(Field::Price), [expected]);
    }
}

#[test]
fn selectors_read_lists_attributes_and_patterns() {
    let toml = "format = \"html\"\nrecords = \"li.part\"\nnext_page = \"a[rel=next]\"\n[fields]\nsku = \"@data-sku\"\ntitle = \"h2\"\nprice = { select = \"span\", attribute = \"data-price\" }\nlist_price = { select = \".old\", pattern = '([0-9]+,[0-9]+)' }\nlink = \"a @href\"\n";
    let page = "<ul><li class=part data-sku=a1><h2>Fan</h2><span data-price=12.50>12,50</span><i class=old>was 14,00 €</i><a href='/p/1'>go</a></li>\
                <li class=ad>x</li><li class=part data-sku=a2><h2>Lamp</h2><span data-price=8>8</span></li></ul><a rel=next href='?page=2'>next</a>";
    let context = Context {
        address: Some("https://shop.example/list"),
        ..Context::default()
    };
    let decoded = run_in(toml, page, &context).unwrap();
    assert_eq!(decoded.column(Field::Sku), ["a1", "a2"]);
    assert_eq!(decoded.column(Field::Price), ["12.50", "8"]);
    assert_eq!(decoded.column(Field::ListPrice), ["14,00", "-"]);
    assert_eq!(
        decoded.column(Field::Link),
        ["https://shop.example/p/1", "-"]
    );
    assert_eq!(decoded.summary.next_page.as_deref(), Some("?page=2"));
    assert_eq!(run(toml, "<ul></ul>").unwrap_err().code(), "no-data");
}

#[test]
fn price_metas_are_read_only_where_configured() {
    let page = "<head><meta property='og:title' content='Fan'><meta property='product:price:amount' content='12.50'>\
                <meta property='product:price:currency' content='EUR'></head>";
    assert_eq!(run(PAGE, page).unwrap_err().code(), "no-data");
    let decoded = run(
        "format = \"html\"\nstructured_data = [\"json-ld\", \"opengraph\"]\n",
        page,
    )
    .unwrap();
    assert_eq!(text(decoded.only(), Field::Price), "12.50");
    assert_eq!(text(decoded.only(), Field::Currency), "EUR");
}

#[test]
fn a_selector_that_finds_several_values_says_so() {
    let toml = "format = \"html\"\n[fields]\nprice = \".price\"\ngtin = \".ean\"\n";
    let page = "<b class=price>5 €</b><b class=price>6 €</b><i class=ean>1</i><i class=ean>2</i>";
    let decoded = run(toml, page).unwrap();
    assert_eq!(all(decoded.only(), Field::Price), ["5 €"]);
    assert_eq!(all(decoded.only(), Field::Gtin), ["1", "2"]);
    assert!(decoded.has_note("`price` has several different values"));
}

#[test]
fn pages_that_would_grow_without_measure_are_refused() {
    let deep = "<div>".repeat(200_000);
    let many: String = (0..2_000)
        .map(|n| format!("<p><b id={n}></p>"))
        .collect::<String>()
        + &"<p>x".repeat(100_000);
    let wide = format!("<a {}>", "b ".repeat(200_000));
    for page in [deep, many, wide] {
        assert_eq!(run(PAGE, page).unwrap_err().code(), "nested-too-deep");
    }
}

// HTML Standard 5.2.2, `itemref`; its algorithm is 5.2.5. The standard's own example is a band
// whose size and instruments stand elsewhere; this is the same shape.
#[test]
fn microdata_takes_in_what_it_refers_to() {
    let product = |refs: &str| {
        format!(
            "<div itemscope itemtype='https://schema.org/Product' itemref='{refs}'><b itemprop=name>Fan</b></div>"
        )
    };
    const OFFER: &str = "<p id=box itemprop=offers itemscope itemtype='https://schema.org/Offer' itemref='money'>\
                         <link itemprop=availability href='https://schema.org/InStock'></p>";
    const MONEY: &str = "<p id=money><b itemprop=price content='12.50'>12,50</b>\
                         <meta itemprop=priceCurrency content=EUR></p>";
    const NUMBERS: &str =
        "<p id=numbers><i itemprop=sku>F-1</i><i itemprop=gtin13>4006588234017</i></p>";
    for (page, price, sku) in [
        // Before and behind the thing, and a reference inside a reference.
        (
            format!("{OFFER}{}{NUMBERS}{MONEY}", product("box numbers")),
            "12.50",
            "F-1",
        ),
        // The element itself may be the property.
        (
            format!(
                "{}{OFFER}{MONEY}<b id=s itemprop=sku>F-2</b>",
                product("box  s box")
            ),
            "12.50",
            "F-2",
        ),
        // Nothing has that id: what stands outside every thing belongs to none.
        (format!("{}{OFFER}{MONEY}", product("bax")), "-", "-"),
        // Of several elements with one id, the first.
        (
            format!(
                "{}<p id=box><i itemprop=sku>F-3</i></p>{OFFER}{MONEY}",
                product("box")
            ),
            "-",
            "F-3",
        ),
        // What is inside already is not taken in twice, and what is around is not taken in.
        (
            format!(
                "<div id=all>{}</div>",
                product("in all' id='all2")
                    .replace("</div>", "<p id=in><i itemprop=sku>F-4</i></p></div>")
            ),
            "-",
            "F-4",
        ),
    ] {
        let decoded = run(PAGE, &page).unwrap();
        let offer = decoded.only();
        assert_eq!(text(offer, Field::Title), "Fan", "{page}");
        assert_eq!(text(offer, Field::Price), price, "{page}");
        assert_eq!(
            all(offer, Field::Sku),
            if sku == "-" { vec![] } else { vec![sku] },
            "{page}"
        );
    }
}

#[test]
fn microdata_that_refers_in_circles_ends() {
    let circle = "<div id=a><p itemscope itemtype='https://schema.org/Product' itemref=b><b itemprop=name>Fan</b></p></div>\
                  <div id=b><p itemprop=offers itemscope itemref=a><b itemprop=price content=9></b></p></div>";
    assert_eq!(run(PAGE, circle).unwrap().column(Field::Price), ["9"]);
    // Each step refers to the next twice: without a limit, 2^40 elements.
    let doubling: String = (0..40)
        .map(|n| {
            let next = n + 1;
            let one = format!("<i itemprop=p itemscope itemref='s{next}'></i>");
            format!("<p id=s{n}>{one}{one}</p>")
        })
        .collect();
    let page = format!(
        "<div itemscope itemtype='https://schema.org/Product' itemref=s0><b itemprop=name>Fan</b></div>{doubling}"
    );
    assert_eq!(run(PAGE, page).unwrap().column(Field::Title), ["Fan"]);
}
