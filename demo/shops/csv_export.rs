//! The first shop's export: semicolons, decimal commas, German headings, Windows-1252.

use super::site::Site;
use crate::demo::world::{Offer, Stock, Supply, decimal};

const HEADINGS: [&str; 9] = [
    "Artikelnr",
    "Bezeichnung",
    "Hersteller",
    "EAN",
    "Herstellernr",
    "Preis",
    "Lager",
    "Zustand",
    "Link",
];

pub fn render(stock: &Stock, base: &str, site: &mut Site) {
    let mut writer = csv::WriterBuilder::new()
        .delimiter(b';')
        .terminator(csv::Terminator::CRLF)
        .from_writer(Vec::new());
    let proof = "a vector takes every byte, and all rows have nine cells";
    writer.write_record(HEADINGS).expect(proof);
    for offer in &stock.offers {
        writer.write_record(row(offer, base)).expect(proof);
    }
    let utf8 = writer.into_inner().expect(proof);
    let text = String::from_utf8_lossy(&utf8);
    let (bytes, _, _) = encoding_rs::WINDOWS_1252.encode(&text);
    site.add(
        "/export/artikel.csv",
        "text/csv; charset=windows-1252",
        bytes.into_owned(),
    );
}

fn row(offer: &Offer, base: &str) -> [String; 9] {
    let supply = match offer.supply {
        Supply::InStock => "auf Lager",
        Supply::Few => "wenige",
        Supply::SoldOut => "ausverkauft",
    };
    let condition = if offer.used { "B-Ware" } else { "neu" };
    [
        offer.sku.clone(),
        offer.title.clone(),
        offer.brand.clone(),
        offer.gtin.clone().unwrap_or_default(),
        offer.mpn.clone().unwrap_or_default(),
        offer.cents.map_or("auf Anfrage".to_owned(), german_amount),
        supply.to_owned(),
        condition.to_owned(),
        format!("{base}/artikel/{}", offer.sku),
    ]
}

/// 129990 is `1.299,90 €`.
pub fn german_amount(cents: u32) -> String {
    let plain = decimal(cents % 100_000).replace('.', ",");
    match cents / 100_000 {
        0 => format!("{plain} €"),
        thousands => format!("{thousands}.{plain:0>6} €"),
    }
}
