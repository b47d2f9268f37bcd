//! `rigtide catalogue check`: what the catalogue lacks, and what in it can hardly be right.
//!
//! `--json` gives
//!
//! ```text
//! { parts,
//!   faults     [{ file, line, column, message, remedy }],
//!   gaps       [{ rule, states, kind, spec, parts [] }],    the rule cannot be proven for them
//!   doubts     [{ parts [], message }],                     duplicates, impossible values
//!   drafts     [{ part, guessed [] }],                      specs that wait to be confirmed
//!   unoffered  [{ part, seen }] or null }                   null where they were not looked at
//! ```
//!
//! Only faults give an exit code other than 0: the rest is advice.

use crate::catalogue::{Catalogue, Doubt, Fault, Kind, Part, PartId, doubts};
use crate::cli::args::CatalogueCheckArguments;
use crate::cli::report::Failure;
use crate::cli::screen::{Screen, harmless, harmless_source};
use crate::cli::wire;
use crate::decide::shown_instant;
use crate::fit::{Gap, gaps};
use crate::watch::clock::Clock;
use crate::watch::settings::{Settings, load_catalogue_of, load_settings};
use chrono::{DateTime, TimeDelta, Utc};
use serde_json::{Value, json};
use std::path::Path;

/// A part that no offer has been taken for lately.
struct Unoffered<'c> {
    part: &'c Part,
    /// When one was last seen, if ever.
    seen: Option<DateTime<Utc>>,
}

struct Checked<'c> {
    catalogue: &'c Catalogue,
    faults: Vec<Fault>,
    gaps: Vec<Gap<'c>>,
    doubts: Vec<Doubt>,
    unoffered: Option<Vec<Unoffered<'c>>>,
    days: u32,
}

pub fn run(
    directory: &Path,
    arguments: &CatalogueCheckArguments,
    screen: &Screen,
) -> Result<(), Failure> {
    let (catalogue, faults, settings) = match load_settings(directory) {
        Ok(settings) => (settings.catalogue.clone(), Vec::new(), Some(settings)),
        // What can be read of the catalogue is checked all the same.
        Err(faults) => (load_catalogue_of(directory, None).0, faults, None),
    };
    let rules = settings.as_ref().map(|settings| settings.rules.clone());
    let rules = rules.unwrap_or_default();
    screen.progress("checking the catalogue against the fit rules");
    let checked = Checked {
        gaps: gaps(&rules, &catalogue),
        doubts: doubts(&catalogue),
        unoffered: match &settings {
            Some(settings) => unoffered(&catalogue, settings, arguments.days)?,
            None => None,
        },
        days: arguments.days,
        catalogue: &catalogue,
        faults,
    };
    screen.clear_progress();
    if arguments.output.json {
        screen.line(harmless_source(&checked.report().to_string()));
    } else {
        checked
            .lines()
            .iter()
            .for_each(|line| screen.line(harmless(line)));
    }
    match checked.faults {
        faults if faults.is_empty() => Ok(()),
        _ if arguments.output.json => Err(Failure::Configuration(Vec::new())),
        faults => Err(Failure::Configuration(faults)),
    }
}

/// `None` where there is no ledger yet, so that nothing is known of offers.
fn unoffered<'c>(
    catalogue: &'c Catalogue,
    settings: &Settings,
    days: u32,
) -> Result<Option<Vec<Unoffered<'c>>>, Failure> {
    let Some(reader) = wire::existing_reader(settings)? else {
        return Ok(None);
    };
    let since = Clock::from_environment().now() - TimeDelta::days(days.into());
    let mut unoffered = Vec::new();
    for part in catalogue.parts.values() {
        let series = reader.series(part.id.as_str());
        let series = series.map_err(|error| Failure::Ledger(error.into()))?;
        let seen = series.iter().map(|interval| interval.until).max();
        if seen.is_none_or(|seen| seen < since) {
            unoffered.push(Unoffered { part, seen });
        }
    }
    Ok(Some(unoffered))
}

