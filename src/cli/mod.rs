//! The command line: one file a command, results on standard output, the rest on standard error.
//!
//! Joins the edges for one run. What a command says as JSON is the same document that the ledger
//! keeps; what it says to people is derived from it. Exit codes are those of [`report::Failure`].
//!
//! Start reading at [`args`] (what can be said), then `commands/`.

pub mod args;
mod commands;
pub mod report;
pub mod screen;
mod logging;
mod service;
mod wire;

use args::{Arguments, CatalogueCommand, Command, DemoArguments, FeedCommand};
use clap::Parser;
use report::Failure;
use screen::Screen;
use std::ffi::OsString;
use std::process::ExitCode;

/// Opens the demo: its retailers, its configuration directory, its sale.
///
/// The demo's world is no part of the library; the program hands it in.
pub type OpenDemo = fn(&DemoArguments) -> anyhow::Result<Box<dyn DemoWorld>>;

/// What the demo command needs of the demo's world.
pub trait DemoWorld {
    /// Where its configuration has been written.
    fn directory(&self) -> &std::path::Path;
    /// What is being shown, in a few lines.
    fn scenario(&self) -> Vec<String>;
    /// One retailer lowers its prices. Says which and what.
    fn start_sale(&mut self) -> String;
    /// The next bulletin that reached the webhook receiver, if it comes within `limit`.
    fn received(&mut self, limit: std::time::Duration) -> Option<String>;
    /// Closes the retailers and lets requests under way finish.
    fn close(self: Box<Self>);
}

/// Runs the program and returns its exit code.
pub fn run(arguments: impl IntoIterator<Item = OsString>, open_demo: OpenDemo) -> ExitCode {
    let arguments = match Arguments::try_parse_from(arguments) {
        Ok(arguments) => arguments,
        Err(error) => {
            // Help and version are asked for; they go to standard output and are no failure.
            let code = u8::try_from(error.exit_code()).unwrap_or(2);
            let _ = error.print();
            return ExitCode::from(code);
        }
    };
    logging::start(&arguments);
    let screen = Screen::of_terminal();
    match dispatch(&arguments, &screen, open_demo) {
        Ok(()) => ExitCode::SUCCESS,
        Err(failure) => {
            screen.clear_progress();
            failure
                .lines()
                .iter()
                .for_each(|line| screen.complain(line));
            failure.exit_code()
        }
    }
}

fn dispatch(arguments: &Arguments, screen: &Screen, open_demo: OpenDemo) -> Result<(), Failure> {
    let config = &arguments.config;
    match &arguments.command {
        Command::Init { dir } => commands::init::run(dir, screen),
        Command::Check(output) => commands::check::run(config, *output, screen),
        Command::Poll { feed, output } => {
            commands::poll::run(config, feed.as_deref(), *output, screen)
        }
        Command::Feed(FeedCommand::Try(trial)) => commands::feed_try::run(config, trial, screen),
        Command::Feed(FeedCommand::Guess { source }) => {
            commands::feed_guess::run(config, source, screen)
        }
        Command::Held(held) => commands::held::run(config, held, screen),
        Command::Match(word) => commands::match_::run(config, word, screen),
        Command::Catalogue(CatalogueCommand::Check(check)) => {
            commands::catalogue_check::run(config, check, screen)
        }
        Command::Catalogue(CatalogueCommand::Propose(propose)) => {
            commands::catalogue_propose::run(config, propose, screen)
        }
        Command::Catalogue(CatalogueCommand::Import(import)) => {
            commands::catalogue_import::run(config, import, screen)
        }
        Command::Measure(measure) => commands::measure::run(config, measure, screen),
        Command::Rates(rates) => commands::rates::run(config, rates, screen),
        Command::Fit(fit) => commands::fit::run(config, fit, screen),
        Command::Best(best) => commands::best::run(config, best, screen),
        Command::Ladder(ladder) => commands::ladder::run(config, ladder, screen),
        Command::Why(why) => commands::why::run(config, why, screen),
        Command::EntryPrices(prices) => commands::entry_prices::run(config, prices, screen),
        Command::WhatIf(what_if) => commands::what_if::run(config, what_if, screen),
        Command::Schema { reference } => {
            commands::schema::run(*reference, screen);
            Ok(())
        }
        Command::Guide(guide) => commands::guide::run(config, guide, screen),
        Command::Publish(publish) => commands::publish::publish(config, publish, screen),
        Command::Refresh(refresh) => commands::publish::refresh(config, refresh, screen),
        Command::Editions(editions) => commands::editions::run(config, editions, screen),
        Command::Diff(diff) => commands::diff::run(config, diff, screen),
        Command::History(history) => commands::history::run(config, history, screen),
        Command::Export(export) => commands::export::run(config, export, screen),
        Command::ImportHistory(import) => commands::import_history::run(config, import, screen),
        Command::Backup(backup) => commands::backup::run(config, backup, screen),
        Command::Restore(restore) => commands::restore::run(config, restore, screen),
        Command::Verify(output) => commands::verify::run(config, *output, screen),
        Command::Compact(compact) => commands::compact::run(config, compact, screen),
        Command::Watch => commands::watch::run(config, screen),
        Command::Open(open) => commands::open::run(config, open, screen),
        Command::Password => commands::password::run(screen),
        Command::InstallService(service) => commands::install_service::run(config, service, screen),
        Command::Schedule(schedule) => commands::schedule::run(config, schedule, screen),
        Command::Status(output) => commands::status::run(config, *output, screen),
        Command::Journal(journal) => commands::journal::run(config, journal, screen),
        Command::Outbox(outbox) => commands::outbox::run(config, outbox, screen),
        Command::Bulletin(bulletin) => commands::bulletin::run(config, bulletin, screen),
        Command::Templates(templates) => commands::templates::run(config, templates, screen),
        Command::Demo(demo) => commands::demo::run(demo, screen, open_demo),
    }
}
