//! Money as integers: amounts, currencies, reading prices from text, dated conversion.
//!
//! May not use floats, clocks, files or any other module of the crate. An amount never exists
//! without its currency, and arithmetic across currencies is an error, not a guess.
//!
//! Start reading at [`Money`].
#![deny(
    clippy::disallowed_methods,
    clippy::disallowed_types,
    clippy::float_arithmetic
)]

mod amount;
mod convert;
mod currency;
mod parse;

pub(crate) use amount::div_half_up;
pub use amount::{Money, MoneyError};
pub use convert::{Converted, Rate, RateError};
pub use currency::{Currency, UnknownCurrency};
pub use parse::{
    Decimal, Figure, NumberMarks, PriceContext, PriceFault, PriceNote, PriceOrigin, PriceReading,
    TaxMark, parse_charge, parse_currency, parse_price, push_folded,
};
