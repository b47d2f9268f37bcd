//! Deciding: what two answers differ in, whether that matters, and what to tell.
//!
//! Answers come in as values and a bulletin goes out. May not do I/O or read a clock, and knows
//! nothing of how a bulletin is delivered or stored.
#![deny(clippy::disallowed_methods, clippy::disallowed_types)]

mod bulletin;
mod change;
mod record;
mod wording;

pub use bulletin::{Bulletin, BulletinId};
pub use change::{BuildChange, Cause, Change, compare};
pub use record::{
    AnswerRecord, Considered, PickRecord, ProofRecord, ProofStatus, RateRecord, shown_instant,
};
pub use wording::bulletin;