impl Checked<'_> {
    fn drafts(&self) -> impl Iterator<Item = &Part> {
        let parts = self.catalogue.parts.values();
        parts.filter(|part| !part.guessed.is_empty())
    }

    fn report(&self) -> Value {
        let gap = |gap: &Gap<'_>| {
            json!({
                "rule": gap.rule.id(),
                "states": gap.rule.states(),
                "kind": gap.kind.name(),
                "spec": gap.spec.key(),
                "parts": gap.parts,
            })
        };
        let draft = |part: &Part| {
            let guessed: Vec<&str> = part.guessed.iter().map(|spec| spec.key()).collect();
            json!({ "part": part.id, "guessed": guessed })
        };
        let doubts = self.doubts.iter();
        let doubts = doubts.map(|doubt| json!({ "parts": doubt.parts, "message": doubt.message }));
        let unoffered = self.unoffered.as_ref().map(|parts| {
            let entry = |one: &Unoffered<'_>| {
                json!({ "part": one.part.id, "seen": one.seen.map(shown_instant) })
            };
            parts.iter().map(entry).collect::<Vec<_>>()
        });
        json!({
            "parts": self.catalogue.parts.len(),
            "faults": self.faults,
            "gaps": self.gaps.iter().map(gap).collect::<Vec<_>>(),
            "doubts": doubts.collect::<Vec<_>>(),
            "drafts": self.drafts().map(draft).collect::<Vec<_>>(),
            "unoffered": unoffered,
        })
    }

    fn lines(&self) -> Vec<String> {
        let n_parts = self.catalogue.parts.len();
        let mut lines = vec![format!("{n_parts} parts in the catalogue")];
        lines.extend(self.gaps.iter().map(|gap| {
            let what = counted(gap.parts.len(), gap.kind);
            let has = if gap.parts.len() == 1 { "has" } else { "have" };
            format!(
                "{what} {has} no `{}`: rule {} cannot be proven for {}",
                gap.spec,
                gap.rule.id(),
                listed(gap.parts.iter())
            )
        }));
        if self.gaps.is_empty() {
            lines.push("no part lacks a spec that a fit rule needs".to_owned());
        }
        lines.extend(
            self.doubts
                .iter()
                .map(|doubt| format!("{}: {}", listed(doubt.parts.iter()), doubt.message)),
        );
        lines.extend(self.drafts().map(|part| {
            let guessed: Vec<&str> = part.guessed.iter().map(|spec| spec.key()).collect();
            format!(
                "{} is a draft: confirm {}, and take them out of `guessed`",
                part.id,
                guessed.join(", ")
            )
        }));
        match &self.unoffered {
            None if !self.faults.is_empty() => {
                lines.push("the settings have faults, so offers were not looked at".into());
            }
            None => lines.push("nothing has been polled yet, so offers were not looked at".into()),
            Some(parts) => lines.extend(self.unoffered_lines(parts)),
        }
        lines
    }

    fn unoffered_lines(&self, parts: &[Unoffered<'_>]) -> Vec<String> {
        let (once, never): (Vec<_>, Vec<_>) = parts.iter().partition(|one| one.seen.is_some());
        let mut lines = Vec::new();
        if !never.is_empty() {
            let ids = listed(never.iter().map(|one| &one.part.id));
            lines.push(format!("no offer was ever taken for {ids}"));
        }
        if !once.is_empty() {
            let ids = listed(once.iter().map(|one| &one.part.id));
            lines.push(format!("no offer for {} days: {ids}", self.days));
        }
        let unnamed = parts.iter().map(|one| one.part);
        let unnamed = unnamed.filter(|part| part.mpns.is_empty() && part.gtins.is_empty());
        let ids: Vec<&PartId> = unnamed.map(|part| &part.id).collect();
        if !ids.is_empty() {
            let ids = listed(ids.into_iter());
            lines.push(format!(
                "neither `mpn` nor `gtin`, so nothing but titles can match: {ids}"
            ));
        }
        lines
    }
}

/// Enough to begin with; `--json` has all.
const LISTED_MAX: usize = 8;

fn listed<'i>(ids: impl ExactSizeIterator<Item = &'i PartId>) -> String {
    let n_more = ids.len().saturating_sub(LISTED_MAX);
    let shown: Vec<&str> = ids.take(LISTED_MAX).map(PartId::as_str).collect();
    match n_more {
        0 => shown.join(", "),
        more => format!("{} and {more} more", shown.join(", ")),
    }
}

fn counted(count: usize, kind: Kind) -> String {
    match (count, kind) {
        (1, Kind::Memory) => "1 memory kit".to_owned(),
        (1, kind) => format!("1 {}", kind.noun()),
        (_, Kind::Memory) => format!("{count} memory kits"),
        (_, Kind::Psu) => format!("{count} power supplies"),
        (_, kind) => format!("{count} {}s", kind.noun()),
    }
}
