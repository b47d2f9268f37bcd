//! Feeds, what of them is held, and the offers that wait for the author.

use serde::Serialize;
use serde_json::{Map, Value};
use std::collections::BTreeMap;
use utoipa::ToSchema;

#[derive(Debug, Clone, PartialEq, Eq, Serialize, ToSchema)]
pub struct FeedList {
    pub at: String,
    pub feeds: Vec<FeedLine>,
}

/// How a feed fares.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, ToSchema)]
pub struct FeedLine {
    pub feed: String,
    pub retailer: String,
    pub retailer_name: String,
    pub last_poll: Option<String>,
    /// The newest poll that confirmed what the feed offers.
    pub last_good: Option<String>,
    /// Absent for a feed that is polled only when asked, or when nobody can tell.
    pub next: Option<String>,
    /// `scheduled`, `never_polled`, `missed`, or what puts it off: `backing_off`, `unwelcome`,
    /// `retry_after`, `no_network`; absent for a feed that is polled only when asked.
    pub why: Option<String>,
    /// Of the newest poll.
    pub records: Option<u64>,
    pub offers: u64,
    pub matched: u64,
    /// Failed polls in a row.
    pub failures: u32,
    /// Why the newest poll failed, if it did.
    pub error: Option<String>,
    pub held: u64,
    /// Records that the newest poll refused.
    pub refused: u64,
}

#[derive(Debug, Clone, PartialEq, Eq, Serialize, ToSchema)]
pub struct FeedPage {
    pub line: FeedLine,
    /// Its schedule as it is written; absent if it is polled only when asked.
    pub schedule: Option<String>,
    pub zone: String,
    /// Newest first.
    pub polls: Vec<PollLine>,
    /// What the newest poll that could be read refused, by reason, the most frequent first.
    pub refused: Vec<RefusedLine>,
    /// Of the newest poll that had something to say: records that it refused, and why, and what else it
    /// met; the first fifty.
    pub notes: Vec<String>,
    pub held: Vec<HeldView>,
}

#[derive(Debug, Clone, PartialEq, Eq, Serialize, ToSchema)]
pub struct PollLine {
    pub at: String,
    pub duration_ms: Option<u64>,
    /// `fresh`, `unchanged`, `failed` or `suspicious`.
    pub status: String,
    pub records: u64,
    /// Records that were taken for offers.
    pub accepted: u64,
    pub held: u64,
    pub refused: u64,
    pub matched: u64,
    /// Offers of which something was other than before.
    pub changed: u64,
    pub error: Option<String>,
}

#[derive(Debug, Clone, PartialEq, Eq, Serialize, ToSchema)]
pub struct RefusedLine {
    /// A stable word.
    pub code: String,
    pub count: u64,
    /// The first of them, in words: its number in the feed, its SKU, what it says and why that is refused.
    pub example: Option<String>,
    /// The first few of them.
    pub examples: Vec<String>,
}

/// An observation that waits for confirmation.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, ToSchema)]
pub struct HeldView {
    pub id: i64,
    pub feed: String,
    pub retailer: String,
    pub sku: String,
    pub seller: Option<String>,
    pub title: String,
    pub part: Option<String>,
    pub price_minor: i64,
    pub currency: String,
    /// What is believed instead; absent for nothing.
    pub current_price_minor: Option<i64>,
    pub current_currency: Option<String>,
    pub reason: String,
    /// Polls in a row that said it.
    pub times: u32,
    pub first_seen: String,
    pub last_seen: String,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum HeldWord {
    Confirm,
    Drop,
}

/// `{ id, done }`, `done` being `confirmed` or `dropped`.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, ToSchema)]
pub struct HeldDone {
    pub id: i64,
    pub done: String,
}

/// What became of the wish to poll a feed now.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, ToSchema)]
pub struct PollAsked {
    pub feed: String,
    /// It is under way; what it brings shows as a change.
    pub is_asked: bool,
    /// When it is polled instead, and why: the shop wants a pause.
    pub next: Option<String>,
    pub why: Option<String>,
}

/// What a mapping is tried on.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ToSchema)]
#[schema(rename_all = "snake_case")]
pub enum TriedOn {
    /// What the newest poll brought: no shop is asked.
    Last,
    /// What the shop says now.
    Shop,
}

impl TriedOn {
    pub fn named(name: &str) -> Option<TriedOn> {
        match name {
            "last" => Some(TriedOn::Last),
            "shop" => Some(TriedOn::Shop),
            _ => None,
        }
    }
}

/// How a feed's records are read, without storing any.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub struct TrialView {
    pub feed: String,
    pub records: Vec<TrialRecordView>,
    pub counts: TrialCountsView,
    /// The first record of each reason, in words.
    pub examples: BTreeMap<String, String>,
    pub notes: Vec<String>,
    /// Why a poll would fail as a whole and change nothing.
    pub error: Option<String>,
}

