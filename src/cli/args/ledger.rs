//! What can be asked of the ledger itself.

use super::{Output, Past};
use clap::Args;
use std::path::PathBuf;

#[derive(Debug, Args)]
pub struct ExportArguments {
    /// A new file; its name ends in .csv, .jsonl or .parquet.
    pub file: PathBuf,

    #[command(flatten)]
    pub output: Output,
}

#[derive(Debug, Args)]
pub struct ImportHistoryArguments {
    /// An export (.csv, .jsonl, .parquet), or a CSV file of your own with the columns `retailer`,
    /// `sku` or `part` or both, `at`, `price`, and if you like `currency`, `availability`,
    /// `tax_included` and `title`.
    pub file: PathBuf,

    #[command(flatten)]
    pub output: Output,
}

#[derive(Debug, Args)]
pub struct BackupArguments {
    /// A new file.
    pub file: PathBuf,

    #[command(flatten)]
    pub output: Output,
}

#[derive(Debug, Args)]
pub struct RestoreArguments {
    /// A backup.
    pub file: PathBuf,

    #[command(flatten)]
    pub output: Output,
}

#[derive(Debug, Args)]
pub struct CompactArguments {
    /// Keep of each whole day before this date (UTC) what its low, its high and its medians need,
    /// and let go of the rest.
    #[arg(long, value_name = "DATE", value_parser = Past::parse)]
    pub thin_before: Option<Past>,

    #[command(flatten)]
    pub output: Output,
}
