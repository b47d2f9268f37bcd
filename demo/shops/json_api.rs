//! The second shop's interface: JSON with the price inside an object of its own.

use super::site::Site;
use crate::demo::world::{Offer, Stock, Supply, decimal};
use serde_json::{Value, json};

pub fn render(stock: &Stock, base: &str, site: &mut Site) {
    let offers: Vec<Value> = stock
        .offers
        .iter()
        .map(|offer| record(offer, base))
        .collect();
    let document = json!({
        "shop": stock.shop.name(),
        "count": offers.len(),
        "offers": offers,
    });
    site.add("/api/offers.json", "application/json", document.to_string());
}

fn record(offer: &Offer, base: &str) -> Value {
    let supply = match offer.supply {
        Supply::InStock => "InStock",
        Supply::Few => "LimitedAvailability",
        Supply::SoldOut => "SoldOut",
    };
    json!({
        "id": offer.sku,
        "title": offer.title,
        "maker": offer.brand,
        "codes": { "ean": offer.gtin, "part_number": offer.mpn },
        "price": { "amount": amount(offer.cents), "currency": "EUR" },
        "stock": supply,
        "state": if offer.used { "used" } else { "new" },
        "url": format!("{base}/artikel/{}", offer.sku),
    })
}

/// A JSON number with both its decimals, as in `489.90`; null for a price on request.
fn amount(cents: Option<u32>) -> Value {
    cents.map_or(Value::Null, |cents| {
        serde_json::from_str(&decimal(cents)).expect("digits, a dot and two digits are JSON")
    })
}