#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, ToSchema)]
pub struct TrialCountsView {
    pub records: u64,
    pub accepted: u64,
    pub held: u64,
    pub refused: u64,
    pub matched: u64,
    pub reasons: BTreeMap<String, u64>,
}

/// One record as it stood and as it was read. What could not be read is absent.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub struct TrialRecordView {
    /// From 1, in the order of the feed.
    pub index: u64,
    /// By the names of mappings: a text, or a list where the record has several.
    #[schema(value_type = Object)]
    pub raw: Map<String, Value>,
    pub title: Option<String>,
    pub sku: Option<String>,
    pub gtin: Option<String>,
    pub mpn: Option<String>,
    pub price_text: Option<String>,
    pub price_minor: Option<i64>,
    pub currency: Option<String>,
    pub availability: Option<String>,
    pub condition: Option<String>,
    pub seller: Option<String>,
    pub shipping_minor: Option<i64>,
    pub part: Option<String>,
    pub notes: Vec<String>,
    /// `accepted`, `held` or `refused`.
    pub verdict: String,
    /// Why it is held or refused.
    pub reason: Option<String>,
}

/// The offers that wait for the author.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub struct Questions {
    /// All that wait; `queue` has the first of them.
    pub total: u64,
    pub queue: Vec<QuestionView>,
}

#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub struct QuestionView {
    pub feed: String,
    pub retailer: String,
    pub sku: String,
    pub title: String,
    pub brand: Option<String>,
    pub mpn: Option<String>,
    pub gtin: Option<String>,
    pub seller: Option<String>,
    pub price_minor: i64,
    pub currency: String,
    /// What is asked, in words.
    pub question: String,
    pub proposals: Vec<ProposedView>,
}

/// A part that an offer may be, with the evidence side by side.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub struct ProposedView {
    pub part: String,
    pub name: String,
    /// `author`, `gtin`, `mpn` or `title`; `keys` where two disagree.
    pub by: String,
    /// In percent.
    pub confidence: Option<u8>,
    pub agreed: Vec<String>,
    pub objections: Vec<String>,
    /// What the offer says of something beside what the catalogue says.
    pub evidence: Vec<EvidenceView>,
}

#[derive(Debug, Clone, PartialEq, Eq, Serialize, ToSchema)]
pub struct EvidenceView {
    pub what: String,
    pub offer: Option<String>,
    pub part: Option<String>,
    /// Whether the two agree, where both say something.
    pub agrees: Option<bool>,
}

/// The author's word on an offer.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum MatchWord {
    /// It is this part.
    Accept(String),
    /// It is not this part; none of those proposed, if none is named.
    Refuse(Option<String>),
    /// It is a part that the catalogue lacks.
    New,
    /// What was decided is taken back.
    Forget,
}

/// What the word did.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, ToSchema)]
pub struct MatchDone {
    pub retailer: String,
    pub sku: String,
    /// `accepted`, `refused`, `new` or `forgotten`.
    pub done: String,
    /// The part that the offer is taken for now.
    pub part: Option<String>,
    /// What is asked about it still.
    pub question: Option<String>,
}
