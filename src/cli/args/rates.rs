//! What can be said about results and rates.

use super::Output;
use clap::{Args, Subcommand};
use std::path::PathBuf;

#[derive(Debug, Subcommand)]
pub enum MeasureCommand {
    /// Take results out of a CSV or TOML file into `measurements/`.
    ///
    /// Columns: parts,test,setting,value,unit,limited_by,source,date,note and, where they were read off,
    /// temperature_c,wall_w,clock_mhz,voltage_v. A whole build is its parts with + between them. Results
    /// that are known already are not taken twice; contradictory and impossible ones are taken and named.
    Import(MeasureImportArguments),
    /// Write down one result.
    Add(Box<MeasureAddArguments>),
    /// List the results, with what in them can hardly be right.
    List(MeasureListArguments),
}

#[derive(Debug, Args)]
pub struct MeasureImportArguments {
    /// The results: a CSV or TOML file.
    pub file: PathBuf,

    /// Write nothing; tell what would be taken.
    #[arg(long)]
    pub dry_run: bool,

    #[command(flatten)]
    pub output: Output,
}

#[derive(Debug, Args)]
pub struct MeasureAddArguments {
    /// A part's id; several for a whole build.
    #[arg(required = true, value_name = "PART")]
    pub parts: Vec<String>,

    /// The test's name.
    #[arg(long, value_name = "NAME")]
    pub test: String,

    /// Its setting, such as "1440p high".
    #[arg(long, value_name = "TEXT", default_value = "")]
    pub setting: String,

    /// What was measured, such as 61.4.
    #[arg(long, value_name = "NUMBER")]
    pub value: String,

    /// Its unit: frames/s, points, jobs/h, s, ms or the like.
    #[arg(long, value_name = "UNIT")]
    pub unit: String,

    /// The kind of part that held the build back, where you know it.
    #[arg(long, value_name = "KIND", default_value = "")]
    pub limited_by: String,

    /// Who measured it.
    #[arg(long, value_name = "TEXT", default_value = "own bench")]
    pub source: String,

    /// When, as 2026-09-30 or 2026-09; today unless told.
    #[arg(long, value_name = "DATE")]
    pub date: Option<String>,

    #[arg(long, value_name = "TEXT", default_value = "")]
    pub note: String,

    /// The temperature in °C of the hottest part, or of the one that the note names.
    #[arg(
        long,
        value_name = "NUMBER",
        default_value = "",
        hide_default_value = true,
        allow_hyphen_values = true
    )]
    pub temperature_c: String,

    /// What the build drew at the wall, in W.
    #[arg(
        long,
        value_name = "NUMBER",
        default_value = "",
        hide_default_value = true
    )]
    pub wall_w: String,

    /// The clock in MHz of the part that the note names.
    #[arg(
        long,
        value_name = "NUMBER",
        default_value = "",
        hide_default_value = true
    )]
    pub clock_mhz: String,

    /// Its voltage in V.
    #[arg(
        long,
        value_name = "NUMBER",
        default_value = "",
        hide_default_value = true
    )]
    pub voltage_v: String,

    #[command(flatten)]
    pub output: Output,
}

#[derive(Debug, Args)]
pub struct MeasureListArguments {
    /// Only the results of this part.
    pub part: Option<String>,

    #[command(flatten)]
    pub output: Output,
}

#[derive(Debug, Args)]
pub struct RatesArguments {
    /// Only this part, with what its rates rest on.
    pub part: Option<String>,

    /// Only this workload.
    #[arg(long, value_name = "NAME")]
    pub workload: Option<String>,

    /// How well the model foretells each result from the others, outliers, disagreements and
    /// stale evidence.
    #[arg(long, conflicts_with_all = ["part", "svg"])]
    pub check: bool,

    /// With --check: evidence older than so many days is stale.
    #[arg(long, value_name = "N", default_value_t = 365)]
    pub days: u32,

    /// Write a chart of rates against prices into this file.
    #[arg(long, value_name = "FILE")]
    pub svg: Option<PathBuf>,

    #[command(flatten)]
    pub output: Output,
}
