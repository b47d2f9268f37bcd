//! Price tags in a page's head, `<meta property="product:price:amount" …>`, read only where the
//! feed's settings name `opengraph`: they are often stale or meant for another country.
//!
//! `og:title` and `og:url` are of the Open Graph protocol (ogp.me); the product names are common
//! practice, no source.

use crate::market::{Field, RawOffer, RawText};
use scraper::{Html, Selector};

const NAMES: [(&str, Field); 15] = [
    ("product:price:amount", Field::Price),
    ("og:price:amount", Field::Price),
    ("product:price:currency", Field::Currency),
    ("og:price:currency", Field::Currency),
    ("og:title", Field::Title),
    ("og:url", Field::Link),
    ("product:availability", Field::Availability),
    ("og:availability", Field::Availability),
    ("product:condition", Field::Condition),
    ("product:brand", Field::Brand),
    ("product:retailer_item_id", Field::Sku),
    ("product:mfr_part_no", Field::Mpn),
    ("product:ean", Field::Gtin),
    ("product:upc", Field::Gtin),
    ("product:sale_price:amount", Field::SalePrice),
];

/// The offer that the page's head states; `None` without a price.
pub(super) fn read_metas(page: &Html) -> Option<RawOffer> {
    let metas = Selector::parse("meta[content]").ok()?;
    let mut offer = RawOffer::default();
    for meta in page.select(&metas) {
        let name = meta.attr("property").or_else(|| meta.attr("name"));
        let field = NAMES.iter().find(|(known, _)| Some(*known) == name);
        let content = meta.attr("content").unwrap_or("");
        if let Some((_, field)) = field
            && !content.trim().is_empty()
        {
            offer.push(*field, RawText::machine(content));
        }
    }
    offer.first(Field::Price)?;
    Some(offer)
}
