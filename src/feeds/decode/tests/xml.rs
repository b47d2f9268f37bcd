//! XML, RSS and Atom, whole and damaged.

use super::support::{run, text};
use crate::market::{Field, Origin};

const ITEMS: &str = "format = \"xml\"\nrecords = \"item\"\n[fields]\nsku = \"id\"\ntitle = \"title\"\nprice = \"g:price\"\n";

#[test]
fn an_element_is_found_whatever_its_prefix() {
    // F15: another prefix, the default namespace, and none at all.
    let address = "urn:example:prices";
    let exact = ITEMS.replace(
        "[fields]",
        &format!("namespaces = {{ g = \"{address}\" }}\n[fields]"),
    );
    let braced = ITEMS.replace("g:price", &format!("{{{address}}}price"));
    for body in [
        format!("<feed xmlns:x='{address}'><item><id>1</id><x:price>12</x:price></item></feed>"),
        format!("<feed><item><id>1</id><price xmlns='{address}'>12</price></item></feed>"),
        format!(
            "<feed xmlns:g='{address}' xmlns:o='urn:o'><item><id>1</id><o:price>99</o:price><g:price>12</g:price></item></feed>"
        ),
    ] {
        for toml in [&exact, &braced] {
            let decoded = run(toml, &body).unwrap();
            assert_eq!(decoded.column(Field::Price), ["12"], "{body}");
        }
    }
    // Without an address the written prefix is preferred, and the local name is enough.
    let decoded = run(
        ITEMS,
        "<f><item><id>1</id><price>7</price></item><item><id>2</id><g:price>8</g:price><price>9</price></item></f>",
    );
    assert_eq!(decoded.unwrap().column(Field::Price), ["7", "8"]);
}

#[test]
fn definitions_of_entities_are_refused() {
    // F16: nested definitions and an external one; nothing is fetched because nothing can be.
    for doctype in [
        "<!DOCTYPE f [<!ENTITY a 'aa'><!ENTITY b '&a;&a;&a;&a;'>]>",
        "<!DOCTYPE f [<!ENTITY x SYSTEM 'file:///etc/hostname'>]>",
        "<!DOCTYPE f [<!ENTITY % p SYSTEM 'http://127.0.0.1/x'> %p;]>",
    ] {
        let body = format!("<?xml version='1.0'?>{doctype}<f><item><id>&b;</id></item></f>");
        assert_eq!(run(ITEMS, body).unwrap_err().code(), "entity-definitions");
    }
    let harmless = "<!DOCTYPE f SYSTEM 'feed.dtd'><f><item><id>1</id></item></f>";
    assert_eq!(run(ITEMS, harmless).unwrap().column(Field::Sku), ["1"]);
}

#[test]
fn html_entities_and_bare_ampersands_are_read_leniently() {
    // F17.
    for (title, expected) in [
        ("K&eacute;ramik&nbsp;Kit", "Kéramik\u{a0}Kit"),
        ("Kit & cooler", "Kit & cooler"),
        ("A&B; C", "A&B; C"),
        ("1 &lt; 2 &#169; &#x20AC;", "1 < 2 © €"),
        ("Q&A", "Q&A"),
    ] {
        let body =
            format!("<f><item><id>1</id><title>{title}</title></item><item><id>2</id></item></f>");
        let decoded = run(ITEMS, body).unwrap();
        assert_eq!(decoded.column(Field::Sku), ["1", "2"]);
        assert_eq!(text(&decoded.offers[0], Field::Title), expected);
    }
}

#[test]
fn text_entities_and_cdata_join() {
    // F18.
    let body = "<f><item><id>1</id><title>Kit &amp; <![CDATA[2 x 16 < 64]]> GB</title></item></f>";
    assert_eq!(
        run(ITEMS, body).unwrap().column(Field::Title),
        ["Kit & 2 x 16 < 64 GB"]
    );
    let body = "<f><item><id>1</id><title><![CDATA[a &amp; b]]></title></item></f>";
    assert_eq!(
        run(ITEMS, body).unwrap().column(Field::Title),
        ["a &amp; b"]
    );
}

#[test]
fn a_description_is_not_read_as_a_price() {
    // F19.
    let body = "<f><item><id>1</id><description><![CDATA[<b>was 499 €</b>]]></description><price>389</price></item></f>";
    assert_eq!(run(ITEMS, body).unwrap().column(Field::Price), ["389"]);
}

#[test]
fn control_characters_and_blank_lines_do_no_harm() {
    // F20.
    let body = "\n\n<?xml version='1.0'?><f><item><id>1</id><title>Pa\u{b}nel\u{8} A&#11;B</title></item></f>";
    let decoded = run(ITEMS, body).unwrap();
    assert_eq!(decoded.column(Field::Title), ["Panel AB"]);
    assert!(decoded.has_note("2 control characters"));
}

#[test]
fn a_document_that_ends_early_fails_the_poll() {
    // F21: cut between records, inside text, inside a tag, inside CDATA.
    let whole = "<f><item><id>1</id></item><item><id>2</id><title><![CDATA[x]]></title></item></f>";
    for end in [27, 40, 55, 62, whole.len() - 1, whole.len() - 4] {
        let fault = run(ITEMS, &whole[..end]).unwrap_err();
        assert_eq!(fault.code(), "body-truncated", "{}", &whole[..end]);
    }
    assert_eq!(run(ITEMS, whole).unwrap().column(Field::Sku), ["1", "2"]);
}

