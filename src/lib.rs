//! `rigtide` watches retailer feeds and keeps the best PC build for a budget true.
//!
//! ```text
//! feeds ──fetch──> bytes ──decode──> raw offers ──normalise──> offers ──match──> parts
//!                                                                │
//!                                     ledger (observations) <────┘
//!                                                │
//!   brief + catalogue + current offers ──> market (candidates with landed prices)
//!                                                │
//!                             fit rules + rates ─┤
//!                                                v
//!                           optimise: the best build, with its proof
//!                                                │
//!                previous answer ──> decide ──> journal + outbox ──> notify
//! ```
//!
//! The modules stand in reading order. Those above the line are pure: no input, no output, no
//! clock. Those below are edges; they depend inward, and only `watch` and `cli` join them.

pub mod money;
pub mod catalogue;
pub mod template;
pub mod fit;
pub mod rates;
pub mod market;
pub mod history;
pub mod optimise;
pub mod decide;
pub mod chart;

// Edges, below the line.
pub mod feeds;
pub mod ledger;
pub mod notify;
pub mod guide;
pub mod web;
pub mod watch;
pub mod cli;
