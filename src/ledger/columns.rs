//! Between columns and the values of the pure modules.

use crate::catalogue::reading::Property;
use crate::market::{Availability, Condition, Offer};
use crate::money::{Currency, Money};
use chrono::{DateTime, Utc};
use rusqlite::types::{ToSqlOutput, Type, ValueRef};
use rusqlite::{Row, Statement, ToSql};
use serde_json::json;
use std::error::Error;

/// The columns that say under which terms an offer stands, in the order of [`Terms::read`].
macro_rules! terms_columns {
    () => {
        "price_minor, currency, availability, list_minor, list_currency, shipping_minor, \
         shipping_currency, tax_included, minimum_quantity, lead_days, available_from_ms"
    };
}
pub(super) use terms_columns;

/// How many columns [`terms_columns`] names.
pub(super) const TERMS_WIDTH: usize = 11;

/// What makes two observations of one offer the same.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Terms {
    pub price: Money,
    pub availability: Availability,
    pub list_price: Option<Money>,
    pub shipping: Option<Money>,
    pub tax_included: bool,
    pub minimum_quantity: u32,
    pub lead_days: Option<u32>,
    pub available_from: Option<DateTime<Utc>>,
}

/// A currency as the text of its code.
struct Code(Currency);

impl ToSql for Code {
    fn to_sql(&self) -> rusqlite::Result<ToSqlOutput<'_>> {
        Ok(self.0.code().into())
    }
}

#[derive(Debug, thiserror::Error)]
#[error("\"{text}\" is no {expected}")]
struct Unknown {
    text: String,
    expected: &'static str,
}

impl Terms {
    pub fn of(offer: &Offer) -> Terms {
        Terms {
            price: offer.price,
            availability: offer.availability,
            list_price: offer.list_price,
            shipping: offer.shipping,
            tax_included: offer.tax_included,
            minimum_quantity: offer.minimum_quantity,
            lead_days: offer.lead_days,
            available_from: offer.available_from,
        }
    }

    /// Binds the columns to the parameters that start at `first`.
    pub fn bind(&self, statement: &mut Statement<'_>, first: usize) -> rusqlite::Result<()> {
        let (list_minor, list_currency) = self.beside_price(self.list_price);
        let (shipping_minor, shipping_currency) = self.beside_price(self.shipping);
        statement.raw_bind_parameter(first, self.price.minor())?;
        statement.raw_bind_parameter(first + 1, Code(self.price.currency()))?;
        statement.raw_bind_parameter(first + 2, self.availability.name())?;
        statement.raw_bind_parameter(first + 3, list_minor)?;
        statement.raw_bind_parameter(first + 4, list_currency.map(Code))?;
        statement.raw_bind_parameter(first + 5, shipping_minor)?;
        statement.raw_bind_parameter(first + 6, shipping_currency.map(Code))?;
        statement.raw_bind_parameter(first + 7, self.tax_included)?;
        statement.raw_bind_parameter(first + 8, self.minimum_quantity)?;
        statement.raw_bind_parameter(first + 9, self.lead_days)?;
        statement.raw_bind_parameter(first + 10, self.available_from.map(millis))
    }

    /// Reads the columns that start at `first`.
    pub fn read(row: &Row<'_>, first: usize) -> rusqlite::Result<Terms> {
        let currency = currency(row, first + 1)?;
        Ok(Terms {
            price: Money::from_minor(row.get(first)?, currency),
            availability: availability(row, first + 2)?,
            list_price: money(row, first + 3, currency)?,
            shipping: money(row, first + 5, currency)?,
            tax_included: row.get(first + 7)?,
            minimum_quantity: row.get(first + 8)?,
            lead_days: row.get(first + 9)?,
            available_from: optional_instant(row, first + 10)?,
        })
    }

