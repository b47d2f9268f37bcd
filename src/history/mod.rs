//! History: what a part's own past says of a price.
//!
//! Series and prices come in as values; judgements and facts come out. May not do I/O or read a
//! clock. Of the crate it uses `money` and `market`.
//!
//! A [`Series`] tells a price that stayed from one that nobody looked at; [`lowest_of`] merges
//! the series of several offers, [`Facts`] says what one comes to, [`wait`] how long a target may
//! take, and [`prior_price`] whether a claimed reduction agrees with the record.
#![deny(clippy::disallowed_methods, clippy::disallowed_types)]

mod facts;
mod held_time;
mod merge;
pub mod prior_price;
mod series;
mod suspicion;
#[cfg(test)]
mod tests;
pub mod wait;

pub use facts::{Change, Extreme, Facts, LowerBefore, Record};
pub use held_time::HeldTime;
pub use merge::lowest_of;
pub use series::{Asked, Quote, Reading, Series, State, Step, Stock};
pub use suspicion::{Doubt, doubt};
