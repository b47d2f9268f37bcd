//! Retailers: where a shop is, what its prices mean, and what delivery costs.

use super::link::LinkTerms;
use super::offer::RetailerId;
use super::terms::{Terms, read_percent};
use crate::catalogue::Catalogue;
use crate::catalogue::table::Table;
use crate::money::{Currency, Money, Rate};
use chrono::NaiveDate;
use std::collections::BTreeMap;

/// A shop as the author configured it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Retailer {
    pub id: RetailerId,
    pub name: String,
    /// ISO 3166-1 alpha-2.
    pub country: String,
    pub currency: Currency,
    /// How its pages write numbers, a BCP 47 tag such as `de` or `en-GB`.
    pub locale: Option<String>,
    pub prices_include_tax: bool,
    /// Hundredths of a percent: 1900 for 19 %. Added to prices that exclude tax.
    pub tax_percent_hundredths: u32,
    /// Delivery of each single pick, where neither its offer nor `terms` say.
    pub delivery_per_pick: Money,
    pub terms: Terms,
    pub links: LinkTerms,
    /// What its currency buys of others, by the author's own table.
    pub exchange: Vec<Rate>,
}

impl Retailer {
    /// Reads the keys that describe the shop; the caller reads its feeds and finishes the table.
    pub fn read(id: &str, table: &mut Table<'_, '_>, catalogue: &Catalogue) -> Option<Retailer> {
        let name = table.required_text("name").map(|name| name.value);
        let country = table.required_text("country");
        let currency = read_currency(table, "currency");
        let locale = table.text("locale").map(|locale| locale.value);
        let prices_include_tax = table
            .flag("prices_include_tax")
            .is_none_or(|flag| flag.value);
        let has_tax = table.has("tax_percent");
        let tax = match has_tax {
            true => read_percent(table, "tax_percent"),
            false => Some(0),
        };
        if !prices_include_tax && !has_tax {
            let message = "prices exclude tax, but `tax_percent` is missing";
            table
                .document()
                .fault(&table.span(), message, "add `tax_percent = ...`");
        }
        let country =
            country.and_then(|country| read_country(table, &country.value, &country.span));
        let currency = currency?;
        let delivery_per_pick = table.money("delivery_per_pick", currency);
        Some(Retailer {
            id: RetailerId::new(id),
            name: name?,
            country: country?,
            currency,
            locale,
            prices_include_tax,
            tax_percent_hundredths: tax?,
            delivery_per_pick: delivery_per_pick.map_or(Money::zero(currency), |at| at.value),
            terms: Terms::read(table, currency, catalogue),
            links: table.table("link").map(LinkTerms::read).unwrap_or_default(),
            exchange: Vec::new(),
        })
    }
}

/// The retailers with the terms that hold on a day.
pub fn retailers_on(
    retailers: &BTreeMap<RetailerId, Retailer>,
    day: NaiveDate,
) -> BTreeMap<RetailerId, Retailer> {
    let on_day = |retailer: &Retailer| Retailer {
        terms: retailer.terms.on(day),
        ..retailer.clone()
    };
    let retailers = retailers.iter();
    retailers
        .map(|(id, one)| (id.clone(), on_day(one)))
        .collect()
}

/// Reads a required key that names a currency.
pub fn read_currency(table: &mut Table<'_, '_>, key: &'static str) -> Option<Currency> {
    let code = table.required_text(key)?;
    match Currency::parse(&code.value) {
        Ok(currency) => Some(currency),
        Err(unknown) => {
            let remedy = "write a three-letter code such as \"EUR\"";
            table
                .document()
                .fault(&code.span, unknown.to_string(), remedy);
            None
        }
    }
}

/// Checks the form of a country code: two letters, kept in upper case.
pub fn read_country(
    table: &Table<'_, '_>,
    text: &str,
    span: &std::ops::Range<usize>,
) -> Option<String> {
    let code = text.trim().to_ascii_uppercase();
    if code.len() == 2 && code.bytes().all(|byte| byte.is_ascii_uppercase()) {
        return Some(code);
    }
    let message = format!("\"{text}\" is not a country code");
    table.document().fault(
        span,
        message,
        "write two letters of ISO 3166-1 such as \"DE\"",
    );
    None
}