#[test]
fn a_record_that_is_not_well_formed_costs_no_other() {
    let body = "<f><item><id>1</id></item><item><id>2</id><title>a <b>b</title></item>\
                <item><id>3</id></b></item><item><id>4</id><title>fast <3 fans</title></item><item><id>5</id></item></f>";
    let decoded = run(ITEMS, body).unwrap();
    assert_eq!(decoded.column(Field::Sku), ["1", "5"]);
    let indexes: Vec<u64> = decoded.rejects.iter().map(|reject| reject.index).collect();
    assert_eq!(indexes, [2, 3, 4]);
    assert_eq!(decoded.rejects[0].reason, "<b> is not closed");
}

#[test]
fn same_ids_stay_apart_and_in_order() {
    // F22: decoding keeps both; which one holds is decided where the links are known.
    let body =
        "<f><item><id>1</id><price>5</price></item><item><id>1</id><price>6</price></item></f>";
    assert_eq!(run(ITEMS, body).unwrap().column(Field::Price), ["5", "6"]);
}

#[test]
fn attributes_conditions_and_depth_are_reached_by_paths() {
    let toml = "format = \"xml\"\nrecords = \"shop/products/product\"\n[fields]\nsku = \"@nr\"\nprice = \"prices/price[@kind='gross']\"\ncurrency = \"prices/price[@kind='gross']/@currency\"\ntitle = \"names/name\"\n";
    let body = "<shop><product nr='0'/><products><product nr='1'><prices><price kind='net' currency='CHF'>10</price>\
                <price kind='gross' currency='EUR'>11.90</price></prices><names><name>Fan</name></names></product></products></shop>";
    let decoded = run(toml, body).unwrap();
    let offer = decoded.only();
    assert_eq!(text(offer, Field::Sku), "1");
    assert_eq!(text(offer, Field::Price), "11.90");
    assert_eq!(offer.first(Field::Price).unwrap().origin, Origin::Person);
    assert_eq!(
        offer.first(Field::Currency).unwrap().origin,
        Origin::Machine
    );
    assert_eq!(text(offer, Field::Currency), "EUR");
    assert_eq!(text(offer, Field::Title), "Fan");
}

#[test]
fn variants_inside_a_record_are_records() {
    // F30.
    let toml = "format = \"xml\"\nrecords = \"product\"\nvariants = \"variant\"\n[fields]\nsku = \"@sku\"\nprice = \"price\"\ntitle = \"^/name\"\ngroup_id = \"^/@id\"\n";
    let body = "<l><product id='G'><name>Kit</name><price>1</price><variant sku='a'><price>189</price></variant>\
                <variant sku='b'><price>329</price></variant></product></l>";
    let decoded = run(toml, body).unwrap();
    assert_eq!(decoded.column(Field::Sku), ["a", "b"]);
    assert_eq!(decoded.column(Field::Price), ["189", "329"]);
    assert_eq!(decoded.column(Field::Title), ["Kit", "Kit"]);
    assert_eq!(decoded.column(Field::GroupId), ["G", "G"]);
}

#[test]
fn an_rss_price_can_stand_in_the_title_alone() {
    // F34.
    let toml =
        "format = \"rss\"\n[fields]\nprice = { select = \"title\", pattern = '([0-9.,]+ €)' }\n";
    let body = "<?xml version='1.0'?><rss version='2.0' xmlns:atom='http://www.w3.org/2005/Atom'><channel><title>Deals</title>\
                <atom:link href='/self' rel='self'/><item><title>Panel 27 for 199,00 €</title><atom:link href='/wrong'/>\
                <link>https://shop.example/p/1</link><guid>p1</guid></item></channel></rss>";
    let decoded = run(toml, body).unwrap();
    let offer = decoded.only();
    assert_eq!(text(offer, Field::Price), "199,00 €");
    assert_eq!(text(offer, Field::Link), "https://shop.example/p/1");
    assert_eq!(text(offer, Field::Sku), "p1");
}

#[test]
fn an_atom_entry_has_its_standard_places() {
    // RFC 4287 sections 4.1.2 and 4.2.7.2; RFC 5005 section 3 for the next page.
    let toml = "format = \"atom\"\n[fields]\nprice = \"s:price/@value\"\n";
    let body = "<feed xmlns='http://www.w3.org/2005/Atom' xmlns:s='urn:s'><title>Feed</title><link rel='next' href='/feed?page=2'/>\
                <entry><id>urn:x:1</id><title>Fan</title><link rel='edit' href='/edit'/><link href='https://shop.example/1'/><s:price value='12.00'/></entry>\
                <entry><id>urn:x:2</id><title>Lamp</title><link rel='alternate' href='https://shop.example/2'/><s:price value='13.00'/></entry></feed>";
    let decoded = run(toml, body).unwrap();
    assert_eq!(decoded.column(Field::Title), ["Fan", "Lamp"]);
    assert_eq!(
        decoded.column(Field::Link),
        ["https://shop.example/1", "https://shop.example/2"]
    );
    assert_eq!(decoded.column(Field::Price), ["12.00", "13.00"]);
    assert_eq!(decoded.summary.next_page.as_deref(), Some("/feed?page=2"));
}

#[test]
fn other_things_than_xml_are_named() {
    // H06.
    for (body, code) in [
        (
            "<!DOCTYPE html><html><body>Log in</body></html>",
            "other-format",
        ),
        ("<html><body>Log in<br></body></html>", "other-format"),
        ("{\"error\":\"no\"}", "other-format"),
        ("<f><product/></f>", "no-records"),
        ("   \n", "no-data"),
    ] {
        assert_eq!(run(ITEMS, body).unwrap_err().code(), code, "{body}");
    }
}

#[test]
fn depth_without_end_is_refused() {
    let fault = run(ITEMS, "<a>".repeat(100_000)).unwrap_err();
    assert_eq!(fault.code(), "nested-too-deep");
}
