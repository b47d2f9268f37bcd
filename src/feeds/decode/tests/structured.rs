//! What schema.org's vocabulary (release 30.0) says of products, offers and prices, in JSON-LD.

use super::support::{Decoded, all, run, run_in, text};
use crate::feeds::decode::Context;
use crate::market::Field;

fn page(json: &str) -> String {
    format!("<script type='application/ld+json'>{json}</script>")
}

fn read(json: &str) -> Decoded {
    run("format = \"html\"\n", page(json)).unwrap()
}

/// A product whose one offer has these members.
fn offer(members: &str) -> Decoded {
    read(&format!(
        r#"{{"@type":"Product","name":"Fan","offers":{{"@type":"Offer",{members}}}}}"#
    ))
}

#[test]
fn products_are_found_in_arrays_and_graphs() {
    // S01.
    let product = r#"{"@type":"Product","name":"Fan","offers":{"price":"9"}}"#;
    let crumbs =
        r#"{"@type":"BreadcrumbList","itemListElement":[{"@type":"ListItem","name":"Fans"}]}"#;
    for json in [
        format!("[{crumbs},{{\"@type\":\"Organization\",\"name\":\"Shop\"}},{product}]"),
        format!("{{\"@context\":\"https://schema.org\",\"@graph\":[{crumbs},{product}]}}"),
        // A graph whose offer stands apart and is pointed at.
        r##"{"@graph":[{"@type":"Product","name":"Fan","offers":{"@id":"#o"}},{"@id":"#o","@type":"Offer","price":"9"}]}"##.to_owned(),
        // An offer that names what it offers.
        r#"{"@type":"Offer","price":"9","itemOffered":{"@type":"Product","name":"Fan"}}"#.to_owned(),
    ] {
        let decoded = read(&json);
        assert_eq!(decoded.column(Field::Title), ["Fan"], "{json}");
        assert_eq!(decoded.column(Field::Price), ["9"], "{json}");
    }
}

#[test]
fn types_may_be_lists_prefixed_or_addresses() {
    // S02.
    for kind in [
        r#"["Product","IndividualProduct"]"#,
        r#""schema:Product""#,
        r#""http://schema.org/Product""#,
        r#""https://schema.org/Product/""#,
    ] {
        let decoded = read(&format!(
            r#"{{"@type":{kind},"name":"Fan","offers":{{"price":"9"}}}}"#
        ));
        assert_eq!(decoded.column(Field::Price), ["9"], "{kind}");
    }
}

