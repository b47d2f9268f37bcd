//! The briefs: all of them in short, and one with its build.

use super::{JournalLine, WhatIf};
use serde::Serialize;
use std::collections::BTreeMap;
use utoipa::ToSchema;

/// The first page.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub struct Overview {
    pub at: String,
    pub briefs: Vec<BriefLine>,
    pub feeds: FeedsInShort,
    /// Observations that wait for confirmation.
    pub held: u64,
    /// Offers that wait for the author's word on which part they are.
    pub questions: u64,
    /// Listed offers that are no part.
    pub unmatched: u64,
    pub outbox: OutboxInShort,
    /// Moves with every round and write.
    pub change: u64,
}

/// A brief and the answer to it, as the newest look found it.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub struct BriefLine {
    pub brief: String,
    pub name: String,
    pub country: String,
    pub currency: String,
    pub budget_minor: i64,
    /// Absent before the first answer, and where nothing fits.
    pub total_minor: Option<i64>,
    pub score: Option<f64>,
    /// `optimal`, `bounded` or `infeasible`; absent before the first answer.
    pub proof: Option<String>,
    /// When its parts were first the answer, absent where they have not been told; and when it was written
    /// down.
    pub since: Option<String>,
    pub at: Option<String>,
    pub picks: Vec<ShortPick>,
    /// Why nothing fits.
    pub obstacles: Vec<String>,
    pub last_change: Option<JournalLine>,
    /// What was told last, where that is something else.
    pub told: Option<ToldAnswer>,
}

/// An answer that was told.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub struct ToldAnswer {
    pub at: String,
    /// Absent where nothing fitted.
    pub total_minor: Option<i64>,
    pub score: Option<f64>,
    /// Of the same parts, at other prices.
    pub is_same_build: bool,
}

/// The feeds in one line.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, ToSchema)]
pub struct FeedsInShort {
    pub feeds: u64,
    /// Those whose newest poll failed.
    pub failing: Vec<String>,
    pub last_poll: Option<String>,
    pub next_poll: Option<String>,
    pub offers: u64,
    pub matched: u64,
}

#[derive(Debug, Clone, PartialEq, Eq, Serialize, ToSchema)]
pub struct OutboxInShort {
    pub waiting: u64,
    pub dead: u64,
}

/// A pick in short, as on the ladder.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, ToSchema)]
pub struct ShortPick {
    pub role: String,
    pub part: String,
    pub name: String,
    pub quantity: u32,
    /// Absent, as the price is, for what the reader has already.
    pub retailer: Option<String>,
    pub price_minor: Option<i64>,
    pub landed_minor: i64,
    pub availability: Option<String>,
    pub lead_days: Option<u32>,
}

/// A brief with its best build, as it is or as it would be.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub struct BriefPage {
    pub brief: String,
    pub name: String,
    /// The instant that the answer is of.
    pub at: String,
    pub country: String,
    pub currency: String,
    pub budget_minor: i64,
    /// What the brief's file says, without the what-if.
    pub written_budget_minor: i64,
    pub what_if: WhatIf,
    /// The what-if as a link's query.
    pub query: String,
    pub roles: Vec<RoleView>,
    /// Absent, as the score is, where nothing fits.
    pub total_minor: Option<i64>,
    pub score: Option<f64>,
    /// The exact score: the weighted sum of log-rates in millionths.
    pub score_exact: Option<i64>,
    pub estimated_percent: Option<f64>,
    /// `optimal`, `bounded` or `infeasible`.
    pub proof: String,
    /// A score that no build exceeds.
    pub bound: Option<f64>,
    pub picks: Vec<PickView>,
    /// What whole orders cost and save.
    pub orders: Vec<OrderLine>,
    pub workloads: Vec<WorkloadView>,
    /// By limiting role: what the score would gain, in percent, if its part were a tenth faster.
    pub gain_percent_of_a_tenth: BTreeMap<String, f64>,
    pub wishes: Vec<WishView>,
    /// What was looked at and holds.
    pub notes: Vec<String>,
    pub cautions: Vec<String>,
    /// Why nothing fits, and what would let a build be.
    pub obstacles: Vec<String>,
    /// Offers left out, by reason.
    pub left_out: BTreeMap<String, u64>,
    pub parts_considered: u64,
    pub offers_considered: u64,
    pub power: Option<PowerView>,
    /// Where there is a what-if: the best build as the brief is written.
    pub as_written: Option<BesideView>,
    /// The build that was told last; absent before the first.
    pub standing: Option<BesideView>,
}

/// A seat of the build and what the brief says of it.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, ToSchema)]
pub struct RoleView {
    pub role: String,
    /// `cpu`, `cooler` and so on.
    pub kind: String,
    pub quantity: u32,
    pub pin: Option<String>,
    pub is_owned: bool,
}