    /// True when the columns that start at `first` say just this; cheaper than reading them.
    pub fn stand_in(&self, row: &Row<'_>, first: usize) -> rusqlite::Result<bool> {
        let (list_minor, list_currency) = self.beside_price(self.list_price);
        let (shipping_minor, shipping_currency) = self.beside_price(self.shipping);
        Ok(is_integer(row, first, Some(self.price.minor()))?
            && is_text(row, first + 1, Some(self.price.currency().code()))?
            && is_text(row, first + 2, Some(self.availability.name()))?
            && is_integer(row, first + 3, list_minor)?
            && is_text(row, first + 4, list_currency.as_ref().map(Currency::code))?
            && is_integer(row, first + 5, shipping_minor)?
            && is_text(
                row,
                first + 6,
                shipping_currency.as_ref().map(Currency::code),
            )?
            && is_integer(row, first + 7, Some(i64::from(self.tax_included)))?
            && is_integer(row, first + 8, Some(i64::from(self.minimum_quantity)))?
            && is_integer(row, first + 9, self.lead_days.map(i64::from))?
            && is_integer(row, first + 10, self.available_from.map(millis))?)
    }

    /// These terms at a price of nothing: what they have alike with others.
    pub fn at_no_price(&self) -> Terms {
        self.at_price(0)
    }

    /// These terms at another amount of their currency.
    pub fn at_price(&self, minor: i64) -> Terms {
        Terms {
            price: Money::from_minor(minor, self.price.currency()),
            ..*self
        }
    }

    /// All but the amount of the price, as a JSON list of the columns from the currency on.
    pub fn beside_amount(&self) -> String {
        let (list_minor, list_currency) = self.beside_price(self.list_price);
        let (shipping_minor, shipping_currency) = self.beside_price(self.shipping);
        let columns = json!([
            self.price.currency().code(),
            self.availability.name(),
            list_minor,
            list_currency.as_ref().map(Currency::code),
            shipping_minor,
            shipping_currency.as_ref().map(Currency::code),
            self.tax_included,
            self.minimum_quantity,
            self.lead_days,
            self.available_from.map(millis),
        ]);
        columns.to_string()
    }

    /// Terms at a price of nothing from what [`Terms::beside_amount`] made.
    pub fn of_beside_amount(text: &[u8]) -> Option<Terms> {
        type Columns<'t> = (
            &'t str,
            &'t str,
            Option<i64>,
            Option<&'t str>,
            Option<i64>,
            Option<&'t str>,
            bool,
            u32,
            Option<u32>,
            Option<i64>,
        );
        let columns: Columns<'_> = serde_json::from_slice(text).ok()?;
        let (code, stock, list, list_code, shipping, shipping_code, tax, least, lead, from) =
            columns;
        let currency = Currency::parse(code).ok()?;
        let amount = |minor: Option<i64>, code: Option<&str>| {
            let currency = code.map_or(Some(currency), |code| Currency::parse(code).ok())?;
            Some(minor.map(|minor| Money::from_minor(minor, currency)))
        };
        let available_from = match from {
            Some(from) => Some(DateTime::from_timestamp_millis(from)?),
            None => None,
        };
        Some(Terms {
            price: Money::from_minor(0, currency),
            availability: Availability::parse_name(stock)?,
            list_price: amount(list, list_code)?,
            shipping: amount(shipping, shipping_code)?,
            tax_included: tax,
            minimum_quantity: least,
            lead_days: lead,
            available_from,
        })
    }

    /// The minor units of another amount, and its currency unless it is that of the price.
    fn beside_price(&self, amount: Option<Money>) -> (Option<i64>, Option<Currency>) {
        let currency = amount.map(|amount| amount.currency());
        let foreign = currency.filter(|currency| *currency != self.price.currency());
        (amount.map(|amount| amount.minor()), foreign)
    }
}

/// The instant as it is stored.
pub(super) fn millis(at: DateTime<Utc>) -> i64 {
    at.timestamp_millis()
}

pub(super) fn instant(row: &Row<'_>, column: usize) -> rusqlite::Result<DateTime<Utc>> {
    let millis: i64 = row.get(column)?;
    read_instant(column, millis)
}

pub(super) fn optional_instant(
    row: &Row<'_>,
    column: usize,
) -> rusqlite::Result<Option<DateTime<Utc>>> {
    let millis: Option<i64> = row.get(column)?;
    millis
        .map(|millis| read_instant(column, millis))
        .transpose()
}

