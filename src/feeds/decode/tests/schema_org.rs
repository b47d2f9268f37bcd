//! The shapes that schema.org's own pages show for products and offers.
//!
//! Each case names the page (schema.org, release 30.0) whose example has these properties in this
//! arrangement, from memory; the words and figures are ours, and the right values are read off by
//! hand.

use super::support::{run, text};
use crate::market::Field;

/// One document, and what its offers say.
struct Case {
    page: &'static str,
    document: &'static str,
    offers: &'static [&'static [(Field, &'static str)]],
}

use Field::{Availability, Brand, Condition, Currency, Gtin, Link, ListPrice, Mpn, Price, Seller};
use Field::{AvailableFrom, LeadTime};
use Field::{Sku, TaxIncluded, Title, ValidUntil};

const IN_STOCK: &str = "https://schema.org/InStock";

fn check(cases: &[Case]) {
    for Case {
        page,
        document,
        offers,
    } in cases
    {
        let decoded = run("format = \"html\"\n", document).unwrap();
        assert_eq!(decoded.offers.len(), offers.len(), "{page}: {decoded:?}");
        for (offer, expected) in decoded.offers.iter().zip(*offers) {
            for (field, value) in *expected {
                assert_eq!(text(offer, *field), *value, "{page}: {}", field.name());
            }
        }
    }
}

const JSON_LD: &[Case] = &[
    Case {
        // Ratings and reviews carry names and numbers that are no offer's.
        page: "Product: one offer, a rating and reviews",
        document: r#"<script type="application/ld+json">{"@context":"https://schema.org","@type":"Product",
                "aggregateRating":{"@type":"AggregateRating","ratingValue":"3.5","reviewCount":"11"},
                "description":"A quiet fan for tall towers.","name":"Siltwind 14 fan","image":"siltwind.jpg",
                "offers":{"@type":"Offer","availability":"https://schema.org/InStock","price":"55.00","priceCurrency":"EUR"},
                "review":[{"@type":"Review","author":"Odran","datePublished":"2026-04-01","name":"Does what it should",
                "reviewRating":{"@type":"Rating","bestRating":"5","ratingValue":"1","worstRating":"1"}}]}</script>"#,
        offers: &[&[
            (Title, "Siltwind 14 fan"),
            (Price, "55.00"),
            (Currency, "EUR"),
            (Availability, IN_STOCK),
            (Condition, "-"),
        ]],
    },
    Case {
        page: "Product: identifiers",
        document: r#"<script type="application/ld+json">{"@context":"https://schema.org/","@type":"Product",
                "sku":"F-14","mpn":"HAL-S14","gtin14":"04006588234017","name":"Siltwind 14 fan",
                "brand":{"@type":"Brand","name":"Haldrune"},
                "offers":{"@type":"Offer","url":"https://shop.example/siltwind","priceCurrency":"EUR","price":"55.00",
                "priceValidUntil":"2026-11-20","itemCondition":"https://schema.org/UsedCondition",
                "availability":"https://schema.org/InStock"}}</script>"#,
        offers: &[&[
            (Sku, "F-14"),
            (Mpn, "HAL-S14"),
            (Gtin, "04006588234017"),
            (Brand, "Haldrune"),
            (Link, "https://shop.example/siltwind"),
            (ValidUntil, "2026-11-20"),
            (Condition, "https://schema.org/UsedCondition"),
        ]],
    },
    Case {
        page: "AggregateOffer: a range over sellers",
        document: r#"<script type="application/ld+json">{"@context":"https://schema.org","@type":"Product",
                "name":"Lumevar 30 panel","offers":{"@type":"AggregateOffer","highPrice":"1495","lowPrice":"1250",
                "priceCurrency":"EUR","offerCount":"8","offers":[
                {"@type":"Offer","url":"https://one.example/lumevar"},{"@type":"Offer","url":"https://two.example/lumevar"}]}}</script>"#,
        // The sellers are named, their prices are not: the ends of the range are nobody's.
        offers: &[
            &[
                (Price, "-"),
                (Link, "https://one.example/lumevar"),
                (Currency, "EUR"),
            ],
            &[(Price, "-"), (Link, "https://two.example/lumevar")],
        ],
    },
    Case {
        page: "Offer: the offer names what it offers, and its seller",
        document: r#"<script type="application/ld+json">{"@context":"https://schema.org","@type":"Offer",
                "itemOffered":{"@type":"Product","name":"Quay A13 board","gtin13":"4006588234017"},
                "seller":{"@type":"Organization","name":"Brindlemark"},"price":"118.90","priceCurrency":"EUR",
                "businessFunction":"http://purl.org/goodrelations/v1#Sell","availability":"https://schema.org/PreOrder"}</script>"#,
        offers: &[&[
            (Title, "Quay A13 board"),
            (Gtin, "4006588234017"),
            (Seller, "Brindlemark"),
            (Price, "118.90"),
            (Availability, "https://schema.org/PreOrder"),
        ]],
    },
    Case {
        // Offer.deliveryLeadTime and Offer.availabilityStarts, with units of UN/CEFACT's.
        page: "Offer: how long it takes, and from when",
        document: r#"<script type="application/ld+json">{"@context":"https://schema.org","@type":"Product",
                "name":"Rowan 2 TB","offers":[{"@type":"Offer","price":"118.90","priceCurrency":"EUR",
                "availability":"https://schema.org/PreOrder","availabilityStarts":"2026-12-01",
                "deliveryLeadTime":{"@type":"QuantitativeValue","minValue":1,"maxValue":2,"unitCode":"WEE"}},
                {"@type":"Offer","price":"120.90","priceCurrency":"EUR",
                "deliveryLeadTime":{"@type":"QuantitativeValue","value":"3","unitCode":"DAY"}},
                {"@type":"Offer","price":"121.90","priceCurrency":"EUR","deliveryLeadTime":"3 days"}]}</script>"#,
        offers: &[
            &[
                (Price, "118.90"),
                (LeadTime, "2 WEE"),
                (AvailableFrom, "2026-12-01"),
            ],
            &[(Price, "120.90"), (LeadTime, "3 DAY"), (AvailableFrom, "-")],
            &[(Price, "121.90"), (LeadTime, "3 days")],
        ],
    },
    Case {
        page: "UnitPriceSpecification: the price of one, and a list price beside it",
        document: r#"<script type="application/ld+json">{"@context":"https://schema.org","@type":"Product",
                "name":"Rowan 1 TB","offers":{"@type":"Offer","priceSpecification":[
                {"@type":"UnitPriceSpecification","price":89.90,"priceCurrency":"EUR","priceType":"https://schema.org/ListPrice"},
                {"@type":"UnitPriceSpecification","price":69.90,"priceCurrency":"EUR","valueAddedTaxIncluded":true,
                 "referenceQuantity":{"@type":"QuantitativeValue","value":"1","unitCode":"C62"}}]}}</script>"#,
        offers: &[&[
            (Price, "69.90"),
            (ListPrice, "89.90"),
            (Currency, "EUR"),
            (TaxIncluded, "true"),
        ]],
    },
    Case {
        page: "UnitPriceSpecification: so much a month, by its unit and by its billing",
        document: r#"<script type="application/ld+json">{"@context":"https://schema.org","@type":"Product",
                "name":"Rowan 1 TB","offers":[
                {"@type":"Offer","priceSpecification":{"@type":"UnitPriceSpecification","price":"4.99","priceCurrency":"EUR","unitCode":"MON"}},
                {"@type":"Offer","priceSpecification":{"@type":"UnitPriceSpecification","price":"5.99","priceCurrency":"EUR","billingIncrement":1,"unitCode":"MON"}},
                {"@type":"Offer","priceSpecification":{"@type":"UnitPriceSpecification","price":"69.90","priceCurrency":"EUR","unitCode":"C62"}}]}</script>"#,
        offers: &[&[(Price, "-")], &[(Price, "-")], &[(Price, "69.90")]],
    },
    Case {
        page: "OfferItemCondition: bare, as an address, and as a thing",
        document: r#"<script type="application/ld+json">{"@context":"https://schema.org","@type":"Product","name":"Fan","offers":[
                {"@type":"Offer","price":"9","itemCondition":"NewCondition"},
                {"@type":"Offer","price":"8","itemCondition":"https://schema.org/RefurbishedCondition"},
                {"@type":"Offer","price":"7","itemCondition":{"@id":"https://schema.org/DamagedCondition"}}]}</script>"#,
        offers: &[
            &[(Price, "9"), (Condition, "NewCondition")],
            &[
                (Price, "8"),
                (Condition, "https://schema.org/RefurbishedCondition"),
            ],
            &[
                (Price, "7"),
                (Condition, "https://schema.org/DamagedCondition"),
            ],
        ],
    },
];

