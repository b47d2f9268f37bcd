//! What can be asked of a part's past.

use super::Output;
use chrono::NaiveDate;
use clap::Args;
use std::path::PathBuf;

#[derive(Debug, Args)]
pub struct HistoryArguments {
    /// A part's id in the catalogue.
    pub part: String,

    /// Only from this day on (UTC), such as 2026-03-01.
    #[arg(long, value_name = "DATE")]
    pub since: Option<NaiveDate>,

    /// Only this retailer's offers.
    #[arg(long, value_name = "NAME")]
    pub retailer: Option<String>,

    /// Tell how long the price may take to come down to this, such as 399.90.
    #[arg(long, value_name = "AMOUNT")]
    pub target: Option<String>,

    /// Draw the prices in characters.
    #[arg(long)]
    pub plot: bool,

    /// Draw the prices into this file.
    #[arg(long, value_name = "FILE")]
    pub svg: Option<PathBuf>,

    /// Write every price and every gap into this file, for a spreadsheet.
    #[arg(long, value_name = "FILE")]
    pub csv: Option<PathBuf>,

    /// Of a reduction that grew step by step, take the price before its first step as the one
    /// before it, as some states of the EU allow.
    #[arg(long)]
    pub progressive: bool,

    /// The day on which the part came on the market; a record that begins later than 30 days
    /// before a reduction cannot judge it otherwise.
    #[arg(long, value_name = "DATE")]
    pub on_market_since: Option<NaiveDate>,

    #[command(flatten)]
    pub output: Output,
}
