//! What can be asked of editions.

use super::{GuideForm, Output};
use clap::Args;
use std::path::PathBuf;

#[derive(Debug, Args)]
pub struct PublishArguments {
    /// A brief's name; the only one when there is but one.
    pub brief: Option<String>,

    /// Write the guide in every form into this directory.
    #[arg(long, value_name = "DIR")]
    pub into: Option<PathBuf>,

    /// Shorten the text form until it has no more characters, the least important first.
    #[arg(long, value_name = "N")]
    pub max_chars: Option<usize>,

    /// Write an edition though nothing has changed.
    #[arg(long)]
    pub anyway: bool,

    #[command(flatten)]
    pub output: Output,
}

#[derive(Debug, Args)]
pub struct EditionsArguments {
    /// A brief's name; every brief unless told.
    pub brief: Option<String>,

    /// The number of an edition, to see what it said and what it rests on.
    pub edition: Option<u32>,

    /// Show the guide as it was published in this form, byte for byte.
    #[arg(
        long,
        value_name = "FORM",
        requires = "edition",
        conflicts_with = "json"
    )]
    pub format: Option<GuideForm>,

    /// Write it into this file.
    #[arg(long, value_name = "FILE", requires = "edition")]
    pub out: Option<PathBuf>,

    #[command(flatten)]
    pub output: Output,
}

#[derive(Debug, Args)]
pub struct DiffArguments {
    /// A brief's name; the only one when there is but one.
    pub brief: Option<String>,

    /// The number of an edition; the newest unless told.
    pub edition: Option<u32>,

    #[command(flatten)]
    pub output: Output,
}
