//! Why a record is held or refused: stable codes for counting, sentences for people.

use crate::money::{Currency, Money, PriceFault};

/// Why a readable offer is not used before it is confirmed.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum HoldReason {
    #[error("the price is in {text}, the currency field says {field}")]
    CurrencyConflict { field: Currency, text: Currency },
    #[error("the price text and the tax field disagree on whether tax is included")]
    TaxConflict,
    #[error("the sale price \"{text}\" cannot be read: {fault}")]
    SalePriceUnread { text: String, fault: PriceFault },
    #[error("the sale dates \"{text}\" cannot be read, so the price today is uncertain")]
    SaleDatesUnread { text: String },
    #[error("the sale price {sale} does not lie below the price {price}")]
    SaleNotBelowPrice { sale: Money, price: Money },
}

/// Why a record gives no offer.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum RefusalReason {
    #[error(transparent)]
    Price(#[from] PriceFault),
    #[error("no number, code or link to know the offer by")]
    NoIdentity,
    #[error("no title")]
    NoTitle,
    #[error("sold by {seller}: set the feed's `marketplace = true` to take other sellers")]
    OtherSeller { seller: String },
    #[error("\"{sku}\" came before in this feed, at another price")]
    Repeated { sku: String },
    #[error("\"{text}\" is no number of pieces")]
    Quantity { text: String },
}

impl HoldReason {
    /// A stable name for counting and for scripts.
    pub fn code(&self) -> &'static str {
        match self {
            HoldReason::CurrencyConflict { .. } => "currency_conflict",
            HoldReason::TaxConflict => "tax_conflict",
            HoldReason::SalePriceUnread { .. } => "sale_price_unread",
            HoldReason::SaleDatesUnread { .. } => "sale_dates_unread",
            HoldReason::SaleNotBelowPrice { .. } => "sale_not_below_price",
        }
    }
}

impl RefusalReason {
    /// A stable name for counting and for scripts.
    pub fn code(&self) -> &'static str {
        match self {
            RefusalReason::Price(fault) => fault.code(),
            RefusalReason::NoIdentity => "no_identity",
            RefusalReason::NoTitle => "no_title",
            RefusalReason::OtherSeller { .. } => "other_seller",
            RefusalReason::Repeated { .. } => "repeated",
            RefusalReason::Quantity { .. } => "quantity_unread",
        }
    }
}
