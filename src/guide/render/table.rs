//! The picks as CSV: RFC 4180, and safe for spreadsheets.

use crate::guide::view::{OrderLine, PickView, View, decimal};

const COLUMNS: [&str; 13] = [
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
    "country",
];

pub fn render(view: &View) -> String {
    let heading = COLUMNS.map(str::to_owned);
    let home = bought(
        (&view.country, &view.currency),
        (&view.picks, &view.orders, &view.disclosures),
    );
    let elsewhere = view.countries.iter().flat_map(|one| {
        bought(
            (&one.country, &one.currency),
            (&one.picks, &one.orders, &one.disclosures),
        )
    });
    let rows = std::iter::once(heading).chain(home).chain(elsewhere);
    rows.map(|row| {
        let cells = row.map(|cell| quoted(&cell));
        // RFC 4180, section 2.1: lines end with CRLF.
        cells.join(",") + "\r\n"
    })
    .collect()
}

type Row = [String; COLUMNS.len()];

/// The picks in a country, its orders, and the disclosures of its links.
fn bought(
    (country, currency): (&str, &str),
    (picks, orders, disclosures): (&[PickView], &[OrderLine], &[String]),
) -> Vec<Row> {
    let picks = picks.iter().map(|pick| {
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
            decimal(pick.landed_minor, currency),
            currency.to_owned(),
            pick.link.clone().unwrap_or_default(),
            pick.seen_at.clone().unwrap_or_default(),
            country.to_owned(),
        ]
    });
    let other = |role: &str, words: &str| {
        let mut row = Row::default();
        row[0] = role.to_owned();
        row[2] = words.to_owned();
        row[12] = country.to_owned();
        row
    };
    let orders = orders.iter().map(|order| {
        let mut row = other("order", &order.words);
        row[8] = decimal(order.minor, currency);
        row[9] = currency.to_owned();
        row
    });
    let disclosures = disclosures.iter();
    let disclosures = disclosures.map(|disclosure| other("disclosure", disclosure));
    picks.chain(orders).chain(disclosures).collect()
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