#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub struct PickView {
    pub role: String,
    pub part: String,
    pub name: String,
    pub quantity: u32,
    /// Absent, as its name, SKU, price, link and instant are, for what the reader has already.
    pub retailer: Option<String>,
    pub retailer_name: Option<String>,
    pub sku: Option<String>,
    /// Of one, in minor units of `price_currency`.
    pub price_minor: Option<i64>,
    pub price_currency: String,
    /// Of all, without delivery that is paid for a whole order.
    pub landed_minor: i64,
    pub rebate_minor: i64,
    pub link: Option<String>,
    pub is_paid_link: bool,
    pub seen_at: Option<String>,
    pub availability: Option<String>,
    pub lead_days: Option<u32>,
    /// Where the price stands in its own past, in words.
    pub price_position: Option<String>,
    /// The same as figures.
    pub position: Option<PositionView>,
    /// Why this part is here, in words.
    pub reason: String,
    pub is_pinned: bool,
    pub is_owned: bool,
}

/// A price beside the lowest of its own past.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub struct PositionView {
    /// By how much it is above the lowest; absent where it is not.
    pub above_percent: Option<f64>,
    pub lowest_minor: i64,
    pub currency: String,
    /// The lowest of so many days.
    pub days: i64,
    /// The record's first day, where it is shorter than that.
    pub since: Option<String>,
}

#[derive(Debug, Clone, PartialEq, Eq, Serialize, ToSchema)]
pub struct OrderLine {
    pub words: String,
    pub minor: i64,
}

/// What a build does in one use, and what holds it there.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub struct WorkloadView {
    pub workload: String,
    pub name: String,
    pub unit: String,
    /// The share of the score's weight.
    pub weight_percent: f64,
    pub rate: f64,
    /// A role of the brief, or `cap`.
    pub limited_by: String,
    pub is_estimate: bool,
    /// By limiting role: how much of what its part could do stays unused.
    pub unused_percent: BTreeMap<String, f64>,
}

#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub struct WishView {
    pub role: String,
    pub wish: String,
    /// Of the score.
    pub worth_percent: f64,
    pub is_met: bool,
}

#[derive(Debug, Clone, PartialEq, Eq, Serialize, ToSchema)]
pub struct PowerView {
    pub load_w: i64,
    /// Parts whose draw nobody states.
    pub unknown: Vec<String>,
    pub needed_w: i64,
    pub rated_w: Option<i64>,
}

/// Another build to hold beside.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub struct BesideView {
    pub total_minor: Option<i64>,
    pub score: Option<f64>,
    /// What differs from it.
    pub changes: Vec<ChangeView>,
}

/// What a role has instead.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, ToSchema)]
pub struct ChangeView {
    pub role: String,
    /// Parts; absent where the role is empty.
    pub from: Option<String>,
    pub to: Option<String>,
    pub from_name: Option<String>,
    pub to_name: Option<String>,
}

/// The forms of a guide.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, ToSchema)]
#[serde(rename_all = "lowercase")]
pub enum GuideForm {
    Markdown,
    Html,
    Text,
    Csv,
    Json,
}

impl GuideForm {
    pub const ALL: [GuideForm; 5] = [
        GuideForm::Markdown,
        GuideForm::Html,
        GuideForm::Text,
        GuideForm::Csv,
        GuideForm::Json,
    ];

    /// Its word in addresses and on the command line.
    pub fn name(self) -> &'static str {
        match self {
            GuideForm::Markdown => "markdown",
            GuideForm::Html => "html",
            GuideForm::Text => "text",
            GuideForm::Csv => "csv",
            GuideForm::Json => "json",
        }
    }

    pub fn named(name: &str) -> Option<GuideForm> {
        GuideForm::ALL.into_iter().find(|form| form.name() == name)
    }
}

/// The guide in one form, as `rigtide guide` writes it.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, ToSchema)]
pub struct GuideText {
    pub brief: String,
    pub form: GuideForm,
    pub media_type: String,
    pub text: String,
}

/// What saving a what-if would write into the brief's file.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, ToSchema)]
pub struct Proposal {
    pub brief: String,
    /// Below the configuration's directory.
    pub file: String,
    /// The differences with three lines around them; empty where there are none.
    pub diff: String,
    /// Of the file as it is; to be handed back when saving.
    pub digest: String,
    /// What of the what-if a brief cannot say and is not saved.
    pub not_saved: Vec<String>,
}

#[derive(Debug, Clone, PartialEq, Eq, Serialize, ToSchema)]
pub struct Saved {
    pub brief: String,
    pub file: String,
    /// Of the file as it is now.
    pub digest: String,
}
