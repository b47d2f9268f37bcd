//! What can be asked of a daemon's work: its plan, its deliveries, what happened, how it stands.

use super::Output;
use chrono::{DateTime, NaiveDate, NaiveTime, Utc};
use clap::{Args, Subcommand, ValueEnum};

#[derive(Debug, Args)]
pub struct ScheduleArguments {
    /// Show so many runs of each.
    #[arg(long, value_name = "N", default_value_t = 1, value_parser = clap::value_parser!(u32).range(1..=1000))]
    pub count: u32,

    #[command(flatten)]
    pub output: Output,
}

#[derive(Debug, Args)]
#[command(args_conflicts_with_subcommands = true)]
pub struct OutboxArguments {
    #[command(subcommand)]
    pub command: Option<OutboxCommand>,

    #[command(flatten)]
    pub list: OutboxListArguments,
}

#[derive(Debug, Subcommand)]
pub enum OutboxCommand {
    /// List deliveries; by default those that are not settled.
    List(OutboxListArguments),
    /// Make a delivery due now, whatever became of it before; not one that was sent.
    Retry {
        /// A delivery's number.
        #[arg(required_unless_present = "all", conflicts_with = "all")]
        id: Option<i64>,
        /// Every delivery whose last try failed: given up, or waiting for a later one.
        #[arg(long)]
        all: bool,
        #[command(flatten)]
        output: Output,
    },
    /// Give a delivery up. It stays in the ledger as dropped.
    Drop {
        /// A delivery's number.
        id: i64,
        #[command(flatten)]
        output: Output,
    },
}

#[derive(Debug, Args)]
pub struct OutboxListArguments {
    /// Only deliveries in this state; waiting and dead ones by default.
    #[arg(long, value_name = "STATE")]
    pub state: Option<StateWord>,

    /// Show so many, the newest.
    #[arg(long, value_name = "N", default_value_t = 50)]
    pub limit: u32,

    #[command(flatten)]
    pub output: Output,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub enum StateWord {
    Waiting,
    Sent,
    Dead,
    Dropped,
    All,
}

#[derive(Debug, Args)]
pub struct JournalArguments {
    /// Only what concerns this brief.
    #[arg(long, value_name = "BRIEF")]
    pub brief: Option<String>,

    /// Only what concerns this feed, RETAILER/FEED, or all feeds of a retailer.
    #[arg(long, value_name = "FEED")]
    pub feed: Option<String>,

    /// Only entries of this kind, such as `build_changed`.
    #[arg(long, value_name = "KIND")]
    pub kind: Option<String>,

    /// Only what happened from then on: a date, for its beginning in UTC, or an instant such as
    /// 2026-03-31T18:30:00Z.
    #[arg(long, value_name = "INSTANT", value_parser = since)]
    pub since: Option<DateTime<Utc>>,

    /// Show so many entries, the newest.
    #[arg(long, value_name = "N", default_value_t = 50)]
    pub limit: u32,

    /// Go on and show what comes, until interrupted or until nobody reads any more.
    #[arg(long)]
    pub follow: bool,

    /// Write one JSON document a line to standard output.
    #[arg(long)]
    pub json: bool,
}

fn since(text: &str) -> Result<DateTime<Utc>, String> {
    if let Ok(day) = NaiveDate::parse_from_str(text, "%Y-%m-%d") {
        return Ok(day.and_time(NaiveTime::MIN).and_utc());
    }
    DateTime::parse_from_rfc3339(text)
        .map(|at| at.with_timezone(&Utc))
        .map_err(|_| "write 2026-03-31 or 2026-03-31T18:30:00Z".to_owned())
}
