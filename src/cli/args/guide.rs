//! What can be asked of a guide.

use super::{Changes, Output};
use clap::{Args, ValueEnum};
use std::path::PathBuf;

#[derive(Debug, Args)]
pub struct GuideArguments {
    /// A brief's name; the only one when there is but one.
    pub brief: Option<String>,

    /// The form in which it is published.
    #[arg(long, value_name = "FORM", default_value = "text")]
    pub format: GuideForm,

    /// Shorten the text until it has no more characters, the least important first.
    #[arg(long, value_name = "N")]
    pub max_chars: Option<usize>,

    /// Write it into this file.
    #[arg(long, value_name = "FILE")]
    pub out: Option<PathBuf>,

    #[command(flatten)]
    pub changes: Changes,

    #[command(flatten)]
    pub output: Output,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub enum GuideForm {
    Markdown,
    Html,
    Text,
    Csv,
    Json,
}