#[test]
fn json_ld_as_the_vocabulary_shows_it() {
    check(JSON_LD);
}

const MICRODATA: &[Case] = &[
    Case {
        page: "Offer: a symbol with the currency in its content, a link for what is in stock",
        document: r#"<div itemscope itemtype="https://schema.org/Product"><span itemprop="brand">Drefholm</span>
                <span itemprop="name">Loft 12 case</span><img itemprop="image" src="loft.jpg" alt="Loft 12">
                Product #: <span itemprop="mpn">DRE-12</span>
                <span itemprop="offers" itemscope itemtype="https://schema.org/Offer">Regular price: 179,99 €
                <span itemprop="priceCurrency" content="EUR">€</span><span itemprop="price" content="1000.00">1.000,00</span>
                (Sale ends <time itemprop="priceValidUntil" datetime="2026-11-05">5 November!</time>)
                Available from: <span itemprop="seller" itemscope itemtype="https://schema.org/Organization">
                <span itemprop="name">Brindlemark</span></span> Condition:
                <link itemprop="itemCondition" href="https://schema.org/UsedCondition">Previously owned
                <link itemprop="availability" href="https://schema.org/InStock">In stock! Order now!</span></div>"#,
        offers: &[&[
            (Title, "Loft 12 case"),
            (Brand, "Drefholm"),
            (Mpn, "DRE-12"),
            (Price, "1000.00"),
            (Currency, "EUR"),
            (ValidUntil, "2026-11-05"),
            (Seller, "Brindlemark"),
            (Condition, "https://schema.org/UsedCondition"),
            (Availability, IN_STOCK),
        ]],
    },
    Case {
        page: "AggregateOffer: from, to and how many in the text",
        document: r#"<div itemscope itemtype="https://schema.org/Product"><a itemprop="url" href="https://shop.example/lumevar">
                <span itemprop="name">Lumevar 30 panel</span></a>
                <div itemprop="offers" itemscope itemtype="https://schema.org/AggregateOffer">
                <span itemprop="lowPrice">€1250</span> to <span itemprop="highPrice">€1495</span>
                from <span itemprop="offerCount">8</span> sellers</div></div>"#,
        offers: &[&[(Title, "Lumevar 30 panel"), (Price, "-")]],
    },
    Case {
        page: "ItemAvailability: a link beside the words",
        document: r#"<div itemscope itemtype="https://schema.org/Product"><b itemprop="name">Fan</b>
                <div itemprop="offers" itemscope itemtype="https://schema.org/Offer"><b itemprop="price">9</b>
                <link itemprop="availability" href="https://schema.org/BackOrder">In stock in June</div></div>"#,
        offers: &[&[(Price, "9"), (Availability, "https://schema.org/BackOrder")]],
    },
    Case {
        page: "UnitPriceSpecification: inside the offer, as a thing of its own",
        document: r#"<div itemscope itemtype="https://schema.org/Product"><b itemprop="name">Fan</b>
                <div itemprop="offers" itemscope itemtype="https://schema.org/Offer">
                <div itemprop="priceSpecification" itemscope itemtype="https://schema.org/UnitPriceSpecification">
                <meta itemprop="priceCurrency" content="EUR"><b itemprop="price">9.50</b>
                <meta itemprop="valueAddedTaxIncluded" content="false"></div></div></div>"#,
        offers: &[&[(Price, "9.50"), (Currency, "EUR"), (TaxIncluded, "false")]],
    },
];

