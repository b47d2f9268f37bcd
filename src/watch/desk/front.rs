//! The desk as the page knows it.

use super::DaemonDesk;
use crate::web::desk::{Desk, PartsAsked, PastAsked, Told};
use crate::web::view::{
    Alternatives, BriefPage, EntryPrices, FeedList, FeedPage, GuideForm, GuideText, HeldDone,
    HeldView, HeldWord, Journal, JournalAsked, LadderPage, MatchDone, MatchWord, Outbox,
    OutboxDone, OutboxWord, Overview, PartList, PartPage, PastView, PollAsked, Proposal, Questions,
    Saved, TrialView, TriedOn, WhatIf, WhyView,
};
use std::sync::Arc;
use tokio::sync::watch::Receiver;

impl Desk for DaemonDesk {
    fn overview(&self) -> Told<Overview> {
        self.look_over()
    }

    fn brief(&self, brief: &str, what_if: &WhatIf) -> Told<BriefPage> {
        self.brief_page(brief, what_if)
    }

    fn ladder(&self, brief: &str, what_if: &WhatIf) -> Told<Arc<LadderPage>> {
        self.ladder_page(brief, what_if)
    }

    fn entry_prices(&self, brief: &str, role: Option<&str>, what_if: &WhatIf) -> Told<EntryPrices> {
        self.entry_prices_of(brief, role, what_if)
    }

    fn alternatives(&self, brief: &str, what_if: &WhatIf) -> Told<Alternatives> {
        self.alternatives_of(brief, what_if)
    }

    fn why(&self, brief: &str, part: &str, what_if: &WhatIf) -> Told<WhyView> {
        self.why_of(brief, part, what_if)
    }

    fn guide(&self, brief: &str, form: GuideForm, what_if: &WhatIf) -> Told<GuideText> {
        self.guide_text(brief, form, what_if)
    }

    fn proposal(&self, brief: &str, what_if: &WhatIf) -> Told<Proposal> {
        self.propose(brief, what_if)
    }

    fn save(&self, brief: &str, what_if: &WhatIf, digest: &str) -> Told<Saved> {
        self.save_what_if(brief, what_if, digest)
    }

    fn parts(&self, asked: &PartsAsked) -> Told<PartList> {
        self.list_parts(asked)
    }

    fn part(&self, part: &str) -> Told<PartPage> {
        self.part_page(part)
    }

    fn past(&self, part: &str, asked: &PastAsked) -> Told<PastView> {
        self.past_of(part, asked)
    }

    fn feeds(&self) -> Told<FeedList> {
        self.list_feeds()
    }

    fn feed(&self, feed: &str) -> Told<FeedPage> {
        self.feed_page(feed)
    }

    fn poll_now(&self, feed: &str) -> Told<PollAsked> {
        self.ask_to_poll(feed)
    }

    fn try_feed(&self, feed: &str, on: TriedOn) -> Told<TrialView> {
        self.try_mapping(feed, on)
    }

    fn held(&self) -> Told<Vec<HeldView>> {
        self.list_held()
    }

    fn held_word(&self, id: i64, word: HeldWord) -> Told<HeldDone> {
        self.settle_held(id, word)
    }

    fn questions(&self) -> Told<Questions> {
        self.list_questions()
    }

    fn answer_question(&self, retailer: &str, sku: &str, word: &MatchWord) -> Told<MatchDone> {
        self.settle_offer(retailer, sku, word)
    }

    fn journal(&self, asked: &JournalAsked) -> Told<Journal> {
        self.journal_of(asked)
    }

    fn outbox(&self, state: Option<&str>, limit: Option<u32>) -> Told<Outbox> {
        self.outbox_of(state, limit)
    }

    fn outbox_word(&self, id: i64, word: OutboxWord) -> Told<OutboxDone> {
        self.settle_delivery(id, word)
    }

    fn changes(&self) -> Receiver<u64> {
        self.changes_seen()
    }
}
