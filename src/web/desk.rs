//! Who answers: the desk, at which everything that a page shows is asked for.

use super::view::{
    Alternatives, BriefPage, EntryPrices, FeedList, FeedPage, GuideForm, GuideText, HeldDone,
    HeldView, HeldWord, Journal, JournalAsked, LadderPage, MatchDone, MatchWord, Outbox,
    OutboxDone, OutboxWord, Overview, PartList, PartPage, PastView, PollAsked, Proposal, Questions,
    Refusal, Saved, TrialView, TriedOn, WhatIf, WhyView,
};
use std::sync::Arc;
use tokio::sync::watch::Receiver;

/// An answer or why there is none.
pub type Told<T> = Result<T, Refusal>;

/// Which parts are asked for.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct PartsAsked {
    pub kind: Option<String>,
    /// Words that its name, brand or numbers have.
    pub query: Option<String>,
    /// From 1.
    pub page: Option<u32>,
}

/// What of a part's past is asked for.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct PastAsked {
    /// A day, `2026-03-31`.
    pub since: Option<String>,
    /// All, if none is named.
    pub retailers: Vec<String>,
    /// A price that is waited for; the highest entry price, if none is named.
    pub target: Option<String>,
}

/// Everything that is shown and can be done. Calls may block for as long as it takes to look or to work
/// something out.
pub trait Desk: Send + Sync {
    fn overview(&self) -> Told<Overview>;
    fn brief(&self, brief: &str, what_if: &WhatIf) -> Told<BriefPage>;
    /// The same value for as long as it stands, where the budget is the brief's own: it may be large.
    fn ladder(&self, brief: &str, what_if: &WhatIf) -> Told<Arc<LadderPage>>;
    /// Of one role, or of all.
    fn entry_prices(&self, brief: &str, role: Option<&str>, what_if: &WhatIf) -> Told<EntryPrices>;
    fn alternatives(&self, brief: &str, what_if: &WhatIf) -> Told<Alternatives>;
    fn why(&self, brief: &str, part: &str, what_if: &WhatIf) -> Told<WhyView>;
    fn guide(&self, brief: &str, form: GuideForm, what_if: &WhatIf) -> Told<GuideText>;
    fn proposal(&self, brief: &str, what_if: &WhatIf) -> Told<Proposal>;
    /// Writes what the proposal of this digest shows. A conflict if the file is another by now.
    fn save(&self, brief: &str, what_if: &WhatIf, digest: &str) -> Told<Saved>;

    fn parts(&self, asked: &PartsAsked) -> Told<PartList>;
    fn part(&self, part: &str) -> Told<PartPage>;
    fn past(&self, part: &str, asked: &PastAsked) -> Told<PastView>;

    fn feeds(&self) -> Told<FeedList>;
    fn feed(&self, feed: &str) -> Told<FeedPage>;
    fn poll_now(&self, feed: &str) -> Told<PollAsked>;
    /// Tries the mapping on what the feed brings.
    fn try_feed(&self, feed: &str, on: TriedOn) -> Told<TrialView>;
    fn held(&self) -> Told<Vec<HeldView>>;
    fn held_word(&self, id: i64, word: HeldWord) -> Told<HeldDone>;
    fn questions(&self) -> Told<Questions>;
    fn answer_question(&self, retailer: &str, sku: &str, word: &MatchWord) -> Told<MatchDone>;

    fn journal(&self, asked: &JournalAsked) -> Told<Journal>;
    /// In a state (`waiting`, `sent`, `dead`, `dropped`, `all`); waiting and dead ones, if none is named.
    fn outbox(&self, state: Option<&str>, limit: Option<u32>) -> Told<Outbox>;
    fn outbox_word(&self, id: i64, word: OutboxWord) -> Told<OutboxDone>;

    /// Moves with every round and every write.
    fn changes(&self) -> Receiver<u64>;
}
