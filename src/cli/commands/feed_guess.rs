//! `rigtide feed guess URL_OR_FILE`: a first mapping of a source, for a person to correct.
//!
//! Writes a `[[feed]]` table of a retailer's file to standard output, with what it rests on as
//! comments. An address is asked once, as politely as a poll would; a file needs no network and
//! no configuration.

use crate::catalogue::Fault;
use crate::catalogue::table::Document;
use crate::cli::report::Failure;
use crate::cli::screen::{Screen, harmless, harmless_source};
use crate::cli::wire;
use crate::feeds::decode::{Context, Guess, guess};
use crate::feeds::http::{Body, Expects, Freshness, Outcome, Request, SpoolFault};
use crate::feeds::source::{Access, Limits, MachineKeeper, SourceSettings};
use crate::watch::clock::Clock;
use anyhow::{Context as _, anyhow};
use std::path::{Path, PathBuf};

/// What is looked at, and what the feed's settings will say of where it is.
struct Found {
    body: Body,
    content_type: Option<String>,
    address: Option<String>,
    /// `url = "..."` or `file = "..."`.
    place: String,
    notes: Vec<String>,
}

pub fn run(directory: &Path, source: &str, screen: &Screen) -> Result<(), Failure> {
    let lower = source.to_ascii_lowercase();
    let mut found = match lower.starts_with("http://") || lower.starts_with("https://") {
        true => fetch(directory, source, screen)?,
        false => open(directory, Path::new(source))?,
    };
    let context = Context {
        content_type: found.content_type.as_deref(),
        address: found.address.as_deref(),
        body_limit: Limits::default().body_bytes,
        ..Context::default()
    };
    let cannot = || format!("cannot propose a mapping for {}", harmless(source));
    let mut body = found.body.open().with_context(cannot)?;
    let guess = guess(&mut body, &context).with_context(cannot)?;
    drop(body);
    screen.line(harmless_source(&written(&found, &guess)));
    Ok(())
}

/// The table as it goes into a retailer's file.
fn written(found: &Found, guess: &Guess) -> String {
    let mut lines = vec![
        "# A first mapping, for you to correct. Put it into the retailer's file in retailers/"
            .into(),
        "# (a new one begins with `name`, `country` and `currency`), and see what comes of it with"
            .into(),
        "# `rigtide feed try RETAILER/guess`. What it rests on:".to_owned(),
    ];
    let reasons = guess.reasons.iter().chain(&found.notes);
    lines.extend(reasons.map(|reason| format!("#   {}", harmless(reason))));
    lines.push("[[feed]]".to_owned());
    lines.push("id = \"guess\"".to_owned());
    lines.push(match (guess.is_index, found.place.strip_prefix("url = ")) {
        (true, Some(address)) => format!("index = {address}"),
        (true, None) => "index = \"https://shop.example/\"   # where the file came from".to_owned(),
        (false, _) => found.place.clone(),
    });
    lines.push("# When to poll: minute, hour, day of month, month, day of week.".to_owned());
    lines.push("schedule = \"17 */6 * * *\"".to_owned());
    lines.push(guess.toml.trim_end().to_owned());
    lines.join("\n")
}

/// Takes a file in place. Its path is written as the configuration would name it.
fn open(directory: &Path, path: &Path) -> Result<Found, Failure> {
    let cannot = || format!("cannot read {}", path.display());
    let body = Body::of_file(path, Limits::default().body_bytes).map_err(|fault| match fault {
        SpoolFault::Disk(error) => anyhow!(error).context(cannot()),
        SpoolFault::TooLarge => anyhow!("it is too large for a feed").context(cannot()),
    })?;
    let whole = path.canonicalize().with_context(cannot)?;
    let within = |directory: PathBuf| whole.strip_prefix(directory).map(Path::to_owned).ok();
    let shown = directory.canonicalize().ok().and_then(within);
    let shown = shown.unwrap_or_else(|| whole.clone());
    Ok(Found {
        body,
        content_type: None,
        address: None,
        place: format!("file = {}", quoted(&shown.to_string_lossy())),
        notes: Vec::new(),
    })
}

fn fetch(directory: &Path, address: &str, screen: &Screen) -> Result<Found, Failure> {
    let settings = wire::settings(directory)?;
    let place = format!("url = {}", quoted(address));
    let source = read_source(&place)?;
    let keeper = MachineKeeper {
        directory: settings.directory.clone(),
    };
    let access = Access::open(&source, &keeper).context("cannot ask for the source")?;
    let targets = source.location.targets(std::iter::empty(), &keeper);
    let targets = targets.context("cannot ask for the source")?;
    let target = targets.first().context("the source has no address")?;
    let request = Request {
        url: &target.url,
        access: &access,
        known: None,
        // What it is will be seen; only a wall in front of it is refused.
        expects: Expects::WebPage,
        freshness: Freshness::Ignored,
        now: Clock::from_environment().now(),
    };
    let fetcher = wire::fetcher(&settings)?;
    screen.progress(&format!("asking {}", access.mask.url(&target.url)));
    let outcome = wire::runtime()?.block_on(fetcher.fetch(&request));
    screen.clear_progress();
    let document = match outcome {
        Outcome::Fresh(document) => *document,
        Outcome::Unchanged { .. } => {
            return Err(anyhow!("the server answered \"unchanged\" unasked").into());
        }
        Outcome::Failed(fault) => {
            screen.complain(format!("error: {}", harmless(&fault.to_string())));
            return Err(Failure::FeedsFailed);
        }
    };
    let moved = document.moved_to.iter();
    let notes = moved.map(|to| format!("the document has moved to {to}; change the address"));
    Ok(Found {
        notes: notes.collect(),
        body: document.body,
        content_type: document.content_type,
        address: Some(document.final_url.to_string()),
        place,
    })
}

/// Reads the address as a feed's settings would.
fn read_source(place: &str) -> Result<SourceSettings, Failure> {
    let document = Document::parse("the address", place);
    let mut table = document.root();
    let source = SourceSettings::read(&mut table);
    table.finish();
    let faults: Vec<Fault> = document.into_faults();
    match (source, faults.first()) {
        (Some(source), None) => Ok(source),
        (_, fault) => {
            let (message, remedy) = fault.map_or_else(Default::default, |fault| {
                (fault.message.clone(), fault.remedy.clone())
            });
            Err(Failure::usage(harmless(&message), remedy))
        }
    }
}

/// A TOML basic string; those of JSON are a subset, once control characters are escaped.
fn quoted(text: &str) -> String {
    harmless_source(&serde_json::Value::from(text).to_string())
}
