//! Matching, a test for each pitfall, and what is left open is not guessed.

mod pitfalls_keys;
mod pitfalls_titles;
mod titles;

use super::*;
use crate::catalogue::{Gtin, load_catalogue};
use crate::market::offer::{Availability, Condition, Offer, RetailerId, Sku};
use crate::money::{Currency, Money};

/// Siblings one attribute apart.
const CARDS: &[(&str, &str, &str, &str)] = &[
    (
        "card",
        "gpu",
        "Norvant Fenrir 8810 16GB",
        "mpn = \"NV-8810/16G\";gtin = \"6291041500213\"",
    ),
    (
        "card-oc",
        "gpu",
        "Norvant Fenrir 8810 OC 16GB",
        "mpn = \"NV-8810/16G-OC\"",
    ),
    (
        "card-xt",
        "gpu",
        "Norvant Fenrir 8810 XT 16GB",
        "gtin = \"7300011000017\"",
    ),
    (
        "card-12",
        "gpu",
        "Norvant Fenrir 8820 12GB",
        "mpn = \"8820\"",
    ),
    ("card-8", "gpu", "Norvant Fenrir 8820 8GB", ""),
];

/// What an offer says of its part.
#[derive(Default, Clone, Copy)]
struct Says<'t> {
    title: &'t str,
    brand: Option<&'t str>,
    gtin: Option<&'t str>,
    mpn: Option<&'t str>,
}

impl<'t> Says<'t> {
    fn title(title: &'t str) -> Says<'t> {
        Says {
            title,
            ..Says::default()
        }
    }
}

fn offer(says: Says<'_>) -> Offer {
    let gtin = says.gtin.and_then(|gtin| Gtin::parse(gtin).ok());
    Offer {
        retailer: RetailerId::new("r"),
        sku: Sku::new("1"),
        title: says.title.to_owned(),
        brand: says.brand.map(str::to_owned),
        gtins: gtin.into_iter().collect(),
        mpn: says.mpn.map(str::to_owned),
        price: Money::from_minor(100, Currency::EUR),
        list_price: None,
        tax_included: true,
        availability: Availability::InStock,
        lead_days: None,
        available_from: None,
        condition: Condition::New,
        seller: None,
        shipping: None,
        minimum_quantity: 1,
        link: None,
        valid_until: None,
        properties: Vec::new(),
        notes: Vec::new(),
    }
}

/// One part a line: id, kind, name, then TOML assignments.
fn matcher(parts: &[(&str, &str, &str, &str)]) -> Matcher {
    let parts = parts.iter().map(|(id, kind, name, rest)| {
        let is_keyed = rest.contains("mpn") || rest.contains("gtin");
        let key = if is_keyed { String::new() } else { format!("mpn = \"{id}\"\n") };
        let rest = rest.replace(';', "\n");
        format!(
            "[[part]]\nid = \"{id}\"\nkind = \"{kind}\"\nname = '{name}'\nbrand = \"Norvant\"\n{key}{rest}\n"
        )
    });
    let text: String = parts.collect();
    let (catalogue, faults) = load_catalogue(&[("c.toml", &text)]);
    assert_eq!(faults, [], "{text}");
    Matcher::new(&catalogue)
}

/// The part that an offer is taken for; `-` where it is none, `?` where the author is asked.
fn answer(matcher: &Matcher, says: Says<'_>) -> String {
    match matcher.match_offer(&offer(says), None) {
        Matching::Part(found) => found.part.to_string(),
        Matching::None => "-".to_owned(),
        Matching::Review { .. } | Matching::Contradiction(..) => "?".to_owned(),
    }
}

fn check_titles(matcher: &Matcher, titles: &[(&str, &str)]) {
    for (title, expected) in titles {
        let matching = matcher.match_offer(&offer(Says::title(title)), None);
        assert_eq!(
            answer(matcher, Says::title(title)),
            *expected,
            "{title}: {matching:?}"
        );
    }
}
