//! The journal and the outbox.

use serde::Serialize;
use serde_json::Value;
use utoipa::ToSchema;

/// Which entries are asked for.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct JournalAsked {
    pub brief: Option<String>,
    pub feed: Option<String>,
    pub kind: Option<String>,
    /// Entries of this kind are left out.
    pub without: Option<String>,
    /// RFC 3339, or a day.
    pub since: Option<String>,
    /// Entries older than the one of this number.
    pub before: Option<i64>,
    /// At most so many; a usual number if none is said.
    pub limit: Option<u32>,
}

/// Every kind of entry that the program writes, for who picks one.
pub const JOURNAL_KINDS: &[&str] = &[
    "answer_failed",
    "became_impossible",
    "became_possible",
    "build_changed",
    "catalogue_changed",
    "delivery_dropped",
    "delivery_retried",
    "edition_published",
    "enters",
    "feed_blocked",
    "feed_failing",
    "feed_given_a_rest",
    "feed_recovered",
    "feed_removed",
    "feed_still_failing",
    "first_build",
    "gain",
    "guide_outdated",
    "held_confirmed",
    "held_dropped",
    "ledger_back",
    "listing_changed",
    "lowest",
    "no_network",
    "pick_lost",
    "price_believed",
    "price_held",
    "prices_changed",
    "prices_imported",
    "prices_thinned",
    "settings_changed",
    "settings_refused",
    "target",
    "total",
];

/// Newest first.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub struct Journal {
    pub entries: Vec<JournalLine>,
    /// What `before` has to be for the entries that follow, if there are any.
    pub next: Option<i64>,
}

#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub struct JournalLine {
    pub number: i64,
    pub at: String,
    /// A stable word.
    pub kind: String,
    pub feed: Option<String>,
    pub brief: Option<String>,
    pub part: Option<String>,
    pub text: String,
    #[schema(value_type = Object)]
    pub data: Value,
}

/// Bulletins on their way, newest first.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, ToSchema)]
pub struct Outbox {
    pub waiting: u64,
    pub sent: u64,
    pub dead: u64,
    pub dropped: u64,
    pub deliveries: Vec<DeliveryView>,
}

#[derive(Debug, Clone, PartialEq, Eq, Serialize, ToSchema)]
pub struct DeliveryView {
    pub id: i64,
    pub bulletin: String,
    pub brief: Option<String>,
    pub subject: String,
    pub channel: String,
    /// `waiting`, `sent`, `dead` (given up by the program) or `dropped` (by a person).
    pub state: String,
    pub attempts: u32,
    pub at: String,
    pub touched: String,
    /// While it waits.
    pub next: Option<String>,
    pub fault: Option<String>,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum OutboxWord {
    Retry,
    Drop,
}

/// `done` is `retried` or `dropped`.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, ToSchema)]
pub struct OutboxDone {
    pub done: String,
    pub ids: Vec<i64>,
}
