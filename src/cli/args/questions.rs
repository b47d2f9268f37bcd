//! What can be asked of a brief besides its best build.

use super::{Output, Past};
use clap::Args;
use std::path::PathBuf;

/// What is different from the configuration, for this question alone.
#[derive(Debug, Clone, Default, Args)]
pub struct Changes {
    /// Only this part may fill the role.
    #[arg(long, value_name = "ROLE=PART")]
    pub pin: Vec<String>,

    /// As if the reader had this part already, for nothing.
    #[arg(long, value_name = "ROLE=PART")]
    pub own: Vec<String>,

    /// Ordered from so many retailers at most.
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u32).range(1..=100))]
    pub most_retailers: Option<u32>,

    /// Without this part, brand or retailer.
    #[arg(long, value_name = "NAME")]
    pub ban: Vec<String>,

    /// With this much to spend.
    #[arg(long, value_name = "AMOUNT")]
    pub with_budget: Option<String>,

    /// As if every offer of the part had this price.
    #[arg(long, value_name = "PART=AMOUNT")]
    pub price: Vec<String>,

    /// As the prices, the stock and the matches stood then: a date, for its end in UTC, or an
    /// instant such as 2026-03-31T18:30:00Z.
    #[arg(long, value_name = "INSTANT", value_parser = Past::parse)]
    pub at: Option<Past>,
}

#[derive(Debug, Args)]
pub struct LadderArguments {
    /// A brief's name; the only one when there is but one.
    pub brief: Option<String>,

    /// The least to spend; from the cheapest build unless told.
    #[arg(long, value_name = "AMOUNT")]
    pub from: Option<String>,

    /// The most to spend; until money buys nothing more unless told.
    #[arg(long, value_name = "AMOUNT")]
    pub to: Option<String>,

    /// Write the chart into this file.
    #[arg(long, value_name = "FILE")]
    pub svg: Option<PathBuf>,

    #[command(flatten)]
    pub changes: Changes,

    #[command(flatten)]
    pub output: Output,
}

#[derive(Debug, Args)]
pub struct WhyArguments {
    /// A part's id in the catalogue.
    pub part: String,

    /// A brief's name; the only one when there is but one.
    #[arg(long, value_name = "BRIEF")]
    pub brief: Option<String>,

    #[command(flatten)]
    pub changes: Changes,

    #[command(flatten)]
    pub output: Output,
}

#[derive(Debug, Args)]
pub struct EntryPricesArguments {
    /// Only this role.
    pub role: Option<String>,

    /// A brief's name; the only one when there is but one.
    #[arg(long, value_name = "BRIEF")]
    pub brief: Option<String>,

    #[command(flatten)]
    pub changes: Changes,

    #[command(flatten)]
    pub output: Output,
}

#[derive(Debug, Args)]
pub struct WhatIfArguments {
    /// A brief's name; the only one when there is but one.
    pub brief: Option<String>,

    #[command(flatten)]
    pub changes: Changes,

    /// Show what `--save` would write into the brief's file.
    #[arg(long)]
    pub diff: bool,

    /// Write it into the brief's file, if a build fits, and show what changed there. Prices are not
    /// written: a brief takes them from the feeds.
    #[arg(long)]
    pub save: bool,

    #[command(flatten)]
    pub output: Output,
}