pub(super) fn condition(row: &Row<'_>, column: usize) -> rusqlite::Result<Condition> {
    let text = row.get_ref(column)?.as_str()?;
    Condition::parse_name(text).ok_or_else(|| unknown(column, text, "condition"))
}

/// A JSON list of texts.
pub(super) fn texts(row: &Row<'_>, column: usize) -> rusqlite::Result<Vec<String>> {
    read_json(row, column)
}

/// Reads the column of [`super::rows::properties_text`].
pub(super) fn properties(row: &Row<'_>, column: usize) -> rusqlite::Result<Vec<Property>> {
    if row.get_ref(column)? == ValueRef::Null {
        return Ok(Vec::new());
    }
    let stated: Vec<(String, String, Option<String>)> = read_json(row, column)?;
    let stated = stated.into_iter();
    let read = stated.map(|(name, value, unit)| Property { name, value, unit });
    Ok(read.collect())
}

pub(super) fn json(row: &Row<'_>, column: usize) -> rusqlite::Result<serde_json::Value> {
    read_json(row, column)
}

pub(super) fn texts_json(texts: &[String]) -> String {
    serde_json::Value::from(texts).to_string()
}

/// True when the column holds this text, or null for `None`.
pub(super) fn is_text(
    row: &Row<'_>,
    column: usize,
    expected: Option<&str>,
) -> rusqlite::Result<bool> {
    Ok(match (row.get_ref(column)?, expected) {
        (ValueRef::Null, None) => true,
        (ValueRef::Text(found), Some(expected)) => found == expected.as_bytes(),
        _ => false,
    })
}

/// True when the column holds this number, or null for `None`.
pub(super) fn is_integer(
    row: &Row<'_>,
    column: usize,
    expected: Option<i64>,
) -> rusqlite::Result<bool> {
    Ok(match (row.get_ref(column)?, expected) {
        (ValueRef::Null, None) => true,
        (ValueRef::Integer(found), Some(expected)) => found == expected,
        _ => false,
    })
}

/// A value that the program never writes, as an error of the statement that read it.
pub(super) fn unreadable(
    column: usize,
    fault: impl Error + Send + Sync + 'static,
) -> rusqlite::Error {
    rusqlite::Error::FromSqlConversionFailure(column, Type::Text, Box::new(fault))
}

fn unknown(column: usize, text: &str, expected: &'static str) -> rusqlite::Error {
    let text = text.to_owned();
    unreadable(column, Unknown { text, expected })
}

pub(super) fn read_instant(column: usize, millis: i64) -> rusqlite::Result<DateTime<Utc>> {
    DateTime::from_timestamp_millis(millis)
        .ok_or_else(|| unknown(column, &millis.to_string(), "instant"))
}

fn read_json<T: serde::de::DeserializeOwned>(row: &Row<'_>, column: usize) -> rusqlite::Result<T> {
    let text = row.get_ref(column)?.as_str()?;
    serde_json::from_str(text).map_err(|fault| unreadable(column, fault))
}

fn availability(row: &Row<'_>, column: usize) -> rusqlite::Result<Availability> {
    let text = row.get_ref(column)?.as_str()?;
    Availability::parse_name(text).ok_or_else(|| unknown(column, text, "availability"))
}

pub(super) fn currency(row: &Row<'_>, column: usize) -> rusqlite::Result<Currency> {
    let code = row.get_ref(column)?.as_str()?;
    Currency::parse(code).map_err(|fault| unreadable(column, fault))
}

/// An amount and the currency after it, which is null where it is `default`.
fn money(row: &Row<'_>, column: usize, default: Currency) -> rusqlite::Result<Option<Money>> {
    let Some(minor) = row.get(column)? else {
        return Ok(None);
    };
    let is_default = row.get_ref(column + 1)? == ValueRef::Null;
    let currency = if is_default {
        default
    } else {
        currency(row, column + 1)?
    };
    Ok(Some(Money::from_minor(minor, currency)))
}
