//! Deciding: what two answers differ in, whether that matters, and what to tell.
//!
//! Answers come in as values and a bulletin goes out. May not do I/O or read a clock, and knows
//! nothing of how a bulletin is delivered or stored.
#![deny(clippy::disallowed_methods, clippy::disallowed_types)]

mod ask;
mod bulletin;
mod change;
mod edition;
mod hours;
mod memory;
mod record;
mod scene;
mod settle;
mod spare;
mod telling;
mod wording;

pub use ask::{Ask, Judged, News, Trigger};
pub use bulletin::{Bulletin, BulletinId};
pub use change::{BuildChange, Cause, Change, compare};
pub use edition::{BestNow, Drift, Edition, Exchange, PickDrift, changes};
pub use hours::{Digest, GoesOut, Hours, Quiet, digest};
pub use memory::{Memory, Pending, Remembered};
pub use record::{
    AnswerRecord, Considered, PickRecord, ProofRecord, ProofStatus, RateRecord, shown_instant,
};
pub use scene::{Doubt, DoubtReason, Low, Scene, doubts, prices};
pub use settle::{Outcome, Told, settle};
pub use spare::{Solved, Spared, spared};
pub use telling::{OnDoubt, Telling};
pub use wording::bulletin;
