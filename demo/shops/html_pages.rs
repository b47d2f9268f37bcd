//! Product pages with schema.org JSON-LD, and an index of them.
//!
//! Titles are escaped for where they stand: as text in the page, as JSON in the script.

use super::csv_export::german_amount;
use super::site::Site;
use crate::demo::world::{Offer, Stock, Supply, decimal};
use serde_json::{Value, json};
use std::fmt::Write as _;

const CONTENT_TYPE: &str = "text/html; charset=utf-8";

/// The page that links to every offer.
pub fn render_index(stock: &Stock, site: &mut Site) {
    let mut list = String::new();
    for offer in &stock.offers {
        // Writing to a string cannot fail.
        let _ = writeln!(
            list,
            "<li><a class=\"angebot\" href=\"/artikel/{}\">{}</a></li>",
            offer.sku,
            escape(&offer.title)
        );
    }
    let shop = stock.shop.name();
    let body = format!("<h1>{shop}</h1>\n<ul>\n{list}</ul>\n<a href=\"/warenkorb\">Warenkorb</a>");
    site.add("/", CONTENT_TYPE, page(shop, "", &body));
}

/// One page for each offer.
pub fn render_offers(stock: &Stock, base: &str, site: &mut Site) {
    for offer in &stock.offers {
        let path = format!("/artikel/{}", offer.sku);
        let link = format!("{base}{path}");
        let script = format!(
            "<script type=\"application/ld+json\">{}</script>\n",
            // A title may hold `</script>`; the escape is the same character to JSON.
            structured(offer, &link).to_string().replace('<', "\\u003c")
        );
        let price = offer
            .cents
            .map_or("Preis auf Anfrage".to_owned(), german_amount);
        let title = escape(&offer.title);
        let body = format!("<h1>{title}</h1>\n<p class=\"preis\">{price}</p>");
        site.add(path, CONTENT_TYPE, page(&title, &script, &body));
    }
}

/// schema.org Product with its Offer.
fn structured(offer: &Offer, link: &str) -> Value {
    let supply = match offer.supply {
        Supply::InStock => "https://schema.org/InStock",
        Supply::Few => "https://schema.org/LimitedAvailability",
        Supply::SoldOut => "https://schema.org/SoldOut",
    };
    let condition = match offer.used {
        true => "https://schema.org/UsedCondition",
        false => "https://schema.org/NewCondition",
    };
    let mut product = json!({
        "@context": "https://schema.org",
        "@type": "Product",
        "name": offer.title,
        "sku": offer.sku,
        "offers": {
            "@type": "Offer",
            "priceCurrency": "EUR",
            "availability": supply,
            "itemCondition": condition,
            "url": link,
        },
    });
    let known = [("gtin13", &offer.gtin), ("mpn", &offer.mpn)];
    for (key, value) in known {
        if let Some(value) = value {
            product[key] = json!(value);
        }
    }
    if !offer.brand.is_empty() {
        product["brand"] = json!({ "@type": "Brand", "name": offer.brand });
    }
    if let Some(cents) = offer.cents {
        product["offers"]["price"] = json!(decimal(cents));
    }
    product
}

fn page(title: &str, head: &str, body: &str) -> String {
    format!(
        "<!doctype html>\n<html lang=\"de\">\n<head>\n<meta charset=\"utf-8\">\n\
         <title>{title}</title>\n{head}</head>\n<body>\n{body}\n</body>\n</html>\n"
    )
}

fn escape(text: &str) -> String {
    text.replace('&', "&amp;")
        .replace('<', "&lt;")
        .replace('>', "&gt;")
        .replace('"', "&quot;")
}
