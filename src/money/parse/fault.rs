//! Why a text is no price, and what was noticed in one that is.

use crate::money::{Currency, Money};
use std::fmt;

/// An amount that a fault or note speaks of: read, or as it stood where it could not be.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Figure {
    Read(Money),
    Text(String),
}

/// Why a text gives no price. Each variant has a stable [`PriceFault::code`].
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum PriceFault {
    #[error("no amount in the text")]
    NoAmount,
    #[error("text of {characters} characters is no price: expected at most {limit}")]
    TooLong { characters: usize, limit: usize },
    #[error("can be read as {first} or as {second}: set the retailer's `locale`")]
    Ambiguous { first: String, second: String },
    #[error("numbers side by side, read as {first} or as {second}: take the price alone")]
    SideBySide { first: String, second: String },
    #[error("\"{text}\" is not a well-formed number")]
    Malformed { text: String },
    #[error("{text} is finer than the smallest unit of {currency}")]
    TooFine { text: String, currency: Currency },
    #[error("\"{text}\" is too large for a price")]
    TooLarge { text: String },
    #[error("no currency in the text or the settings")]
    UnknownCurrency,
    #[error("\"{symbol}\" can name several currencies, and the settings name none of them")]
    AmbiguousCurrency { symbol: String },
    #[error("names two currencies, {first} and {second}, for one amount")]
    MixedCurrencies { first: String, second: String },
    #[error("{figure} is below zero: a discount, not a price")]
    Negative { figure: Figure },
    #[error("{figure} is what is taken off, not the price")]
    Discount { figure: Figure },
    #[error("{figure} is the lowest or highest of several prices")]
    Bound { figure: Figure },
    #[error("a range from {low} to {high}")]
    Range { low: Figure, high: Figure },
    #[error("{figure} is one instalment")]
    Instalment { figure: Figure },
    #[error("{figure} is the price of a unit of measure")]
    UnitPrice { figure: Figure },
    #[error("{figure} is for {count}, which does not divide into whole cents")]
    Bundle { figure: Figure, count: u32 },
    #[error("{figure} is about delivery")]
    Shipping { figure: Figure },
    #[error("{figure} is an estimate or a conversion")]
    Approximate { figure: Figure },
    #[error("{figure} is only the list price")]
    ListPrice { figure: Figure },
    #[error("{figure} stands for \"price unknown\"")]
    Placeholder { figure: Figure },
    #[error("{figure} stands among other words without a currency")]
    Unmarked { figure: Figure },
    #[error("several amounts and nothing says which is the price: {first}, {second}")]
    Several { first: Figure, second: Figure },
}

/// What was noticed in a text that gave a price.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum PriceNote {
    /// The same price without tax, as the text states it.
    Net(Money),
    UnitPriceIgnored,
    InstalmentIgnored,
    /// A conversion that the text adds as a courtesy.
    ConversionIgnored(Figure),
    /// An amount in terms of delivery, such as the sum from which it is free.
    DeliveryTerms(Figure),
    /// A number finer than the currency's unit, rounded half up.
    Rounded(String),
    /// The price of several, divided by their count.
    PerPieceOf(u32, Money),
}

impl PriceFault {
    /// A stable name for counting and for scripts.
    pub fn code(&self) -> &'static str {
        match self {
            PriceFault::NoAmount => "price_missing",
            PriceFault::TooLong { .. } => "price_text_too_long",
            PriceFault::Ambiguous { .. } => "price_ambiguous",
            PriceFault::SideBySide { .. } => "price_side_by_side",
            PriceFault::Malformed { .. } => "price_malformed",
            PriceFault::TooFine { .. } => "price_too_fine",
            PriceFault::TooLarge { .. } => "price_too_large",
            PriceFault::UnknownCurrency => "currency_unknown",
            PriceFault::AmbiguousCurrency { .. } => "currency_ambiguous",
            PriceFault::MixedCurrencies { .. } => "currency_mixed",
            PriceFault::Negative { .. } => "price_negative",
            PriceFault::Discount { .. } => "price_discount",
            PriceFault::Bound { .. } => "price_from",
            PriceFault::Range { .. } => "price_range",
            PriceFault::Instalment { .. } => "price_instalment",
            PriceFault::UnitPrice { .. } => "price_per_unit",
            PriceFault::Bundle { .. } => "price_bundle",
            PriceFault::Shipping { .. } => "price_shipping",
            PriceFault::Approximate { .. } => "price_approximate",
            PriceFault::ListPrice { .. } => "price_list_only",
            PriceFault::Placeholder { .. } => "price_placeholder",
            PriceFault::Unmarked { .. } => "price_unmarked",
            PriceFault::Several { .. } => "price_several",
        }
    }
}

impl fmt::Display for Figure {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Figure::Read(money) => write!(f, "{money}"),
            Figure::Text(text) => write!(f, "\"{text}\""),
        }
    }
}

impl fmt::Display for PriceNote {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            PriceNote::Net(net) => write!(f, "{net} without tax"),
            PriceNote::UnitPriceIgnored => f.write_str("price per unit of measure ignored"),
            PriceNote::InstalmentIgnored => f.write_str("instalment ignored"),
            PriceNote::ConversionIgnored(figure) => write!(f, "conversion to {figure} ignored"),
            PriceNote::DeliveryTerms(figure) => write!(f, "terms of delivery name {figure}"),
            PriceNote::Rounded(text) => write!(f, "{text} rounded half up"),
            PriceNote::PerPieceOf(count, total) => write!(f, "one of {count} for {total}"),
        }
    }
}
