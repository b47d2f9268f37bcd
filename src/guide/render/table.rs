//! The picks as CSV: RFC 4180, and safe for spreadsheets.

use crate::guide::view::{View, decimal};

const COLUMNS: [&str; 12] = [
    "role",
    "part",
    "name",
    "quantity",
    "retailer",
    "sku",
    "price",
    "price_currency",
    "landed",
    "currency",
    "link",
    "seen_at",
];

pub fn render(view: &View) -> String {
    let heading = COLUMNS.map(str::to_owned);
    let picks = view.picks.iter().map(|pick| {
        let price = pick
            .price_minor
            .map(|minor| decimal(minor, &pick.price_currency));
        [
            pick.role.clone(),
            pick.part.clone(),
            pick.name.clone(),
            pick.quantity.to_string(),
            pick.retailer.clone().unwrap_or_default(),
            pick.sku.clone().unwrap_or_default(),
            price.unwrap_or_default(),
            pick.price_currency.clone(),
            decimal(pick.landed_minor, &view.currency),
            view.currency.clone(),
            pick.link.clone().unwrap_or_default(),
            pick.seen_at.clone().unwrap_or_default(),
        ]
    });
    let orders = view.orders.iter().map(|order| {
        let mut row: [String; 12] = Default::default();
        row[0] = "order".to_owned();
        row[2] = order.words.clone();
        row[8] = decimal(order.minor, &view.currency);
        row[9] = view.currency.clone();
        row
    });
    let disclosures = view.disclosures.iter().map(|disclosure| {
        let mut row: [String; 12] = Default::default();
        row[0] = "disclosure".to_owned();
        row[2] = disclosure.clone();
        row
    });
    let rows = std::iter::once(heading)
        .chain(picks)
        .chain(orders)
        .chain(disclosures);
    rows.map(|row| {
        let cells = row.map(|cell| quoted(&cell));
        // RFC 4180, section 2.1: lines end with CRLF.
        cells.join(",") + "\r\n"
    })
    .collect()
}

/// A cell. One that a spreadsheet would run begins with an apostrophe (OWASP, CSV Injection), and
/// each is quoted (RFC 4180, sections 2.5 to 2.7).
fn quoted(cell: &str) -> String {
    let is_number = cell.parse::<f64>().is_ok_and(f64::is_finite);
    let acts = |first: char| {
        matches!(
            first,
            '=' | '+' | '-' | '@' | '\t' | '\r' | '\n' | '＝' | '＋' | '－' | '＠'
        )
    };
    let guard = match cell.chars().next() {
        Some(first) if acts(first) && !is_number => "'",
        _ => "",
    };
    format!("\"{guard}{}\"", cell.replace('"', "\"\""))
}