#[test]
fn offers_come_as_object_or_array_of_any_length() {
    // S03: none is "no offer data", which is not sold out.
    for (offers, prices) in [
        (r#"{"price":"1"}"#, vec!["1"]),
        (r#"[{"price":"1"}]"#, vec!["1"]),
        (
            r#"[{"price":"1"},{"price":"2"},{"price":"3"}]"#,
            vec!["1", "2", "3"],
        ),
        ("[]", vec!["-"]),
    ] {
        let decoded = read(&format!(
            r#"{{"@type":"Product","name":"Fan","offers":{offers}}}"#
        ));
        assert_eq!(decoded.column(Field::Price), prices);
        assert_eq!(decoded.column(Field::Availability), vec!["-"; prices.len()]);
        assert_eq!(decoded.has_note("states no offer"), offers == "[]");
    }
}

#[test]
fn prices_are_handed_on_letter_for_letter() {
    // S04, S36: reading them is the price parser's; nothing here is turned into a number.
    for (price, expected) in [
        ("1299", "1299"),
        ("\"1299.00\"", "1299.00"),
        ("\"1,299.00\"", "1,299.00"),
        ("\"€1.299,00\"", "€1.299,00"),
        ("\"1299.00 EUR\"", "1299.00 EUR"),
        ("\"NaN\"", "NaN"),
        ("\"0\"", "0"),
        ("\"\"", "-"),
        ("null", "-"),
        ("[]", "-"),
    ] {
        assert_eq!(
            offer(&format!("\"price\":{price}")).column(Field::Price),
            [expected]
        );
    }
}

#[test]
fn an_aggregate_is_a_price_only_if_its_ends_are_one() {
    for (aggregate, prices) in [
        // S05.
        (
            r#""@type":"AggregateOffer","lowPrice":189,"highPrice":329,"offerCount":4"#,
            vec!["-"],
        ),
        // S06.
        (
            r#""@type":"AggregateOffer","lowPrice":"189","highPrice":"189","offerCount":1"#,
            vec!["189"],
        ),
        (
            r#""@type":"AggregateOffer","lowPrice":"189","offerCount":"1""#,
            vec!["189"],
        ),
        (r#""@type":"AggregateOffer","lowPrice":"189""#, vec!["-"]),
        // S07.
        (
            r#""@type":"Offer","lowPrice":189,"highPrice":329"#,
            vec!["-"],
        ),
    ] {
        let decoded = read(&format!(
            r#"{{"@type":"Product","name":"Fan","offers":{{{aggregate}}}}}"#
        ));
        assert_eq!(decoded.column(Field::Price), prices, "{aggregate}");
        assert_eq!(decoded.has_note("a range"), prices == ["-"]);
    }
}

#[test]
fn offers_inside_an_aggregate_keep_their_own_condition() {
    // S08.
    let decoded = read(
        r#"{"@type":"Product","name":"Fan","offers":{"@type":"AggregateOffer","lowPrice":189,"priceCurrency":"EUR","offers":[
            {"@type":"Offer","price":189,"itemCondition":"https://schema.org/UsedCondition"},
            {"@type":"Offer","price":329,"itemCondition":"NewCondition"}]}}"#,
    );
    assert_eq!(decoded.column(Field::Price), ["189", "329"]);
    let conditions = decoded.column(Field::Condition);
    assert_eq!(
        conditions,
        ["https://schema.org/UsedCondition", "NewCondition"]
    );
    assert_eq!(decoded.column(Field::Currency), ["EUR", "EUR"]);
}

#[test]
fn a_price_may_stand_inside_its_specification() {
    // S09, S13.
    for specification in [
        r#"{"price":389,"priceCurrency":"EUR"}"#,
        r#"[{"price":389,"priceCurrency":"EUR"}]"#,
    ] {
        let decoded = offer(&format!("\"priceSpecification\":{specification}"));
        assert_eq!(decoded.column(Field::Price), ["389"]);
        assert_eq!(decoded.column(Field::Currency), ["EUR"]);
    }
}

