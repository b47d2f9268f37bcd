//! Whole records through the front door, with the id of the pitfall each case comes from.

use super::*;
use crate::market::raw::{Origin, RawText};
use crate::market::{Availability, Condition};
use crate::money::{Currency, Money, NumberMarks, PriceFault};
use proptest::prelude::*;
use std::convert::Infallible;

fn now() -> DateTime<Utc> {
    DateTime::parse_from_rfc3339("2026-06-10T12:00:00Z")
        .unwrap()
        .to_utc()
}

fn settings() -> NormaliseSettings {
    NormaliseSettings {
        retailer_name: "Nordhafen Technik".to_owned(),
        marks: NumberMarks::of_locale("de"),
        ..NormaliseSettings::of("nordhafen", "DE", Currency::EUR)
    }
}

/// A record with a number and a title, and the fields given.
fn record(fields: &[(Field, &str)]) -> RawOffer {
    let mut raw = RawOffer {
        index: 7,
        ..RawOffer::default()
    };
    raw.push(Field::Sku, RawText::person("N-1"));
    raw.push(Field::Title, RawText::person("Fenrir 9080 OC"));
    for (field, text) in fields {
        raw.push(*field, RawText::person(*text));
    }
    raw
}

fn run(fields: &[(Field, &str)]) -> Normalised {
    normalise(&record(fields), &settings(), now())
}

fn accepted(fields: &[(Field, &str)]) -> Offer {
    match run(fields) {
        Normalised::Accepted(offer) => offer,
        other => panic!("{other:?}"),
    }
}

fn held(fields: &[(Field, &str)]) -> &'static str {
    match run(fields) {
        Normalised::Held { reason, .. } => reason.code(),
        other => panic!("{other:?}"),
    }
}

fn refused(fields: &[(Field, &str)]) -> (Field, &'static str) {
    match run(fields) {
        Normalised::Refused(refusal) => (refusal.field, refusal.reason.code()),
        other => panic!("{other:?}"),
    }
}

fn eur(minor: i64) -> Money {
    Money::from_minor(minor, Currency::EUR)
}

#[test]
fn a_full_record_becomes_an_offer() {
    let offer = accepted(&[
        (Field::Brand, "Fenrir"),
        (Field::Gtin, "'4006588234017"),
        (Field::Gtin, "8.80609E+12"),
        (Field::Mpn, "FN-9080/16G-OC"),
        (Field::Price, "1.299,00 € inkl. MwSt."),
        (Field::ListPrice, "1.449,00 €"),
        (Field::Availability, "auf Lager"),
        (Field::Condition, "neu"),
        (Field::Shipping, "DE:::4.99 EUR"),
        (Field::Link, "https://nordhafen.example/p/1"),
        (Field::Seller, "Nordhafen Technik GmbH"),
    ]);
    assert_eq!(offer.price, eur(129_900));
    assert_eq!(offer.list_price, Some(eur(144_900)));
    assert_eq!(offer.shipping, Some(eur(499)));
    assert!(offer.tax_included);
    assert_eq!(offer.availability, Availability::InStock);
    assert_eq!(offer.condition, Condition::New);
    assert_eq!(offer.seller, None);
    assert_eq!(offer.gtins.len(), 1);
    assert_eq!(offer.link.as_deref(), Some("https://nordhafen.example/p/1"));
    assert_eq!(offer.minimum_quantity, 1);
    assert_eq!(
        offer.notes,
        ["gtin: \"8.80609E+12\" has characters that are not digits, left out"]
    );
}

#[test]
fn how_long_it_takes_and_from_when_is_read_or_noted() {
    let price = (Field::Price, "12,00");
    let offer = accepted(&[price, (Field::LeadTime, "2-4 Tage")]);
    assert_eq!((offer.lead_days, offer.available_from), (Some(4), None));
    // Google's product feed: `availability_date` beside a preorder (from memory).
    let offer = accepted(&[
        price,
        (Field::Availability, "preorder"),
        (Field::AvailableFrom, "2026-12-24T13:00-0800"),
    ]);
    let from = DateTime::parse_from_rfc3339("2026-12-24T21:00:00Z").unwrap();
    assert_eq!(offer.available_from, Some(from.to_utc()));
    assert_eq!(offer.availability, Availability::PreOrder);
    let offer = accepted(&[
        price,
        (Field::LeadTime, "in Kürze"),
        (Field::AvailableFrom, "bald"),
    ]);
    assert_eq!((offer.lead_days, offer.available_from), (None, None));
    assert_eq!(
        offer.notes,
        [
            "lead_time: \"in Kürze\" is no number of days",
            "available_from: \"bald\" is no date"
        ]
    );
}

