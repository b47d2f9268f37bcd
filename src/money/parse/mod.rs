//! Reads the price out of a text, or says exactly why there is none.
//!
//! The text is folded (`fold`), split into numbers, currencies and words (`token`), numbers get
//! their currency and sign (`amount`) or turn out to count something (`count`), the words beside
//! them (`spoken`) say what each amount is (`roles`), and `decide` picks the price, which `value`
//! turns into money. Most texts are one plain number and take a shortcut (`plain`). An amount that can be read two ways is a fault naming both readings,
//! never a guess. Nothing here is a float.
//!
//! Start reading at [`parse_price`].

mod amount;
mod count;
mod cue;
mod decide;
mod decimal;
mod fault;
mod fold;
mod letters;
mod marks;
mod near;
mod number;
mod plain;
mod roles;
mod shipping;
mod spoken;
mod symbol;
mod token;
mod value;

pub use decimal::Decimal;
pub use fault::{Figure, PriceFault, PriceNote};
pub use letters::push_folded;
pub use marks::NumberMarks;

use crate::money::{Currency, Money};

/// Where a price text stood.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum PriceOrigin {
    /// Written for programs: a lone dot is the decimal mark.
    Machine,
    /// Written for people: the locale decides.
    #[default]
    Person,
}

/// What is known about a price text from outside it.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct PriceContext {
    /// How numbers are written where the text comes from.
    pub marks: Option<NumberMarks>,
    /// The currency where the text names none, or a sign that several share.
    pub currency: Option<Currency>,
    pub origin: PriceOrigin,
    /// The number counts minor units: `129990` is EUR 1299.90.
    pub minor_units: bool,
    /// Further amounts that stand for "price unknown", beside zero and rows of nines.
    pub placeholders: Vec<Decimal>,
}

/// Whether a price contains tax, as far as its text says.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum TaxMark {
    Inclusive,
    Exclusive,
    #[default]
    Unstated,
}

/// A price, and what its text says beside it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PriceReading {
    /// What the buyer pays now for one.
    pub amount: Money,
    pub tax: TaxMark,
    /// Delivery, where the same text states it; zero where it says that delivery is free.
    pub shipping: Option<Money>,
    /// What the text says it cost before, or should cost.
    pub list_price: Option<Money>,
    /// How many must be bought at least; 1 where nothing is said.
    pub minimum_quantity: u32,
    /// True when the text itself named the currency.
    pub currency_stated: bool,
    pub notes: Vec<PriceNote>,
}

/// Longer texts are no prices, and are not worth the work.
const CHARACTERS_MAX: usize = 500;

/// Reads the price that a buyer pays now for one.
///
/// # Errors
/// [`PriceFault`] says why the text gives no such price.
///
/// ```
/// use rigtide::money::{NumberMarks, PriceContext, parse_price};
///
/// let german = PriceContext {
///     marks: NumberMarks::of_locale("de"),
///     ..PriceContext::default()
/// };
/// let reading = parse_price("389,00 € statt 1.449,00 €", &german)?;
/// assert_eq!(reading.amount.to_string(), "EUR 389.00");
/// assert_eq!(reading.list_price.map(|price| price.minor()), Some(144_900));
/// # Ok::<(), rigtide::money::PriceFault>(())
/// ```
pub fn parse_price(text: &str, context: &PriceContext) -> Result<PriceReading, PriceFault> {
    if context.origin == PriceOrigin::Machine
        && let Some(decimal) = Decimal::parse_with_exponent(text)
    {
        return with_tokens(&decimal.to_string(), context, decide::price);
    }
    if let Some(reading) = plain::price(text, context) {
        return Ok(reading);
    }
    with_tokens(text, context, decide::price)
}

/// Reads an amount that may be zero, such as a delivery charge.
///
/// # Errors
/// [`PriceFault`] as for [`parse_price`], but never [`PriceFault::Placeholder`].
pub fn parse_charge(text: &str, context: &PriceContext) -> Result<Money, PriceFault> {
    with_tokens(text, context, decide::charge)
}

/// Reads a currency that stands alone: a code, sign or name.
///
/// A sign that several currencies share means `configured` where that is one of them.
///
/// # Errors
/// [`PriceFault::AmbiguousCurrency`] for such a sign otherwise, [`PriceFault::UnknownCurrency`]
/// for anything else.
pub fn parse_currency(text: &str, configured: Option<Currency>) -> Result<Currency, PriceFault> {
    if let Ok(currency) = Currency::parse(text) {
        return Ok(currency);
    }
    let folded = fold::fold(text);
    match symbol::symbol_at(&folded, 0) {
        Some((symbol, length)) if length == folded.len() => match symbol.meaning(configured) {
            symbol::Meaning::Certain(currency) => Ok(currency),
            symbol::Meaning::Unclear => Err(PriceFault::AmbiguousCurrency {
                symbol: symbol.text.clone(),
            }),
        },
        _ => Err(PriceFault::UnknownCurrency),
    }
}

fn with_tokens<T>(
    text: &str,
    context: &PriceContext,
    decide: fn(&[token::Token], &PriceContext) -> Result<T, PriceFault>,
) -> Result<T, PriceFault> {
    // A character takes at most ten bytes as an entity; the bound saves folding a whole page.
    let folded = if text.len() > 10 * CHARACTERS_MAX {
        None
    } else {
        Some(fold::fold(text)).filter(|folded| folded.len() <= CHARACTERS_MAX)
    };
    let Some(folded) = folded else {
        return Err(PriceFault::TooLong {
            characters: text.chars().count(),
            limit: CHARACTERS_MAX,
        });
    };
    decide(&token::tokenize(&folded), context)
}

#[cfg(test)]
mod properties;
#[cfg(test)]
mod tests;
