//! The catalogue: the parts that the author is willing to build with, their specs and rates.
//!
//! Text goes in; a catalogue and a list of faults come out. May not read files or clocks, and
//! knows nothing of offers, prices or builds. Of the crate it uses `money` alone.
//!
//! Start reading at [`table`], which every file that a person edits goes through.
#![deny(clippy::disallowed_methods, clippy::disallowed_types)]

mod fault;
mod gtin;
pub mod table;

pub use fault::Fault;
pub use gtin::{Gtin, GtinFault};