#[test]
fn the_currency_comes_from_text_field_or_settings() {
    // F23, S13.
    assert_eq!(accepted(&[(Field::Price, "12,00")]).price, eur(1200));
    assert_eq!(
        accepted(&[(Field::Price, "12"), (Field::Currency, "€")]).price,
        eur(1200)
    );
    assert_eq!(
        accepted(&[(Field::Price, "12"), (Field::Currency, "eur")]).price,
        eur(1200)
    );
    let dollars = accepted(&[(Field::Price, "12.00"), (Field::Currency, "USD")]);
    assert_eq!(dollars.price.to_string(), "USD 12.00");
    // F24.
    let conflict = [(Field::Price, "12.00 USD"), (Field::Currency, "EUR")];
    assert_eq!(held(&conflict), "currency_conflict");
    assert_eq!(
        refused(&[(Field::Price, "12"), (Field::Currency, "XYZ")]),
        (Field::Currency, "currency_unknown")
    );
    // S13: a page that gives no currency gets the retailer's, with a note.
    let mut page = record(&[]);
    page.push(Field::Price, RawText::machine("1299.00"));
    let Normalised::Accepted(offer) = normalise(&page, &settings(), now()) else {
        panic!("refused")
    };
    assert_eq!(offer.price, eur(129_900));
    assert_eq!(offer.notes, ["no currency given, EUR taken"]);
}

#[test]
fn text_of_people_and_of_programs_is_read_differently() {
    // P04.
    let read = |origin| {
        let mut raw = record(&[]);
        let text = "499.000".to_owned();
        raw.push(Field::Price, RawText { text, origin });
        match normalise(&raw, &settings(), now()) {
            Normalised::Accepted(offer) => offer.price,
            other => panic!("{other:?}"),
        }
    };
    assert_eq!(read(Origin::Person), eur(49_900_000));
    assert_eq!(read(Origin::Machine), eur(49_900));
}

#[test]
fn what_is_no_price_is_refused_with_its_field_and_text() {
    // P02, P09, P13, P15, S36.
    for (text, code) in [
        ("ab 329,90 €", "price_from"),
        ("24 × 41,62 €", "price_instalment"),
        ("Preis auf Anfrage", "price_missing"),
        ("0,00", "price_placeholder"),
        ("12,99,00", "price_malformed"),
    ] {
        assert_eq!(
            refused(&[(Field::Price, text)]),
            (Field::Price, code),
            "{text}"
        );
    }
    assert_eq!(refused(&[]), (Field::Price, "price_missing"));
    let open = NormaliseSettings {
        marks: None,
        ..settings()
    };
    let Normalised::Refused(refusal) =
        normalise(&record(&[(Field::Price, "1.299 €")]), &open, now())
    else {
        panic!("accepted")
    };
    assert_eq!(refusal.index, 7);
    assert_eq!(refusal.text, "1.299 €");
    assert_eq!(
        refusal.reason.to_string(),
        "can be read as 1299 or as 1.299: set the retailer's `locale`"
    );
}

#[test]
fn a_sale_price_counts_only_on_its_days() {
    // F25.
    let sale = |from: &'static str, until: &'static str| {
        [
            (Field::Price, "449,00"),
            (Field::SalePrice, "389,00"),
            (Field::SaleFrom, from),
            (Field::SaleUntil, until),
        ]
    };
    let offer = accepted(&sale("2026-06-01T00:00+0200", "2026-06-15T00:00+0200"));
    assert_eq!(
        (offer.price, offer.list_price),
        (eur(38_900), Some(eur(44_900)))
    );
    let offer = accepted(&sale("2026-06-11T00:00+0200", ""));
    assert_eq!((offer.price, offer.list_price), (eur(44_900), None));
    assert_eq!(held(&sale("soon", "")), "sale_dates_unread");
    assert_eq!(
        held(&[(Field::Price, "449,00"), (Field::SalePrice, "ab 389,00")]),
        "sale_price_unread"
    );
    assert_eq!(
        held(&[(Field::Price, "449,00"), (Field::SalePrice, "459,00")]),
        "sale_not_below_price"
    );
    for none in ["", "0", "0,00", "-"] {
        let fields = [(Field::Price, "449,00"), (Field::SalePrice, none)];
        assert_eq!(accepted(&fields).price, eur(44_900), "{none}");
    }
}

