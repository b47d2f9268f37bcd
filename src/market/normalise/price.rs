//! The money side of a record: price, sale, list price, tax, delivery, quantity.

use super::dates::{InForce, sale_in_force};
use super::settings::NormaliseSettings;
use super::{Fault, HoldReason, RefusalReason, delivery, text};
use crate::market::raw::{Field, Origin, RawOffer, RawText};
use crate::money::{
    Currency, Money, PriceContext, PriceFault, PriceOrigin, PriceReading, TaxMark, parse_currency,
    parse_price,
};
use chrono::{DateTime, Utc};

/// What a record says about money.
pub(super) struct Price {
    pub amount: Money,
    pub list_price: Option<Money>,
    pub tax_included: bool,
    pub shipping: Option<Money>,
    pub minimum_quantity: u32,
    pub hold: Option<HoldReason>,
}

pub(super) fn read(
    raw: &RawOffer,
    settings: &NormaliseSettings,
    now: DateTime<Utc>,
    notes: &mut Vec<String>,
) -> Result<Price, Fault> {
    let column = currency_column(raw, settings)?;
    let reader = Reader {
        raw,
        settings,
        currency: column.unwrap_or(settings.currency),
    };
    let mut hold = None;
    let regular = reader.regular_price(notes);
    let (reading, before) = match (reader.sale(now, notes), regular) {
        (Sale::Price(sale), Ok(regular))
            if sale.amount.partial_cmp(&regular.amount) != Some(std::cmp::Ordering::Less) =>
        {
            hold = Some(HoldReason::SaleNotBelowPrice {
                sale: sale.amount,
                price: regular.amount,
            });
            (regular, None)
        }
        (Sale::Price(sale), Ok(regular)) => (*sale, Some(regular.amount)),
        (Sale::Price(sale), Err(_)) => (*sale, None),
        (Sale::None, Ok(regular)) => (regular, None),
        (Sale::Uncertain(reason), Ok(regular)) => {
            hold = Some(reason);
            (regular, None)
        }
        (_, Err(fault)) => return Err(fault),
    };
    let amount = reading.amount;
    if let Some(field) = column.filter(|column| *column != amount.currency()) {
        let text = amount.currency();
        hold = Some(HoldReason::CurrencyConflict { field, text });
    } else if column.is_none() {
        note_currency(raw, &reading, settings, notes);
    }
    let tax_included = match tax_included(raw, &reading, settings) {
        Ok(included) => included,
        Err(stated) => {
            hold = hold.or(Some(HoldReason::TaxConflict));
            stated
        }
    };
    let list_price = reader.list_price(amount, notes).or(reading.list_price);
    let shipping = delivery::read(
        raw,
        settings,
        &reader.context(Origin::Person),
        amount.currency(),
        notes,
    );
    notes.extend(reading.notes.iter().map(|note| format!("price: {note}")));
    Ok(Price {
        amount,
        list_price: list_price.max_by_amount(before),
        tax_included,
        shipping: shipping.or(reading.shipping),
        minimum_quantity: minimum_quantity(raw, reading.minimum_quantity)?,
        hold,
    })
}

/// What the sale fields say today.
enum Sale {
    None,
    Price(Box<PriceReading>),
    Uncertain(HoldReason),
}

struct Reader<'r> {
    raw: &'r RawOffer,
    settings: &'r NormaliseSettings,
    currency: Currency,
}