#[test]
fn microdata_as_the_vocabulary_shows_it() {
    check(MICRODATA);
}

const RDFA: &[Case] = &[
    Case {
        page: "Product: one offer and a rating",
        document: r#"<div vocab="https://schema.org/" typeof="Product"><span property="name">Siltwind 14 fan</span>
                <div property="aggregateRating" typeof="AggregateRating">Rated <span property="ratingValue">3.5</span>/5
                based on <span property="reviewCount">11</span> reviews</div>
                <div property="offers" typeof="Offer"><span property="priceCurrency" content="EUR">€</span>
                <span property="price" content="55.00">55,00</span>
                <link property="availability" href="https://schema.org/InStock">In stock</div>
                <div property="review" typeof="Review"><span property="name">Fine</span></div></div>"#,
        offers: &[&[
            (Title, "Siltwind 14 fan"),
            (Price, "55.00"),
            (Currency, "EUR"),
            (Availability, IN_STOCK),
        ]],
    },
    Case {
        page: "Offer: condition by a link, seller inside",
        document: r#"<div vocab="https://schema.org/" typeof="Product"><span property="name">Loft 12 case</span>
                <span property="offers" typeof="Offer"><meta property="priceCurrency" content="EUR">€<span property="price">58.90</span>
                <span property="seller" typeof="Organization"><span property="name">Brindlemark</span></span>
                <link property="itemCondition" href="https://schema.org/NewCondition"></span></div>"#,
        offers: &[&[
            (Title, "Loft 12 case"),
            (Price, "58.90"),
            (Seller, "Brindlemark"),
            (Condition, "https://schema.org/NewCondition"),
        ]],
    },
    Case {
        page: "AggregateOffer: one seller is a price",
        document: r#"<div vocab="https://schema.org/" typeof="Product"><span property="name">Fan</span>
                <div property="offers" typeof="AggregateOffer"><span property="lowPrice">9.50</span>
                <span property="highPrice">9.50</span><span property="offerCount">1</span>
                <meta property="priceCurrency" content="EUR"></div></div>"#,
        offers: &[&[(Price, "9.50"), (Currency, "EUR")]],
    },
];

#[test]
fn rdfa_as_the_vocabulary_shows_it() {
    check(RDFA);
}
