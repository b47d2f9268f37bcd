//! What can be asked of a guide.

use super::{Changes, Output};
use clap::{Args, ValueEnum};
use std::path::PathBuf;

/// Two letters of ISO 3166-1.
fn country_code(text: &str) -> Result<String, String> {
    let code = text.trim().to_ascii_uppercase();
    match code.len() == 2 && code.bytes().all(|byte| byte.is_ascii_uppercase()) {
        true => Ok(code),
        false => Err("write two letters of ISO 3166-1, such as AT".to_owned()),
    }
}

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

    /// Price the picks in this country, too, with the best substitutes for what is not sold there.
    ///
    /// Several may be named; without any, those of the brief's `countries` are taken.
    #[arg(long, value_name = "CODE", value_parser = country_code)]
    pub country: Vec<String>,

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