#[test]
fn list_prices_and_prices_per_unit_are_not_the_price() {
    // S10.
    let decoded = offer(
        r#""priceSpecification":[{"price":449,"priceType":"https://schema.org/ListPrice"},{"price":389}]"#,
    );
    assert_eq!(decoded.column(Field::Price), ["389"]);
    assert_eq!(decoded.column(Field::ListPrice), ["449"]);
    // S11: per 100 g, per month, and a price from ten pieces on.
    for other in [
        r#""referenceQuantity":{"value":"100","unitCode":"GRM"}"#,
        r#""referenceQuantity":{"value":"1","unitCode":"MON"}"#,
        r#""billingIncrement":1"#,
        r#""eligibleQuantity":{"minValue":10}"#,
        r#""priceType":"MinimumAdvertisedPrice""#,
    ] {
        let unit = format!(r#""@type":"UnitPriceSpecification","price":4.99,{other}"#);
        let decoded = offer(&format!(
            "\"priceSpecification\":[{{{unit}}},{{\"price\":389}}]"
        ));
        assert_eq!(decoded.column(Field::Price), ["389"], "{other}");
        let decoded = offer(&format!("\"priceSpecification\":{{{unit}}}"));
        assert_eq!(decoded.column(Field::Price), ["-"], "{other}");
    }
    // A price per piece is the price.
    let decoded = offer(
        r#""priceSpecification":{"price":389,"referenceQuantity":{"value":1,"unitCode":"C62"}}"#,
    );
    assert_eq!(decoded.column(Field::Price), ["389"]);
}

#[test]
fn specifications_that_differ_are_no_price_unless_something_tells_them_apart() {
    let decoded = offer(r#""priceSpecification":[{"price":389},{"price":399}]"#);
    assert_eq!(decoded.column(Field::Price), ["-"]);
    assert!(decoded.has_note("several price specifications differ"));
    let decoded = offer(
        r#""priceSpecification":[{"price":100,"valueAddedTaxIncluded":false},{"price":119,"valueAddedTaxIncluded":true}]"#,
    );
    assert_eq!(decoded.column(Field::Price), ["119"]);
    assert_eq!(decoded.column(Field::TaxIncluded), ["true"]);
    let decoded = offer(
        r#""priceSpecification":[{"price":449,"priceType":"RegularPrice"},{"price":389,"priceType":"SalePrice"}]"#,
    );
    assert_eq!(decoded.column(Field::Price), ["389"]);
    assert_eq!(decoded.column(Field::ListPrice), ["449"]);
}

#[test]
fn tax_flags_belong_to_the_amount_beside_them() {
    // S12: as a boolean and as text.
    for flag in ["false", "\"false\""] {
        let decoded = offer(&format!(
            "\"priceSpecification\":{{\"price\":327,\"valueAddedTaxIncluded\":{flag}}}"
        ));
        assert_eq!(decoded.column(Field::TaxIncluded), ["false"]);
    }
    let decoded =
        offer(r#""price":389,"priceSpecification":{"price":327,"valueAddedTaxIncluded":false}"#);
    assert_eq!(decoded.column(Field::Price), ["389"]);
    assert_eq!(decoded.column(Field::TaxIncluded), ["-"]);
}

#[test]
fn currency_validity_availability_and_condition_stay_as_they_are() {
    // S13, S14, S15, S16, S17, S34: mapped when normalised; here none may be lost or invented.
    for (member, field, expected) in [
        (r#""priceCurrency":"€""#, Field::Currency, "€"),
        (r#""priceCurrency":"eur""#, Field::Currency, "eur"),
        (r#""sku":"x""#, Field::Currency, "-"),
        (
            r#""priceValidUntil":"2024-01-31""#,
            Field::ValidUntil,
            "2024-01-31",
        ),
        (
            r#""availability":"http://schema.org/InStock""#,
            Field::Availability,
            "http://schema.org/InStock",
        ),
        (
            r#""availability":" in stock ""#,
            Field::Availability,
            " in stock ",
        ),
        (
            r#""availability":{"@id":"https://schema.org/BackOrder"}"#,
            Field::Availability,
            "https://schema.org/BackOrder",
        ),
        (r#""availability":"InStok""#, Field::Availability, "InStok"),
        (r#""availability":"""#, Field::Availability, "-"),
        (
            r#""itemCondition":"https://schema.org/DamagedCondition""#,
            Field::Condition,
            "https://schema.org/DamagedCondition",
        ),
    ] {
        let decoded = offer(&format!("\"price\":9,{member}"));
        assert_eq!(decoded.column(field), [expected], "{member}");
    }
}

#[test]
fn variants_stand_for_themselves_and_the_group_for_no_part() {
    // S31.
    let decoded = read(
        r#"{"@type":"ProductGroup","name":"Kit","productGroupID":"G","sku":"group","brand":{"@type":"Brand","name":"Fenrir"},
            "offers":{"price":1},"hasVariant":[
            {"@type":"Product","sku":"a","name":"Kit 16","offers":{"price":189}},
            {"@type":"Product","sku":"b","gtin13":"4006588234017","offers":{"price":329}}]}"#,
    );
    assert_eq!(decoded.column(Field::Sku), ["a", "b"]);
    assert_eq!(decoded.column(Field::Price), ["189", "329"]);
    assert_eq!(decoded.column(Field::Title), ["Kit 16", "Kit"]);
    assert_eq!(decoded.column(Field::Brand), ["Fenrir", "Fenrir"]);
    assert_eq!(decoded.column(Field::GroupId), ["G", "G"]);
    // Variants that stand beside their group and point at it are not read twice.
    let decoded = read(
        r##"{"@graph":[{"@id":"#g","@type":"ProductGroup","name":"Kit","productGroupID":"G","hasVariant":[{"@id":"#a"},{"@id":"#b"}]},
            {"@id":"#a","@type":"Product","sku":"a","isVariantOf":{"@id":"#g"},"offers":{"price":189}},
            {"@id":"#b","@type":"Product","sku":"b","isVariantOf":{"@id":"#g"},"offers":{"price":329}}]}"##,
    );
    assert_eq!(decoded.column(Field::Sku), ["a", "b"]);
    assert_eq!(decoded.column(Field::GroupId), ["G", "G"]);
}

#[test]
fn trade_numbers_are_collected_wherever_they_stand() {
    // S32.
    let decoded = read(
        r#"{"@type":"Product","name":"Fan","sku":"4006588234017","mpn":"NV-8810","gtin13":"4006588234017","gtin":"04006588234017",
            "productID":"ean:71588234019","offers":{"price":9,"gtin12":"071588234019","ean":"40065882"}}"#,
    );
    assert_eq!(
        all(decoded.only(), Field::Gtin),
        [
            "04006588234017",
            "4006588234017",
            "71588234019",
            "071588234019",
            "40065882"
        ]
    );
    assert_eq!(text(decoded.only(), Field::Mpn), "NV-8810");
    let decoded = read(r#"{"@type":"Product","name":"Fan","sku":"A-12","offers":{"price":9}}"#);
    assert_eq!(all(decoded.only(), Field::Gtin), Vec::<&str>::new());
}

#[test]
fn every_seller_has_an_offer_of_its_own() {
    // S33.
    let decoded = read(
        r#"{"@type":"Product","name":"Fan","offers":[{"price":9,"seller":{"@type":"Organization","name":"Vela Shop"}},
            {"price":8,"seller":"Third Party"}]}"#,
    );
    assert_eq!(decoded.column(Field::Seller), ["Vela Shop", "Third Party"]);
}

#[test]
fn delivery_is_known_only_for_our_country() {
    // S35.
    let delivery = |country: &str| {
        format!(
            r#"{{"@type":"Product","name":"Fan","offers":{{"price":9,"priceCurrency":"EUR","shippingDetails":{{"shippingRate":{{"value":4.99,"currency":"EUR"}}{country}}}}}}}"#
        )
    };
    let destination =
        r#","shippingDestination":{"@type":"DefinedRegion","addressCountry":["AT","DE"]}"#;
    let in_country = |country| Context {
        country: Some(country),
        ..Context::default()
    };
    for (json, country, expected) in [
        (delivery(destination), "de", "4.99"),
        (delivery(destination), "FR", "-"),
        (delivery(""), "FR", "4.99"),
    ] {
        let decoded = run_in("format = \"html\"\n", page(&json), &in_country(country)).unwrap();
        assert_eq!(decoded.column(Field::Shipping), [expected], "{country}");
        assert_eq!(
            decoded.has_note("delivery is stated for AT, DE only"),
            expected == "-"
        );
    }
}

#[test]
fn references_in_circles_end() {
    let decoded = read(
        r##"{"@graph":[{"@id":"#p","@type":"Product","name":"Fan","offers":{"@id":"#o"},"isRelatedTo":{"@id":"#p"}},
            {"@id":"#o","@type":"Offer","price":"9","itemOffered":{"@id":"#p"}}]}"##,
    );
    assert_eq!(decoded.column(Field::Price), ["9"]);
}
