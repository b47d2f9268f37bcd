//! What can be said on the command line.

use clap::{Args, Parser, Subcommand, ValueEnum};
use std::path::PathBuf;

mod bulletin;
mod editions;
mod guide;
mod history;
mod instant;
mod ledger;
mod operating;
mod page;
mod questions;
mod rates;
mod service;

pub use bulletin::{BulletinArguments, TemplatesArguments};
pub use editions::{DiffArguments, EditionsArguments, PublishArguments};
pub use guide::{GuideArguments, GuideForm};
pub use history::HistoryArguments;
pub use instant::Past;
pub use ledger::{
    BackupArguments, CompactArguments, ExportArguments, ImportHistoryArguments, RestoreArguments,
};
pub use operating::{
    JournalArguments, OutboxArguments, OutboxCommand, OutboxListArguments, ScheduleArguments,
    StateWord,
};
pub use page::OpenArguments;
pub use questions::{
    Changes, EntryPricesArguments, LadderArguments, WhatIfArguments, WhyArguments,
};
pub use rates::{
    MeasureAddArguments, MeasureCommand, MeasureImportArguments, MeasureListArguments,
    RatesArguments,
};
pub use service::InstallServiceArguments;

/// Watches the retailer feeds you configure, keeps every price, and works out the best PC build
/// for your money, exactly and with a proof.
#[derive(Debug, Parser)]
#[command(name = "rigtide", version, max_term_width = 96, after_help = EXIT_CODES)]
pub struct Arguments {
    /// The configuration directory.
    #[arg(
        long,
        short = 'C',
        global = true,
        value_name = "DIR",
        default_value = "."
    )]
    pub config: PathBuf,

    /// How to write log lines on standard error.
    #[arg(long, global = true, value_name = "FORM", default_value = "text")]
    pub log: LogForm,

    #[command(subcommand)]
    pub command: Command,
}

const EXIT_CODES: &str = "\
Exit codes:
  0  done
  1  failed for a reason that is none of the below
  2  the command line could not be understood
  3  the configuration has faults; `rigtide check` lists them
  4  nothing fits the brief, or the parts do not go together
  5  at least one feed could not be polled
  6  the ledger cannot be used, or another process watches it";

#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub enum LogForm {
    Text,
    Json,
}

#[derive(Debug, Subcommand)]
pub enum Command {
    /// Write a commented starter configuration into a new directory.
    Init { dir: PathBuf },
    /// Check the whole configuration and report every fault at once.
    Check(Output),
    /// Poll all feeds once, or one, and store what they offer.
    Poll {
        /// A feed as RETAILER/FEED, or a retailer's name for all of its feeds.
        feed: Option<String>,
        #[command(flatten)]
        output: Output,
    },
    /// Look at a feed before it is polled: try its settings, or get a first mapping.
    #[command(subcommand)]
    Feed(FeedCommand),
    /// List the prices that are held because they cannot be right; confirm or drop one.
    Held(HeldArguments),
    /// List the offers that wait for your word on which part they are; give it on one.
    Match(MatchArguments),
    /// Bring parts into the catalogue, and see what it lacks.
    #[command(subcommand)]
    Catalogue(CatalogueCommand),
    /// Write down what was measured of parts and builds, and see it.
    #[command(subcommand)]
    Measure(MeasureCommand),
    /// Show what the parts can do in each workload, how sure that is, and what it costs.
    Rates(RatesArguments),
    /// Tell whether some parts go together, rule by rule, with the reasons.
    Fit(FitArguments),
    /// Work out the best build for a brief, or for a budget and some uses.
    Best(BestArguments),
    /// Show the best build for every budget, and what each step up brings.
    Ladder(LadderArguments),
    /// Tell why a part is in the best build or not, and at what price it would be.
    Why(WhyArguments),
    /// List the highest price at which each part would be in an optimal build.
    EntryPrices(EntryPricesArguments),
    /// Answer a brief with pins, bans, another budget or other prices. Nothing is written.
    WhatIf(WhatIfArguments),
    /// Write the JSON Schema of catalogue files, for your editor.
    ///
    /// Put it beside the catalogue as `schema.json`, and begin its TOML files with the line
    /// `#:schema ./schema.json`.
    Schema {
        /// Write the reference of every spec and fit rule instead, as Markdown.
        #[arg(long)]
        reference: bool,
    },
    /// Write the guide to the best build: Markdown, HTML, text, CSV or JSON.
    Guide(GuideArguments),
    /// Freeze today's guide as the first edition: its picks, prices, evidence and text.
    ///
    /// The edition is kept in the ledger under a SHA-256 hash and never changes again.
    Publish(PublishArguments),
    /// Write the next edition, with a note of what changed since the one before.
    ///
    /// Where nothing has changed, no edition is written, and that is said.
    Refresh(PublishArguments),
    /// List the editions that were published; show one again, byte for byte.
    Editions(EditionsArguments),
    /// Tell what is no longer as an edition says: prices, stock, better picks, total, score.
    Diff(DiffArguments),
    /// Show what was seen of a part's price: facts, lows, gaps, and reductions that do not hold.
    History(HistoryArguments),
    /// Write the whole record into a file that other programs read.
    Export(ExportArguments),
    /// Take in records of the past: an export, or prices that you noted yourself.
    ImportHistory(ImportHistoryArguments),
    /// Copy the ledger into a new file, while the daemon goes on, and verify the copy.
    Backup(BackupArguments),
    /// Put a backup in the place of the ledger, which is kept beside it.
    Restore(RestoreArguments),
    /// Check that the ledger holds together. Nothing is changed.
    Verify(Output),
    /// Give unused room back to the disk and, if you say so, thin what is long past.
    Compact(CompactArguments),
    /// Poll on schedule, and send a bulletin when the best build changes.
    Watch,
    /// Say where the daemon's page is, and open it in a browser.
    Open(OpenArguments),
    /// Make the line for `[web]` that lets in who knows the password.
    ///
    /// The password is asked for, or read from the first line of a pipe. Only its hash is written.
    Password,
    /// Write a systemd unit that runs the daemon on this configuration.
    InstallService(InstallServiceArguments),
    /// Show what is polled and sent next, and why something is put off.
    Schedule(ScheduleArguments),
    /// Show how everything stands: feeds, briefs, bulletins on their way, the ledger.
    Status(Output),
    /// Show what happened, oldest first.
    Journal(JournalArguments),
    /// List bulletins on their way; try one again, or drop it.
    Outbox(OutboxArguments),
    /// Show what a bulletin would say, or try a channel out.
    Bulletin(BulletinArguments),
    /// List the texts that a file in `templates/` may replace, or write one of them.
    Templates(TemplatesArguments),
    /// Show the whole program at work on three invented retailers.
    Demo(DemoArguments),
}

