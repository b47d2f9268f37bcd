//! Deciding: what two answers differ in, whether that matters, and what to tell.
//!
//! Answers come in as values and a bulletin goes out. May not do I/O or read a clock, and knows
//! nothing of how a bulletin is delivered or stored.
#![deny(clippy::disallowed_methods, clippy::disallowed_types)]

mod ask;
mod bulletin;
mod change;
mod dressing;
mod edition;
mod hours;
mod memory;
mod names;
mod past_price;
mod record;
mod samples;
mod scene;
mod settle;
mod shown;
mod spare;
mod telling;
mod wording;

pub use ask::{Ask, Judged, News, Trigger};
pub use bulletin::{Bulletin, BulletinId};
pub use change::{BuildChange, Cause, Change, compare};
pub use dressing::{TEMPLATES, digest, dress, faults_of, offers_told, test_bulletin};
pub use edition::{
    AnswerAbroad, BestNow, Drift, DriftAbroad, Edition, Exchange, PickDrift, changes,
    changes_abroad,
};
pub use hours::{Digest, GoesOut, Hours, Quiet};
pub use memory::{Memory, Pending, Remembered};
pub use names::Names;
pub use past_price::PastPrice;
pub use record::{
    AnswerRecord, Considered, PickRecord, ProofRecord, ProofStatus, RateRecord, shown_instant,
};
pub use samples::samples;
pub use scene::{Doubt, DoubtReason, Low, Scene, asked, doubts, prices};
pub use settle::{Outcome, Told, settle};
pub use shown::{Line, Shown};
pub use spare::{Solved, Spared, spared};
pub use telling::{OnDoubt, Telling};
pub use wording::change;
