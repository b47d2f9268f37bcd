//! The ledger: every price ever seen, the answers given, the journal and the bulletins not yet
//! delivered, in one SQLite file.
//!
//! The only SQL of the program stands here. May not fetch, match, judge prices or send: callers
//! say what was seen and when, and read back values of the pure modules.
//!
//! **Invariants.** What a call acknowledged survives `kill -9` and a power cut: each call is one
//! transaction and the log is synchronised before it returns. The intervals of one offer never
//! overlap, and at most one stands. A poll enters whole or not at all. An answer, its journal
//! entries and its bulletins commit together.
//!
//! **Change-only storage.** A price that stays is one row, however often it was seen. An offer
//! that every complete snapshot still lists is not even touched: it was last seen when its feed
//! was (`feed.seen_until_ms`), and only an offer that drops out of that rule carries an instant
//! of its own. So a poll costs what changed, and an unchanged poll costs one row.
//!
//! **The past.** Whatever an answer reads of an offer is kept with the instants between which it
//! stood: terms, match, title and link, and when it had last been seen (`gap` keeps the exceptions).
//! So the market of any instant since schema 6 reads back as it was. Other texts of an offer are
//! those of today.
//!
//! **Concurrency.** One [`Ledger`] writes; any number of [`Reader`]s read without blocking it.
//!
//! Start reading at [`Ledger`], then [`PollWriter`]; `migrations/` holds the tables.

mod believed;
mod builds;
mod columns;
mod compact;
mod copying;
mod decisions;
mod deliveries;
mod digests;
mod editions;
mod ended;
mod error;
mod gaps;
mod held;
mod journal;
mod listed;
mod lock;
mod marks;
mod market;
mod matching;
mod migrate;
mod observations;
mod open;
mod outbox;
mod packed;
mod past;
mod polls;
mod retire;
mod rows;
mod standing;
mod thinning;
mod transfer;
mod verify;
mod vitals;
#[cfg(test)]
mod tests;

pub use builds::{Decision, Post, Settled, StoredAnswer};
pub use compact::Thinning;
pub use copying::{Copied, RestoreError, Restored, restore};
pub use decisions::{Deciding, OfferDecision};
pub use deliveries::{Delivery, DeliveryCounts, DeliveryState};
pub use digests::DigestDue;
pub use editions::{Freezing, NewEdition, StoredEdition, sha256};
pub use error::{LedgerError, LockError};
pub use held::{HeldId, HeldOffer};
pub use journal::{JournalEntry, JournalLine, JournalWanted};
pub use lock::WatchLock;
pub use market::{Ask, CurrentOffer, Interval, ObservationId};
pub use marks::{KnownRecord, Mark, Marks};
pub use matching::{OfferRow, PartMatch, StoredOffer};
pub use observations::{Committed, Confirms, Effect, PollWriter, SnapshotIs};
pub use open::{Ledger, Patience, Reader};
pub use outbox::DueDelivery;
pub use polls::{FeedState, NoSnapshot, PollLine, PollRecord, PollStatus, Remembered};
pub use standing::Standing;
pub use transfer::{Counted, Imported, PastPrice, PriceRefusal, RowFault, TransferError, import};
pub use verify::{Verdict, Verified};
pub use vitals::LedgerVitals;