#[derive(Debug, Clone, Copy, Args)]
pub struct Output {
    /// Write JSON to standard output.
    #[arg(long)]
    pub json: bool,
}

#[derive(Debug, Subcommand)]
pub enum FeedCommand {
    /// Fetch a feed once, store nothing, and show how its records are read.
    ///
    /// Every record is shown as it stands and as it is read, with the part that it is taken for,
    /// or the reason why it is held or refused.
    Try(TryArguments),
    /// Look at a source and write a first mapping for you to correct.
    ///
    /// The mapping goes to standard output as a [[feed]] table of a retailer's file.
    Guess {
        /// An address, or a file that was saved. An address may hold {env:NAME} for a secret.
        #[arg(value_name = "URL_OR_FILE")]
        source: String,
    },
}

#[derive(Debug, Subcommand)]
pub enum CatalogueCommand {
    /// Take parts out of any CSV or JSON file, as a mapping file says.
    ///
    /// The parts go to standard output as a catalogue file, or into a file of your choice. Every
    /// row that is not taken is counted with its reason. Parts that the catalogue has already, by
    /// id, GTIN or MPN, are not taken again. `config/mappings` in the program's source has
    /// mappings that explain themselves.
    Import(ImportArguments),
    /// Tell what the catalogue lacks, rule by rule, and what in it can hardly be right.
    ///
    /// Names the specs without which a fit rule cannot be proven, parts that may be one, values
    /// that contradict each other, specs that were guessed, and parts that no offer is taken for.
    Check(CatalogueCheckArguments),
    /// Draft entries for what a feed offers and the catalogue lacks.
    ///
    /// Reads the titles of offers that are no part yet. Every spec that comes out of a text is
    /// listed in the part's `guessed`; a part with guesses is in no build until you have checked
    /// them and taken them out of that list.
    Propose(ProposeArguments),
}

#[derive(Debug, Args)]
pub struct ProposeArguments {
    /// A feed as RETAILER/FEED.
    pub feed: String,

    /// Draft from a saved file, or every file of a directory, instead of what was polled.
    #[arg(long, value_name = "FILE")]
    pub from: Option<PathBuf>,

    /// Write the drafts into this file. One that was written by hand is not overwritten.
    #[arg(long, value_name = "FILE")]
    pub out: Option<PathBuf>,

    #[command(flatten)]
    pub output: Output,
}

#[derive(Debug, Args)]
pub struct CatalogueCheckArguments {
    /// Name parts that no offer has been taken for in so many days.
    #[arg(long, value_name = "N", default_value_t = 30)]
    pub days: u32,

    #[command(flatten)]
    pub output: Output,
}

#[derive(Debug, Args)]
pub struct ImportArguments {
    /// The data: a CSV or JSON file.
    pub source: PathBuf,

    /// The mapping file.
    #[arg(long, value_name = "MAP.toml")]
    pub map: PathBuf,

