//! The configuration directory, read as a whole and checked against itself.
//!
//! Everything wrong in any file is reported at once. Settings with faults are never used: whoever
//! reloads keeps the last good ones.

mod briefs;
pub mod files;
mod lanes;

pub use self::briefs::read_brief_alone;
use self::briefs::read_briefs;
use self::files::{Digest, File, Files, read_folder};
use self::lanes::{ForLong, TwoLanes};
use super::attention::Attention;
use super::schedule::{Schedule, ScheduleFault};
use crate::catalogue::table::{At, Document, Table};
use crate::catalogue::{Catalogue, Fault, SideBySide, load_catalogue, load_catalogue_by};
use crate::decide::{self, Hours, Telling};
use crate::feeds::http::Identity;
use crate::feeds::mapping::FormatSettings;
use crate::feeds::source::SourceSettings;
use crate::fit::{FitRule, OwnRule, RuleBook};
use crate::guide::render as guide;
use crate::market::{
    Brief, BriefId, FeedId, Matcher, NormaliseSettings, Retailer, RetailerId, read_currency,
    read_day,
};
use crate::money::Rate;
use crate::notify::{Channels, MachineSecrets, read_channel};
use crate::rates::derive::{RateTable, derive};
use crate::rates::result::{BenchResult, load_results};
use crate::template::{BuiltIn, Templates};
use crate::web::WebSettings;
use chrono_tz::Tz;
use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::sync::Mutex;

/// Everything that the author configured.
pub struct Settings {
    pub directory: PathBuf,
    /// Of the files that they were read from.
    pub digest: Digest,
    pub identity: Identity,
    pub ledger: PathBuf,
    pub channels: Channels,
    /// Where the page is, and who may see it.
    pub web: WebSettings,
    /// What every brief is judged by.
    pub rules: RuleBook,
    /// With the rates that were worked out of the results.
    pub catalogue: Catalogue,
    /// What was measured of parts and builds.
    pub results: Vec<BenchResult>,
    pub rates: RateTable,
    pub retailers: BTreeMap<RetailerId, Retailer>,
    pub feeds: Vec<Feed>,
    pub briefs: Vec<Brief>,
    /// What each brief asks to be told.
    pub telling: BTreeMap<BriefId, Telling>,
    /// The countries besides its own that a brief's guide is for.
    pub abroad: BTreeMap<BriefId, Vec<String>>,
    /// When channels may be spoken to, of those that say.
    pub hours: BTreeMap<String, Hours>,
    /// The texts that bulletins are made of, with those that the author put in their place.
    pub templates: Templates,
    /// What is known of the briefs since these settings were read.
    pub attention: Mutex<Attention>,
}

/// One source of a retailer's offers.
#[derive(Debug, Clone)]
pub struct Feed {
    pub id: FeedId,
    pub retailer: RetailerId,
    pub source: SourceSettings,
    pub format: FormatSettings,
    pub normalise: NormaliseSettings,
    /// `None`: polled only when asked.
    pub schedule: Option<Schedule>,
    /// Of the schedule and of the retailer's calendar days.
    pub zone: Tz,
}

/// Every text that a file in `templates/` may replace, by whose it is.
pub const TEMPLATES: &[&[BuiltIn]] = &[decide::TEMPLATES, guide::TEMPLATES];

/// The folder with the results of tests.
pub const MEASUREMENTS: &str = files::MEASUREMENTS.name;

fn texts_of(files: &[File]) -> Vec<(&str, &str)> {
    let pairs = files.iter();
    pairs
        .map(|file| (file.name.as_str(), file.text.as_str()))
        .collect()
}

/// Reads a configuration directory.
///
/// # Errors
/// Every fault of every file.
pub fn load_settings(directory: &Path) -> Result<Settings, Vec<Fault>> {
    settings_of(directory, Files::read(directory))
}

/// Makes settings of the files that a directory held.
///
/// # Errors
/// Every fault of every file.
pub fn settings_of(directory: &Path, files: Files) -> Result<Settings, Vec<Fault>> {
    settings_by(directory, files, &TwoLanes)
}

/// The same for a daemon, which keeps them: they take a little longer to make and less room.
///
/// # Errors
/// Every fault of every file.
pub fn settings_for_long(directory: &Path, files: Files) -> Result<Settings, Vec<Fault>> {
    settings_by(directory, files, &ForLong)
}

/// The matcher of such settings. Making one leaves holes, too, so that a copy is kept.
pub fn matcher_for_long(settings: &Settings) -> Matcher {
    let made = Matcher::new(&settings.catalogue);
    ForLong.apart(|| made.clone())
}

