//! History: what a part's own past says of a price.
//!
//! Series and prices come in as values; judgements and facts come out. May not do I/O or read a
//! clock. Of the crate it uses `money`.
#![deny(clippy::disallowed_methods, clippy::disallowed_types)]

mod suspicion;

pub use suspicion::{Doubt, doubt};
