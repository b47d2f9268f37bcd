//! The picks in schema.org's terms as JSON-LD: an ItemList of Products with their Offers.

use crate::guide::view::{PickView, View, decimal};
use serde_json::{Map, Value, json};

/// JSON that may stand in a script element: HTML, section 4.12.1.3, ends one at `</script`.
pub fn script(view: &View) -> String {
    let elements = view.picks.iter().enumerate().map(|(number, pick)| {
        json!({ "@type": "ListItem", "position": number + 1, "item": product(pick) })
    });
    let list = json!({
        "@context": "https://schema.org",
        "@type": "ItemList",
        "name": view.title,
        "numberOfItems": view.picks.len(),
        "itemListElement": elements.collect::<Vec<Value>>(),
    });
    list.to_string()
        .replace('<', "\\u003c")
        .replace('>', "\\u003e")
        .replace('&', "\\u0026")
        .replace('\u{2028}', "\\u2028")
        .replace('\u{2029}', "\\u2029")
}

fn product(pick: &PickView) -> Value {
    let mut product = Map::new();
    product.insert("@type".to_owned(), json!("Product"));
    product.insert("name".to_owned(), json!(pick.name));
    if let Some(brand) = &pick.brand {
        product.insert(
            "brand".to_owned(),
            json!({ "@type": "Brand", "name": brand }),
        );
    }
    for (key, value) in [("mpn", &pick.mpn), ("gtin", &pick.gtin)] {
        if let Some(value) = value {
            product.insert(key.to_owned(), json!(value));
        }
    }
    if let Some(offer) = offer(pick) {
        product.insert("offers".to_owned(), offer);
    }
    Value::Object(product)
}

fn offer(pick: &PickView) -> Option<Value> {
    let price = decimal(pick.price_minor?, &pick.price_currency);
    let mut offer = json!({
        "@type": "Offer",
        "price": price,
        "priceCurrency": pick.price_currency,
        "seller": { "@type": "Organization", "name": pick.retailer },
        "priceSpecification": {
            "@type": "UnitPriceSpecification",
            "price": price,
            "priceCurrency": pick.price_currency,
            "valueAddedTaxIncluded": pick.tax_included,
        },
    });
    if let Some(sku) = &pick.sku {
        offer["sku"] = json!(sku);
    }
    if let Some(link) = &pick.link {
        offer["url"] = json!(link);
    }
    if let Some(availability) = &pick.availability {
        offer["availability"] = json!(format!("https://schema.org/{availability}"));
    }
    Some(offer)
}