    /// Write the parts into this file. One that was written by hand is not overwritten.
    #[arg(long, value_name = "FILE")]
    pub out: Option<PathBuf>,

    /// Write nothing; tell what would be taken.
    #[arg(long)]
    pub dry_run: bool,

    /// List every row that is not taken, not only their counts.
    #[arg(long)]
    pub explain: bool,

    #[command(flatten)]
    pub output: Output,
}

#[derive(Debug, Args)]
pub struct TryArguments {
    /// A feed as RETAILER/FEED.
    pub feed: String,

    /// Read a saved file, or every file of a directory, instead of asking the shop.
    #[arg(long, value_name = "FILE")]
    pub from: Option<PathBuf>,

    /// Read what the newest poll brought instead of asking the shop again.
    #[arg(long, conflicts_with = "from")]
    pub last: bool,

    /// Show so many records; all of them are counted.
    #[arg(long, value_name = "N", default_value_t = 10)]
    pub limit: usize,

    #[command(flatten)]
    pub output: Output,
}

#[derive(Debug, Args)]
pub struct HeldArguments {
    /// Believe a held price: from now on it counts.
    #[arg(long, value_name = "ID", conflicts_with = "drop")]
    pub confirm: Option<i64>,

    /// Rule a held price out: polls that repeat it will not make it count.
    #[arg(long, value_name = "ID")]
    pub drop: Option<i64>,

    #[command(flatten)]
    pub output: Output,
}

#[derive(Debug, Args)]
pub struct MatchArguments {
    /// An offer as RETAILER/SKU.
    #[arg(value_name = "RETAILER/SKU")]
    pub offer: Option<String>,

    /// It is this part: by its id, or its number among the proposals.
    #[arg(long, value_name = "PART", group = "word", requires = "offer")]
    pub accept: Option<String>,

    /// It is not this part, or none of those proposed.
    #[arg(long, value_name = "PART", group = "word", requires = "offer")]
    pub refuse: Option<Option<String>>,

    /// It is a part that the catalogue lacks: ask again only when the listing changes.
    #[arg(long, group = "word", requires = "offer")]
    pub new: bool,

    /// Take back what was decided about it.
    #[arg(long, group = "word", requires = "offer")]
    pub forget: bool,

    #[command(flatten)]
    pub output: Output,
}

#[derive(Debug, Args)]
pub struct FitArguments {
    /// Parts by their id in the catalogue; name one twice for two of it.
    #[arg(required = true, value_name = "PART")]
    pub parts: Vec<String>,

    /// Judge under the terms of this brief: its headroom, and whether it is strict.
    #[arg(long, value_name = "BRIEF")]
    pub brief: Option<String>,

    #[command(flatten)]
    pub output: Output,
}

#[derive(Debug, Args)]
pub struct BestArguments {
    /// A brief's name; the only one when there is but one.
    #[arg(conflicts_with_all = ["budget", "currency", "country", "uses"])]
    pub brief: Option<String>,

    /// What the build may cost, such as 1500 or 1499.90.
    #[arg(long, requires_all = ["currency", "uses"])]
    pub budget: Option<String>,

    /// The budget's currency, an ISO 4217 code such as EUR.
    #[arg(long, requires = "budget")]
    pub currency: Option<String>,

    /// Where it is delivered, an ISO 3166-1 code; by default where the retailers are.
    #[arg(long, requires = "budget")]
    pub country: Option<String>,

    /// A workload of the catalogue; several count alike.
    #[arg(long = "use", value_name = "NAME", requires = "budget")]
    pub uses: Vec<String>,

    /// Show so many next best builds, each with other parts where it matters, and the best build
    /// on each other socket.
    #[arg(long, value_name = "K", value_parser = clap::value_parser!(u32).range(1..=100))]
    pub alternatives: Option<u32>,

    /// Answer so many times more with rates drawn from their uncertainty, and tell which picks stay.
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u32).range(1..=100_000))]
    pub robust: Option<u32>,

    /// Where the draws begin; the same seed gives the same draws.
    #[arg(long, value_name = "SEED", default_value_t = 1, requires = "robust")]
    pub seed: u64,

    /// Stop each solve after this many seconds and say so.
    #[arg(long, value_name = "SECONDS", default_value_t = 60)]
    pub time_limit: u32,

    /// As the prices, the stock and the matches stood then: a date, for its end in UTC, or an
    /// instant such as 2026-03-31T18:30:00Z.
    #[arg(long, value_name = "INSTANT", value_parser = Past::parse)]
    pub at: Option<Past>,

    #[command(flatten)]
    pub output: Output,
}

#[derive(Debug, Args)]
pub struct DemoArguments {
    /// Where to put the demo's configuration and ledger; a new directory by default.
    #[arg(long, value_name = "DIR")]
    pub dir: Option<PathBuf>,

    /// Leave the retailers and the daemon running until interrupted.
    #[arg(long)]
    pub keep_running: bool,
}
