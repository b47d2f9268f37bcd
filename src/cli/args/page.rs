//! What can be said about the page.

use super::Output;
use clap::Args;

#[derive(Debug, Args)]
pub struct OpenArguments {
    /// Say where it is and open nothing.
    #[arg(long)]
    pub print: bool,

    #[command(flatten)]
    pub output: Output,
}
