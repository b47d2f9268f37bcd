//! The catalogue's parts: a list, one of them, and the past of its price.

use serde::Serialize;
use std::collections::BTreeMap;
use utoipa::ToSchema;

/// One page of the parts that match.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, ToSchema)]
pub struct PartList {
    /// The kind that was asked for.
    pub kind: Option<String>,
    pub query: Option<String>,
    /// From 1.
    pub page: u32,
    pub pages: u32,
    /// Of all pages.
    pub total: u64,
    /// The kinds of which the catalogue has parts, and how many of each.
    pub kinds: Vec<KindCount>,
    pub parts: Vec<PartLine>,
}

#[derive(Debug, Clone, PartialEq, Eq, Serialize, ToSchema)]
pub struct KindCount {
    pub kind: String,
    pub parts: u64,
}

#[derive(Debug, Clone, PartialEq, Eq, Serialize, ToSchema)]
pub struct PartLine {
    pub part: String,
    pub kind: String,
    pub name: String,
    pub brand: Option<String>,
    pub mpn: Option<String>,
    /// Listed now.
    pub offers: u64,
    /// The lowest price that is asked for a new one that can be ordered, as a retailer states it.
    pub lowest_minor: Option<i64>,
    pub currency: Option<String>,
    /// The briefs whose standing build has it.
    pub used_in: Vec<String>,
}

#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub struct PartPage {
    pub part: String,
    pub kind: String,
    pub name: String,
    pub brand: Option<String>,
    pub mpns: Vec<String>,
    pub gtins: Vec<String>,
    pub specs: Vec<SpecView>,
    pub rates: Vec<RateView>,
    pub offers: Vec<OfferView>,
    pub used_in: Vec<UseView>,
}

#[derive(Debug, Clone, PartialEq, Eq, Serialize, ToSchema)]
pub struct SpecView {
    pub name: String,
    pub value: String,
    /// Of a value that is a number, or several.
    pub unit: Option<String>,
}

#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub struct RateView {
    pub workload: String,
    pub name: String,
    pub unit: String,
    pub rate: f64,
    /// Of one standard error, where it is known.
    pub error_percent: Option<f64>,
    /// Who measured it and when, or how it was estimated.
    pub source: String,
    pub is_estimate: bool,
}

#[derive(Debug, Clone, PartialEq, Eq, Serialize, ToSchema)]
pub struct OfferView {
    pub feed: String,
    pub retailer: String,
    pub retailer_name: String,
    pub sku: String,
    pub seller: Option<String>,
    pub title: String,
    pub condition: String,
    pub price_minor: i64,
    pub currency: String,
    pub tax_included: bool,
    pub availability: String,
    pub lead_days: Option<u32>,
    pub link: Option<String>,
    pub is_paid_link: bool,
    pub seen_at: String,
    /// By what it is taken for the part, with the confidence in percent.
    pub matched_by: Option<String>,
    pub confidence: Option<u8>,
}

#[derive(Debug, Clone, PartialEq, Eq, Serialize, ToSchema)]
pub struct UseView {
    pub brief: String,
    pub name: String,
    pub role: String,
}

/// What was seen of a part's price.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub struct PastView {
    pub part: String,
    pub name: String,
    /// Of the first point.
    pub currency: Option<String>,
    pub since: Option<String>,
    /// The price that was asked for, whose wait is told.
    pub target: Option<String>,
    /// Those that the part's past has, whether they were asked for or not.
    pub retailers: Vec<String>,
    /// What they are called, by id, where the settings still name them.
    pub retailer_names: BTreeMap<String, String>,
    pub points: Vec<PointView>,
    pub wares: Vec<WareView>,
    pub claims: Vec<ClaimView>,
    /// At which price the part would enter a brief's best build, where that can be worked out soon enough.
    pub entry_prices: Vec<EntryLine>,
}

/// What one offer asked for between two instants.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, ToSchema)]
pub struct PointView {
    pub retailer: String,
    pub sku: String,
    pub seller: Option<String>,
    pub condition: String,
    pub from: String,
    pub until: String,
    pub price_minor: i64,
    pub currency: String,
    pub list_minor: Option<i64>,
    pub list_currency: Option<String>,
    pub availability: String,
    pub is_lowest: bool,
}

