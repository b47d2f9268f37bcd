//! Rates: how much work parts allow, as integers that can be added.
//!
//! A build's rate in a workload is the lowest of the rates of the parts that limit it; the score
//! is the weighted geometric mean of those rates. In logarithms both are linear. May not do I/O or
//! read a clock, and knows nothing of prices. Of the crate it uses `catalogue`.
//!
//! Start reading at [`Objective`].
#![deny(clippy::disallowed_methods, clippy::disallowed_types)]

mod cholesky;
pub mod derive;
pub mod doubts;
pub mod limiting;
mod log_rate;
mod objective;
pub mod resolution;
pub mod result;
pub mod specs;
pub mod two_way;
pub mod unit;

pub use log_rate::LogRate;
pub use objective::{Objective, Score, ShownScore, Weighted};