fn settings_by(
    directory: &Path,
    files: Files,
    threads: &impl SideBySide,
) -> Result<Settings, Vec<Fault>> {
    let digest = files.digest();
    let Files {
        program,
        catalogue: catalogue_files,
        measurements: result_files,
        retailers: retailer_files,
        briefs: brief_files,
        templates: template_files,
        mut faults,
    } = files;
    let (mut catalogue, catalogue_faults) = load_catalogue_by(&texts_of(&catalogue_files), threads);
    faults.extend(catalogue_faults);
    let (results, result_faults) = load_results(&texts_of(&result_files), &catalogue);
    faults.extend(result_faults);
    let rates = derive(&catalogue, &results);
    rates.apply(&mut catalogue);
    let program = program.and_then(|file| {
        let document = Document::parse(&file.name, &file.text);
        let read = Program::read(document.root(), directory);
        faults.extend(document.into_faults());
        read
    });
    let mut retailers = BTreeMap::new();
    let mut feeds = Vec::new();
    for file in &retailer_files {
        let document = Document::parse(&file.name, &file.text);
        if let Some((retailer, its_feeds)) = read_retailer(&file.stem, document.root(), &catalogue)
        {
            let rates = program.iter().flat_map(|program| &program.exchange);
            let own = rates.filter(|rate| rate.from() == retailer.currency);
            let exchange = own.cloned().collect();
            retailers.insert(
                retailer.id.clone(),
                Retailer {
                    exchange,
                    ..retailer
                },
            );
            feeds.extend(its_feeds);
        }
        faults.extend(document.into_faults());
    }
    let templates = read_templates(&template_files, &mut faults);
    let (briefs, telling, abroad) =
        read_briefs(&brief_files, &catalogue, program.as_ref(), &mut faults);
    match program {
        Some(program) if faults.is_empty() => Ok(Settings {
            directory: directory.to_owned(),
            digest,
            identity: program.identity,
            ledger: program.ledger,
            channels: program.channels,
            web: program.web,
            rules: program.rules,
            catalogue,
            results,
            rates,
            retailers,
            feeds,
            briefs,
            telling,
            abroad,
            hours: program.hours,
            templates,
            attention: Mutex::default(),
        }),
        _ => Err(faults),
    }
}

fn read_templates(files: &[File], faults: &mut Vec<Fault>) -> Templates {
    let (templates, more) = Templates::with_files(TEMPLATES, &texts_of(files));
    faults.extend(more);
    faults.extend(decide::faults_of(&templates));
    faults.extend(guide::faults_of(&templates));
    templates
}

/// Reads the catalogue alone, without the file `except`: what can be read, and every fault.
pub fn load_catalogue_of(directory: &Path, except: Option<&Path>) -> (Catalogue, Vec<Fault>) {
    let mut faults = Vec::new();
    let mut files = read_folder(directory, &files::CATALOGUE, &mut faults);
    let whole = |path: &Path| path.canonicalize().ok();
    if let Some(except) = except.and_then(whole) {
        files.retain(|file| whole(&directory.join(&file.name)).as_ref() != Some(&except));
    }
    let (catalogue, more) = load_catalogue(&texts_of(&files));
    faults.extend(more);
    (catalogue, faults)
}

/// What `rigtide.toml` says.
struct Program {
    identity: Identity,
    ledger: PathBuf,
    channels: Channels,
    hours: BTreeMap<String, Hours>,
    web: WebSettings,
    rules: RuleBook,
    exchange: Vec<Rate>,
}

impl Program {
    fn read(mut table: Table<'_, '_>, directory: &Path) -> Option<Program> {
        let document = table.document();
        let contact = table.required_text("contact");
        let identity = contact.and_then(|contact| match Identity::new(&contact.value) {
            Ok(identity) => Some(identity),
            Err(fault) => {
                let remedy =
                    "write an address where retailers reach you, such as mailto:you@example.org";
                document.fault(&contact.span, fault.to_string(), remedy);
                None
            }
        });
        let ledger = read_ledger(&mut table, directory);
        let secrets = MachineSecrets {
            directory: directory.to_owned(),
        };
        let (mut channels, mut hours) = (Channels::new(), BTreeMap::new());
        for mut channel in table.tables("channel") {
            let id = channel.required_text("id");
            let its_hours = Hours::read(&mut channel);
            let read = read_channel(channel, &secrets);
            let (Some(id), Some(read)) = (id, read) else {
                continue;
            };
            hours.extend(its_hours.map(|its_hours| (id.value.clone(), its_hours)));
            if channels.insert(id.value.clone(), read).is_some() {
                let message = format!("the channel \"{}\" is defined twice", id.value);
                document.fault(&id.span, message, "give each channel an id of its own");
            }
        }
        let web = WebSettings::read(&mut table);
        let rules = read_rules(&mut table);
        let exchange = table.tables("exchange").into_iter().filter_map(read_rate);
        let exchange = exchange.collect();
        table.finish();
        Some(Program {
            identity: identity?,
            ledger,
            channels,
            hours,
            web,
            rules,
            exchange,
        })
    }
}