/// What can be compared: new or used, one currency, with tax or without.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub struct WareView {
    pub condition: String,
    pub currency: String,
    pub tax_included: bool,
    pub offers: Vec<SeriesView>,
    pub facts: Option<FactsView>,
    /// The lowest of the offers.
    pub steps: Vec<StepView>,
}

#[derive(Debug, Clone, PartialEq, Eq, Serialize, ToSchema)]
pub struct SeriesView {
    pub retailer: String,
    pub sku: String,
    pub seller: Option<String>,
    pub steps: Vec<StepView>,
}

/// A stretch of time and what was known of the price in it.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, ToSchema)]
pub struct StepView {
    pub from: String,
    pub until: String,
    /// `asked`, `absent` (it was not offered) or `unread` (nobody looked: a gap).
    pub state: String,
    pub price_minor: Option<i64>,
    /// Whether it could be ordered, where that was told.
    pub orderable: Option<bool>,
    /// The number of the offer among the ware's.
    pub source: Option<u64>,
}

#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub struct FactsView {
    pub record: RecordView,
    pub now: StepStateView,
    pub lowest: Option<ExtremeView>,
    pub highest: Option<ExtremeView>,
    /// Of the time that it could be had.
    pub quarter_minor: Option<i64>,
    pub median_minor: Option<i64>,
    pub three_quarters_minor: Option<i64>,
    pub mean_minor: Option<i64>,
    pub in_stock_thousandths: Option<i64>,
    pub changes: u64,
    pub last_change: Option<LastChange>,
    pub at_or_below_now_ms: Option<i64>,
    pub lower_until: Option<String>,
    pub never_lower_since: Option<String>,
    pub trend_percent: Option<f64>,
    pub spread_percent: Option<f64>,
    /// How long one waits for the price that was asked for, or else for the highest entry price.
    pub wait: Option<WaitView>,
}

/// How long the record is, and how much of it says what.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, ToSchema)]
pub struct RecordView {
    pub from: String,
    pub until: String,
    pub to_be_had_ms: i64,
    pub untold_ms: i64,
    pub not_orderable_ms: i64,
    pub absent_ms: i64,
    pub unread_ms: i64,
}

#[derive(Debug, Clone, PartialEq, Eq, Serialize, ToSchema)]
pub struct StepStateView {
    pub state: String,
    pub price_minor: Option<i64>,
    pub orderable: Option<bool>,
    pub source: Option<u64>,
}

#[derive(Debug, Clone, PartialEq, Eq, Serialize, ToSchema)]
pub struct ExtremeView {
    pub price_minor: i64,
    pub from: String,
    pub until: String,
    pub source: u64,
}

#[derive(Debug, Clone, PartialEq, Eq, Serialize, ToSchema)]
pub struct LastChange {
    pub at: String,
    pub before_minor: i64,
    pub after_minor: i64,
}

#[derive(Debug, Clone, PartialEq, Eq, Serialize, ToSchema)]
pub struct WaitView {
    pub target_minor: i64,
    pub mean_ms: Option<i64>,
    pub arrivals: Option<u64>,
    pub waited_ms: Option<i64>,
    /// Why it cannot be told.
    pub why: Option<String>,
}

/// A claimed reduction beside the record of the 30 days before it.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, ToSchema)]
pub struct ClaimView {
    pub retailer: String,
    pub sku: String,
    pub from: String,
    pub price_minor: i64,
    pub was_minor: i64,
    pub currency: String,
    /// `contradicted`, `consistent` or `cannot_tell`.
    pub verdict: String,
    pub why: Option<String>,
    pub lowest_minor: Option<i64>,
    pub lowest_from: Option<String>,
    pub lowest_until: Option<String>,
    pub opens: String,
    pub closes: String,
    pub percent_off_hundredths: Option<i64>,
    pub claimed_off_hundredths: Option<i64>,
}

/// The entry price of the part in one brief.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, ToSchema)]
pub struct EntryLine {
    pub brief: String,
    pub role: String,
    pub currency: String,
    pub entry_minor: i64,
}
