//! What can be asked of bulletins and of the texts that they are made of.

use super::Output;
use clap::Args;

#[derive(Debug, Args)]
pub struct BulletinArguments {
    /// Show what a bulletin on the present answer of this brief would say on each of its channels.
    /// Nothing is sent and nothing recorded.
    #[arg(long, value_name = "BRIEF", required_unless_present = "test")]
    pub preview: Option<String>,

    /// Send one bulletin that is plainly a test through this channel, now, and tell what the receiver
    /// said. Nothing goes into the outbox.
    #[arg(long, value_name = "CHANNEL", conflicts_with = "preview")]
    pub test: Option<String>,

    /// Write the page of the preview alone, as a mail holds it.
    #[arg(long, requires = "preview", conflicts_with = "json")]
    pub html: bool,

    #[command(flatten)]
    pub output: Output,
}

#[derive(Debug, Args)]
pub struct TemplatesArguments {
    /// Write the program's own text of this name, to begin yours with.
    pub name: Option<String>,

    #[command(flatten)]
    pub output: Output,
}
