//! What can be said of the service that runs the daemon.

use clap::Args;

#[derive(Debug, Args)]
pub struct InstallServiceArguments {
    /// For you alone: it runs as you, under your own service manager.
    #[arg(long, required_unless_present = "system", conflicts_with = "system")]
    pub user: bool,

    /// For the machine: it starts with it and runs as the owner of the configuration directory.
    #[arg(long)]
    pub system: bool,

    /// Write the unit to standard output and install nothing.
    #[arg(long)]
    pub print: bool,
}