#[test]
fn tax_is_what_text_or_field_say_and_else_the_settings() {
    // P25, S12.
    assert!(accepted(&[(Field::Price, "249,00")]).tax_included);
    assert!(!accepted(&[(Field::Price, "249,00 zzgl. MwSt.")]).tax_included);
    let net = [(Field::Price, "249,00"), (Field::TaxIncluded, "false")];
    assert!(!accepted(&net).tax_included);
    let both = [
        (Field::Price, "249,00 inkl. MwSt."),
        (Field::TaxIncluded, "false"),
    ];
    assert_eq!(held(&both), "tax_conflict");
}

#[test]
fn other_sellers_are_told_apart() {
    // S33.
    let fields = [(Field::Price, "249,00"), (Field::Seller, "Wattwerk")];
    assert_eq!(refused(&fields), (Field::Seller, "other_seller"));
    let open = NormaliseSettings {
        allow_marketplace: true,
        ..settings()
    };
    let Normalised::Accepted(offer) = normalise(&record(&fields), &open, now()) else {
        panic!("refused")
    };
    assert_eq!(offer.seller.as_deref(), Some("Wattwerk"));
}

#[test]
fn states_come_from_fields_titles_and_defaults() {
    let priced = |more: &[(Field, &'static str)]| {
        let mut fields = vec![(Field::Price, "249,00")];
        fields.extend_from_slice(more);
        accepted(&fields)
    };
    // S17: never in stock by a slip.
    let offer = priced(&[(Field::Availability, "InStok")]);
    assert_eq!(offer.availability, Availability::Unknown);
    assert_eq!(offer.notes, ["availability: \"InStok\" is not mapped"]);
    assert_eq!(
        priced(&[(Field::Availability, " ")]).notes,
        ["availability: empty"]
    );
    // S18: the first value wins, the conflict is noted.
    let offer = priced(&[
        (Field::Availability, "sold out"),
        (Field::Availability, "InStock"),
    ]);
    assert_eq!(offer.availability, Availability::SoldOut);
    assert_eq!(
        offer.notes,
        ["availability: \"InStock\" disagrees with sold_out"]
    );
    // S34: a missing condition is the feed's default.
    assert_eq!(priced(&[]).condition, Condition::New);
    assert_eq!(
        priced(&[(Field::Condition, "DamagedCondition")]).condition,
        Condition::Damaged
    );
    // M21: the title is worse than the field.
    let mut raw = RawOffer::default();
    for (field, text) in [
        (Field::Sku, "N-2"),
        (Field::Title, "Fenrir 9080 OC - B-Ware"),
        (Field::Condition, "new"),
        (Field::Price, "249,00"),
    ] {
        raw.push(field, RawText::person(text));
    }
    let Normalised::Accepted(offer) = normalise(&raw, &settings(), now()) else {
        panic!("refused")
    };
    assert_eq!(offer.condition, Condition::Used);
    assert_eq!(offer.notes, ["condition: the title says \"b ware\""]);
}

#[test]
fn a_past_validity_date_is_noted_and_keeps_the_offer() {
    // S14.
    let offer = accepted(&[(Field::Price, "249,00"), (Field::ValidUntil, "2024-06-30")]);
    assert_eq!(offer.notes, ["validity date past: 2024-06-30"]);
    let offer = accepted(&[(Field::Price, "249,00"), (Field::ValidUntil, "2026-06-10")]);
    assert!(offer.notes.is_empty() && offer.valid_until > Some(now()));
}

#[test]
fn an_offer_without_its_own_number_is_known_by_the_next_best() {
    let sku = |fields: &[(Field, &str)]| {
        let mut raw = RawOffer::default();
        for (field, text) in fields {
            raw.push(*field, RawText::person(*text));
        }
        raw.push(Field::Price, RawText::person("249,00"));
        match normalise(&raw, &settings(), now()) {
            Normalised::Accepted(offer) => offer.sku.as_str().to_owned(),
            Normalised::Refused(refusal) => refusal.reason.code().to_owned(),
            other => panic!("{other:?}"),
        }
    };
    let title = (Field::Title, "Fenrir 9080");
    assert_eq!(
        sku(&[title, (Field::Gtin, "4006588234017")]),
        "04006588234017"
    );
    assert_eq!(sku(&[title, (Field::Mpn, "FN-9080")]), "FN-9080");
    assert_eq!(
        sku(&[title, (Field::Link, "https://a.example/1")]),
        "https://a.example/1"
    );
    assert_eq!(sku(&[title]), "no_identity");
    assert_eq!(sku(&[(Field::Sku, "1")]), "no_title");
}

#[test]
fn quantities_are_counts_or_refused() {
    // P38.
    let offer = accepted(&[(Field::Price, "89,90 € (min. order 10)")]);
    assert_eq!((offer.price, offer.minimum_quantity), (eur(8990), 10));
    let offer = accepted(&[(Field::Price, "89,90"), (Field::MinimumQuantity, "5")]);
    assert_eq!(offer.minimum_quantity, 5);
    let fields = [(Field::Price, "89,90"), (Field::MinimumQuantity, "many")];
    assert_eq!(
        refused(&fields),
        (Field::MinimumQuantity, "quantity_unread")
    );
}

#[test]
fn repeated_numbers_do_not_depend_on_anything_but_the_feed() {
    // F22.
    let mut repeats = Repeats::default();
    let mut settle = |index, price: &str, link: &str| {
        let raw = record(&[(Field::Price, price), (Field::Link, link)]);
        let Normalised::Accepted(offer) = normalise(&raw, &settings(), now()) else {
            panic!("{price} is a price");
        };
        let earlier = |offer: &Offer| Ok::<_, Infallible>(repeats.of(offer));
        match super::settle(index, offer, earlier) {
            Ok(Settled::Kept(offer)) => {
                repeats.keep(&offer);
                offer.sku.as_str().to_owned()
            }
            Ok(Settled::Refused(refusal)) => refusal.reason.code().to_owned(),
            Ok(Settled::Equal) => "nothing new".to_owned(),
        }
    };
    assert_eq!(settle(1, "249,00", "https://a.example/1"), "N-1");
    assert_eq!(settle(2, "249,00", "https://a.example/1"), "nothing new");
    assert_eq!(settle(3, "259,00", "https://a.example/1"), "repeated");
    assert_eq!(
        settle(4, "259,00", "https://a.example/2"),
        "N-1 https://a.example/2"
    );
    assert_eq!(settle(5, "259,00", "https://a.example/2"), "nothing new");
    assert_eq!(settle(6, "269,00", "https://a.example/2"), "repeated");
}

#[test]
fn every_code_is_stable_and_distinct() {
    let reasons = [
        RefusalReason::Price(PriceFault::NoAmount),
        RefusalReason::NoIdentity,
        RefusalReason::NoTitle,
        RefusalReason::OtherSeller {
            seller: String::new(),
        },
        RefusalReason::Repeated { sku: String::new() },
        RefusalReason::Quantity {
            text: String::new(),
        },
    ];
    let codes: std::collections::BTreeSet<&str> = reasons.iter().map(RefusalReason::code).collect();
    assert_eq!(codes.len(), reasons.len());
}

proptest! {
    #[test]
    fn any_record_is_accepted_held_or_refused(
        values in proptest::collection::vec((0..Field::NAMES.len(), ".{0,40}", any::<bool>()), 0..24),
    ) {
        let mut raw = RawOffer::default();
        for (field, text, machine) in values {
            let origin = if machine { Origin::Machine } else { Origin::Person };
            raw.push(Field::NAMES[field].1, RawText { text, origin });
        }
        if is_timeless(&raw) {
            let later = now() + chrono::TimeDelta::days(4_000);
            let settings = settings();
            prop_assert_eq!(normalise(&raw, &settings, now()), normalise(&raw, &settings, later));
        }
        if let Normalised::Accepted(offer) = normalise(&raw, &settings(), now()) {
            prop_assert!(offer.price.minor() > 0);
            prop_assert!(!offer.title.is_empty() && !offer.title.chars().any(char::is_control));
            prop_assert!(offer.title.chars().count() <= 300);
            prop_assert!(offer.link.is_none_or(|link| link.starts_with("http")));
        }
    }
}
