//! What every question about a brief needs: the brief as it is asked, and what is offered.

use crate::cli::args;
use crate::cli::args::Past;
use crate::cli::report::Failure;
use crate::cli::wire;
use crate::decide::{AnswerRecord, shown_instant};
use crate::ledger::{LedgerError, Reader};
use crate::market::{Brief, Listed, retailers_on};
use crate::optimise::Standing;
use crate::watch::asking::{AskFault, Changes};
pub use crate::watch::asking::{Asked, amount, brief_named, part_named, role_named};
use crate::watch::clock::Clock;
use crate::watch::settings::files::Files;
use crate::watch::settings::{Settings, ledger_of, settings_of};
use anyhow::anyhow;
use chrono::{DateTime, Utc};
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::thread::{ScopedJoinHandle, scope};

impl Asked {
    /// Reads the configuration and the ledger, and changes what the command line says.
    pub fn load(
        directory: &Path,
        name: Option<&str>,
        changes: &args::Changes,
    ) -> Result<Asked, Failure> {
        let moment = Moment::of(changes.at)?;
        let (settings, reader, listed) = moment.read(directory)?;
        let brief = brief_named(&settings, name)?;
        let standing = moment.standing(&reader, &brief)?;
        let mut asked = Asked {
            retailers: settings.retailers.clone(),
            settings: Arc::new(settings),
            brief,
            listed: Arc::new(listed),
            standing,
            at: moment.at,
        };
        asked.change(&said(changes)?)?;
        Ok(asked)
    }
}

impl From<AskFault> for Failure {
    fn from(fault: AskFault) -> Failure {
        match fault {
            AskFault::Unknown { message, hint } | AskFault::Senseless { message, hint } => {
                Failure::usage(message, hint)
            }
            AskFault::Ledger(error) => Failure::Ledger(error.into()),
            AskFault::Unsolved { doing, source } => Failure::Other(anyhow!(source).context(doing)),
        }
    }
}

/// What the command line says is different.
pub(super) fn said(changes: &args::Changes) -> Result<Changes, Failure> {
    let pairs = |texts: &[String], form| {
        let pairs = texts.iter().map(|text| pair(text, form));
        pairs.collect::<Result<Vec<_>, Failure>>()
    };
    Ok(Changes {
        budget: changes.with_budget.clone(),
        pins: pairs(&changes.pin, "ROLE=PART")?,
        owned: pairs(&changes.own, "ROLE=PART")?,
        most_retailers: changes.most_retailers,
        bans: changes.ban.clone(),
        prices: pairs(&changes.price, "PART=AMOUNT")?,
    })
}

/// The instant that is asked about.
#[derive(Debug, Clone, Copy)]
pub struct Moment {
    pub at: DateTime<Utc>,
    /// It is not simply now.
    is_past: bool,
}

impl Moment {
    /// Now, or what the command line says.
    pub fn of(past: Option<Past>) -> Result<Moment, Failure> {
        let now = Clock::from_environment().now();
        let at = past.map_or(Some(now), |past| past.instant(now));
        let at = at.ok_or_else(|| {
            let message = format!("--at lies ahead of now, {}", shown_instant(now));
            Failure::usage(message, "say an instant of the past")
        })?;
        Ok(Moment {
            at,
            is_past: past.is_some(),
        })
    }

    /// The settings with the retailers of the day, the ledger, and what was listed. The ledger is
    /// read while the settings are: a large catalogue takes longer than all else.
    pub fn read(&self, directory: &Path) -> Result<(Settings, Reader, Vec<Listed>), Failure> {
        let files = Files::read(directory);
        let ledger = ledger_of(directory, &files).filter(|ledger| ledger.exists());
        let read_ledger = |ledger: PathBuf| {
            let reader = Reader::open(&ledger).map_err(|error| Failure::Ledger(error.into()))?;
            let listed = self.listed(&reader)?;
            Ok::<_, Failure>((reader, listed))
        };
        let (settings, from_ledger) = scope(|threads| {
            let from_ledger = ledger.map(|ledger| threads.spawn(move || read_ledger(ledger)));
            let settings = settings_of(directory, files);
            (settings, from_ledger.map(ScopedJoinHandle::join))
        });
        let mut settings = settings.map_err(Failure::Configuration)?;
        settings.retailers = retailers_on(&settings.retailers, self.at.date_naive());
        let (reader, listed) = match from_ledger {
            Some(Ok(read)) => read?,
            Some(Err(panic)) => std::panic::resume_unwind(panic),
            None => {
                let reader = wire::reader(&settings)?;
                let listed = self.listed(&reader)?;
                (reader, listed)
            }
        };
        Ok((settings, reader, listed))
    }

    /// What was listed then.
    fn listed(&self, reader: &Reader) -> Result<Vec<Listed>, Failure> {
        let fault = |error: LedgerError| Failure::Ledger(error.into());
        if !self.is_past {
            return reader.listed(None).map_err(fault);
        }
        let listed = reader.listed(Some(self.at)).map_err(fault)?;
        if !listed.is_empty() {
            return Ok(listed);
        }
        let first = reader.record_begins().map_err(fault)?;
        if first.is_none_or(|first| first > self.at) {
            let message = format!("nothing had been seen by {}", shown_instant(self.at));
            let hint = match first {
                Some(first) => format!("the record begins at {}", shown_instant(first)),
                None => "`rigtide poll` sees for the first time".to_owned(),
            };
            return Err(Failure::usage(message, hint));
        }
        Ok(listed)
    }

    /// The build that had been told last.
    pub fn standing(&self, reader: &Reader, brief: &Brief) -> Result<Standing, Failure> {
        let brief = brief.id.as_str();
        let stored = match self.is_past {
            true => reader.answer_at(brief, self.at),
            false => reader.last_answer(brief),
        };
        let stored = stored.map_err(|error| Failure::Ledger(error.into()))?;
        let record = stored.and_then(|stored| AnswerRecord::from_json(&stored.answer_json));
        Ok(record.map(|record| record.standing()).unwrap_or_default())
    }
}

/// `left=right`.
fn pair(text: &str, form: &str) -> Result<(String, String), Failure> {
    text.split_once('=')
        .map(|(left, right)| (left.to_owned(), right.to_owned()))
        .ok_or_else(|| Failure::usage(format!("\"{text}\" has no ="), format!("write {form}")))
}