/// Where the ledger is.
fn read_ledger(table: &mut Table<'_, '_>, directory: &Path) -> PathBuf {
    let ledger = table.text("ledger").map(|at| at.value);
    directory.join(ledger.as_deref().unwrap_or("ledger.sqlite"))
}

/// Where the ledger is, before all else is read: it can be read meanwhile.
pub fn ledger_of(directory: &Path, files: &Files) -> Option<PathBuf> {
    let file = files.program.as_ref()?;
    let document = Document::parse(&file.name, &file.text);
    Some(read_ledger(&mut document.root(), directory))
}

/// One `[[exchange]]`: what a unit of `from` buys of `to`, and the day on which that was so.
fn read_rate(mut table: Table<'_, '_>) -> Option<Rate> {
    let document = table.document();
    let from = read_currency(&mut table, "from");
    let to = read_currency(&mut table, "to");
    table.require("rate");
    let rate = table.decimal("rate");
    table.require("day");
    let day = read_day(&mut table, "day");
    table.finish();
    let (from, to, rate, day) = (from?, to?, rate?, day?);
    let read = Rate::parse(from, to, &rate.value, day);
    if let Err(fault) = &read {
        let remedy = "write what one unit of `from` buys, such as \"1.0834\"";
        document.fault(&rate.span, fault.to_string(), remedy);
    }
    read.ok()
}

/// The author's own rules, each under an id that no other rule has.
fn read_rules(table: &mut Table<'_, '_>) -> RuleBook {
    let mut rules = RuleBook::default();
    for rule in table.tables("rule") {
        let (document, span) = (rule.document(), rule.span());
        let Some(rule) = OwnRule::read(rule) else {
            continue;
        };
        if rules.iter().any(|known| known.id() == rule.id()) {
            let message = format!("there is a rule \"{}\" already", rule.id());
            document.fault(&span, message, "give it another `id`");
            continue;
        }
        rules.own.push(rule);
    }
    rules
}

fn read_retailer(
    stem: &str,
    mut table: Table<'_, '_>,
    catalogue: &Catalogue,
) -> Option<(Retailer, Vec<Feed>)> {
    let retailer = Retailer::read(stem, &mut table, catalogue);
    let document = table.document();
    let mut feeds: Vec<Feed> = Vec::new();
    for feed in table.tables("feed") {
        let span = feed.span();
        let Some(feed) = read_feed(feed, retailer.as_ref()) else {
            continue;
        };
        if feeds.iter().any(|known| known.id == feed.id) {
            let message = format!("the feed \"{}\" is defined twice", feed.id);
            document.fault(
                &span,
                message,
                "give each feed of the retailer an id of its own",
            );
        }
        feeds.push(feed);
    }
    table.finish();
    Some((retailer?, feeds))
}

fn read_feed(mut table: Table<'_, '_>, retailer: Option<&Retailer>) -> Option<Feed> {
    let id = table.required_text("id");
    let zone = read_zone(&mut table);
    let source = SourceSettings::read(&mut table);
    let format = FormatSettings::read(&mut table);
    // Without its retailer the feed's values cannot be read, and the retailer's faults are named.
    let normalise = NormaliseSettings::read(&mut table, retailer?);
    let schedule = source.as_ref().and_then(|source| source.schedule.clone());
    let schedule = schedule.map(|text| read_schedule(&table, &text, zone));
    table.finish();
    let retailer = retailer?;
    Some(Feed {
        id: FeedId::new(format!("{}/{}", retailer.id, id?.value)),
        retailer: retailer.id.clone(),
        source: source?,
        format: format?,
        normalise: normalise?,
        schedule: match schedule {
            Some(schedule) => Some(schedule?),
            None => None,
        },
        zone,
    })
}

fn read_zone(table: &mut Table<'_, '_>) -> Tz {
    let Some(name) = table.text("timezone") else {
        return Tz::UTC;
    };
    name.value.parse().unwrap_or_else(|_| {
        let message = format!("unknown time zone \"{}\"", name.value);
        table.document().fault(
            &name.span,
            message,
            "write a name such as \"Europe/Berlin\"",
        );
        Tz::UTC
    })
}

fn read_schedule(table: &Table<'_, '_>, text: &At<String>, zone: Tz) -> Option<Schedule> {
    match Schedule::parse(&text.value, zone) {
        Ok(schedule) => Some(schedule),
        Err(fault) => {
            let message = format!("the schedule \"{}\": {fault}", text.value);
            let remedy = match fault {
                ScheduleFault::Never => "choose days that exist",
                _ => "write minute hour day month weekday, such as \"*/15 * * * *\"",
            };
            table.document().fault(&text.span, message, remedy);
            None
        }
    }
}
