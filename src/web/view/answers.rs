//! What else is asked about a brief: the ladder, entry prices, the next best, why.

use super::{ShortPick, WhatIf};
use serde::Serialize;
use utoipa::ToSchema;

/// For every budget, the best build.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub struct LadderPage {
    pub brief: String,
    pub name: String,
    pub at: String,
    pub currency: String,
    pub budget_minor: i64,
    pub what_if: WhatIf,
    /// The last rung is the best that any money buys.
    pub whole: bool,
    /// The rung that the budget buys, counted from nought; absent if it buys none.
    pub bought: Option<usize>,
    /// Rising in total and in score.
    pub rungs: Vec<RungView>,
}

#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub struct RungView {
    pub total_minor: i64,
    pub score: f64,
    pub score_exact: i64,
    pub knee: bool,
    /// From the rung below; absent at the first.
    pub step_up: Option<StepUp>,
    pub changes: Vec<RungChange>,
    pub picks: Vec<ShortPick>,
}

#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub struct StepUp {
    pub cost_minor: i64,
    pub score: f64,
    /// Points for 100 units of money.
    pub score_per_100: Option<f64>,
}

/// Part ids of a role, below and here.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, ToSchema)]
pub struct RungChange {
    pub role: String,
    pub from: String,
    pub to: String,
}

/// At what price each part would be in an optimal build.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, ToSchema)]
pub struct EntryPrices {
    pub brief: String,
    pub currency: String,
    pub roles: Vec<RoleEntries>,
}

#[derive(Debug, Clone, PartialEq, Eq, Serialize, ToSchema)]
pub struct RoleEntries {
    pub role: String,
    pub parts: Vec<EntryView>,
}

#[derive(Debug, Clone, PartialEq, Eq, Serialize, ToSchema)]
pub struct EntryView {
    pub part: String,
    pub name: String,
    /// Absent where no offer of the part counts.
    pub landed_minor: Option<i64>,
    /// Absent where no optimal build takes it even for nothing.
    pub entry_minor: Option<i64>,
    pub in_best: bool,
}

/// The next best builds, and the best on each other socket.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub struct Alternatives {
    pub brief: String,
    pub currency: String,
    /// Of the best; absent where nothing fits.
    pub total_minor: Option<i64>,
    pub score: Option<f64>,
    pub alternatives: Vec<AlternativeView>,
    pub platforms: Vec<PlatformView>,
}

#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub struct AlternativeView {
    pub total_minor: i64,
    pub score: f64,
    /// The roles in which it differs from the best.
    pub differs: Vec<String>,
    pub picks: Vec<ShortPick>,
}

#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub struct PlatformView {
    pub socket: String,
    pub total_minor: i64,
    pub score: f64,
    pub differs: Vec<String>,
    pub picks: Vec<ShortPick>,
}

/// Why a part is in the best build or not.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub struct WhyView {
    pub brief: String,
    pub part: String,
    pub name: String,
    pub currency: String,
    /// Every role that it could fill.
    pub roles: Vec<RoleWhy>,
    /// Why offers of the part are not considered.
    pub left_out: Vec<String>,
    /// The best build's, which `other` is to be held against.
    pub best_picks: Vec<ShortPick>,
}

#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub struct RoleWhy {
    pub role: String,
    /// `picked`, `beaten`, `kept_out` or `not_offered`.
    pub verdict: String,
    pub landed_minor: Option<i64>,
    pub entry_minor: Option<i64>,
    /// The best build without a pick, or with what is none.
    pub other: Option<WhyBuild>,
    /// The best build, where the part is beaten.
    pub best: Option<WhyBuild>,
    pub kept_out: Vec<String>,
    /// What holds a pick where it is.
    pub binding: Option<BindingView>,
}

#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub struct WhyBuild {
    pub total_minor: i64,
    pub score: f64,
    pub picks: Vec<ShortPick>,
}

#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub struct BindingView {
    pub budget_left_minor: i64,
    pub next_step: Option<NextStep>,
    pub workloads: Vec<WorkloadHold>,
    pub limits: Vec<LimitView>,
}

#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub struct NextStep {
    pub more_minor: i64,
    pub score: f64,
    pub part: String,
}

#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub struct WorkloadHold {
    pub workload: String,
    /// `this_role`, `cap` or `another_role`.
    pub limited_by: String,
    pub unused_percent: f64,
}

/// Without it the best build would be better and have `part` here.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub struct LimitView {
    /// `need`, `floor` or `rule`.
    pub kind: String,
    pub name: String,
    pub part: String,
    pub score: f64,
    pub total_minor: i64,
    pub better_parts: u64,
    /// There are no more than these.
    pub is_all: bool,
}