impl Reader<'_> {
    fn context(&self, origin: Origin) -> PriceContext {
        PriceContext {
            marks: self.settings.marks,
            currency: Some(self.currency),
            origin: match origin {
                Origin::Machine => PriceOrigin::Machine,
                Origin::Person => PriceOrigin::Person,
            },
            minor_units: self.settings.minor_units,
            placeholders: self.settings.placeholders.clone(),
        }
    }

    fn parse(&self, value: &RawText) -> Result<PriceReading, PriceFault> {
        parse_price(&value.text, &self.context(value.origin))
    }

    /// The price field; its first value counts, and others that differ are noted.
    fn regular_price(&self, notes: &mut Vec<String>) -> Result<PriceReading, Fault> {
        let Some(first) = self.raw.first(Field::Price) else {
            return Err(Fault {
                field: Field::Price,
                text: String::new(),
                reason: PriceFault::NoAmount.into(),
            });
        };
        let reading = self.parse(first).map_err(|fault| Fault {
            field: Field::Price,
            text: first.text.clone(),
            reason: fault.into(),
        })?;
        let values = self.raw.fields.get(Field::Price).iter();
        for other in values.filter(|value| *value != first) {
            if let Ok(second) = self.parse(other)
                && second.amount != reading.amount
            {
                notes.push(format!("price: the record also says {}", second.amount));
            }
        }
        Ok(reading)
    }

    fn sale(&self, now: DateTime<Utc>, notes: &mut Vec<String>) -> Sale {
        let Some(value) = self.raw.first(Field::SalePrice) else {
            return Sale::None;
        };
        let reading = match self.parse(value) {
            Ok(reading) => reading,
            // A zero or a dash in the sale column means that there is no sale.
            Err(PriceFault::NoAmount | PriceFault::Placeholder { .. }) => return Sale::None,
            Err(fault) => {
                let text = text::bounded(value.text.trim(), 80);
                return Sale::Uncertain(HoldReason::SalePriceUnread { text, fault });
            }
        };
        match sale_in_force(self.raw, now) {
            InForce::Yes => Sale::Price(Box::new(reading)),
            InForce::No => {
                notes.push(format!(
                    "sale price {} is not in force today",
                    reading.amount
                ));
                Sale::None
            }
            InForce::Unread(text) => Sale::Uncertain(HoldReason::SaleDatesUnread { text }),
        }
    }

    fn list_price(&self, price: Money, notes: &mut Vec<String>) -> Option<Money> {
        let value = self.raw.first(Field::ListPrice)?;
        match self.parse(value) {
            Ok(list)
                if list
                    .amount
                    .partial_cmp(&price)
                    .is_some_and(std::cmp::Ordering::is_ge) =>
            {
                Some(list.amount)
            }
            Ok(list) => {
                notes.push(format!(
                    "list price {} left out: not above the price",
                    list.amount
                ));
                None
            }
            Err(PriceFault::NoAmount | PriceFault::Placeholder { .. }) => None,
            Err(fault) => {
                notes.push(format!("list price left out: {fault}"));
                None
            }
        }
    }
}

/// The currency field, where the record has one.
fn currency_column(
    raw: &RawOffer,
    settings: &NormaliseSettings,
) -> Result<Option<Currency>, Fault> {
    let Some(value) = raw.first(Field::Currency) else {
        return Ok(None);
    };
    parse_currency(&value.text, Some(settings.currency))
        .map(Some)
        .map_err(|fault| Fault {
            field: Field::Currency,
            text: value.text.clone(),
            reason: fault.into(),
        })
}

fn note_currency(
    raw: &RawOffer,
    reading: &PriceReading,
    settings: &NormaliseSettings,
    notes: &mut Vec<String>,
) {
    let machine = raw
        .first(Field::Price)
        .is_some_and(|value| value.origin == Origin::Machine);
    if reading.amount.currency() != settings.currency {
        notes.push(format!(
            "price in {}, the retailer's currency is {}",
            reading.amount.currency(),
            settings.currency
        ));
    } else if machine && !reading.currency_stated {
        notes.push(format!("no currency given, {} taken", settings.currency));
    }
}

/// Whether the price includes tax; the error carries what the text says where the field disagrees.
fn tax_included(
    raw: &RawOffer,
    reading: &PriceReading,
    settings: &NormaliseSettings,
) -> Result<bool, bool> {
    let field =
        raw.first(Field::TaxIncluded)
            .and_then(|value| match text::key(&value.text).as_str() {
                "true" | "1" | "yes" | "ja" | "oui" | "si" | "gross" | "brutto" | "ttc"
                | "incl" => Some(true),
                "false" | "0" | "no" | "nein" | "non" | "net" | "netto" | "ht" | "excl" => {
                    Some(false)
                }
                _ => None,
            });
    let text = match reading.tax {
        TaxMark::Inclusive => Some(true),
        TaxMark::Exclusive => Some(false),
        TaxMark::Unstated => None,
    };
    match (text, field) {
        (Some(text), Some(field)) if text != field => Err(text),
        (text, field) => Ok(text.or(field).unwrap_or(settings.prices_include_tax)),
    }
}

fn minimum_quantity(raw: &RawOffer, from_text: u32) -> Result<u32, Fault> {
    let Some(value) = raw.first(Field::MinimumQuantity) else {
        return Ok(from_text);
    };
    let text = value.text.trim();
    let whole = text.strip_suffix(".0").unwrap_or(text);
    match whole.parse::<u32>() {
        Ok(count) => Ok(count.max(from_text).max(1)),
        Err(_) => Err(Fault {
            field: Field::MinimumQuantity,
            text: text.to_owned(),
            reason: RefusalReason::Quantity {
                text: text.to_owned(),
            },
        }),
    }
}

/// The dearer of two optional amounts of one currency.
trait MaxByAmount {
    fn max_by_amount(self, other: Option<Money>) -> Option<Money>;
}

impl MaxByAmount for Option<Money> {
    fn max_by_amount(self, other: Option<Money>) -> Option<Money> {
        match (self, other) {
            (Some(left), Some(right))
                if right
                    .partial_cmp(&left)
                    .is_some_and(std::cmp::Ordering::is_gt) =>
            {
                Some(right)
            }
            (left, right) => left.or(right),
        }
    }
}
