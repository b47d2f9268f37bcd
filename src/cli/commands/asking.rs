//! What every question about a brief needs: the brief as it is asked, and what is offered.

use crate::catalogue::table::nearest;
use crate::catalogue::{PartId, scale_decimal};
use crate::cli::args::{Changes, Past};
use crate::cli::report::Failure;
use crate::cli::wire;
use crate::decide::{AnswerRecord, shown_instant};
use crate::ledger::{LedgerError, Reader};
use crate::market::{Brief, Listed, Market, RetailerId, market, retailers_on};
use crate::money::{Currency, Money};
use crate::optimise::Standing;
use crate::watch::clock::Clock;
use crate::watch::settings::files::Files;
use crate::watch::settings::{Settings, ledger_of, settings_of};
use chrono::{DateTime, Utc};
use std::path::{Path, PathBuf};
use std::thread::{ScopedJoinHandle, scope};

/// A brief as it is asked, in the market of today or of a past instant.
pub struct Asked {
    pub settings: Settings,
    pub brief: Brief,
    pub listed: Vec<Listed>,
    pub standing: Standing,
    /// The instant that the market is of.
    pub at: DateTime<Utc>,
}

impl Asked {
    /// Reads the configuration and the ledger, and changes what the command line says.
    pub fn load(directory: &Path, name: Option<&str>, changes: &Changes) -> Result<Asked, Failure> {
        let moment = Moment::of(changes.at)?;
        let (settings, reader, mut listed) = moment.read(directory)?;
        let mut brief = brief_named(&settings, name)?;
        let standing = moment.standing(&reader, &brief)?;
        change(&settings, changes, &mut brief, &mut listed)?;
        Ok(Asked {
            settings,
            brief,
            listed,
            standing,
            at: moment.at,
        })
    }

    /// The countries besides its own that the brief names for its guide.
    pub fn countries(&self) -> Vec<String> {
        let named = self.settings.abroad.get(&self.brief.id);
        named.cloned().unwrap_or_default()
    }

    pub fn market(&self) -> Market<'_> {
        market(
            &self.brief,
            &self.settings.catalogue,
            &self.settings.retailers,
            &self.listed,
        )
    }
}

/// The brief of that name, or the only one.
pub fn brief_named(settings: &Settings, name: Option<&str>) -> Result<Brief, Failure> {
    let known = || settings.briefs.iter().map(|brief| brief.id.as_str());
    let hint = match known().collect::<Vec<_>>().as_slice() {
        [] => "write one in briefs/, or say --budget, --currency and --use to `best`".to_owned(),
        known => format!("known briefs: {}", known.join(", ")),
    };
    match (name, settings.briefs.as_slice()) {
        (Some(name), briefs) => {
            let found = briefs.iter().find(|brief| brief.id.as_str() == name);
            found
                .cloned()
                .ok_or_else(|| Failure::usage(format!("no brief is called \"{name}\""), hint))
        }
        (None, [only]) => Ok(only.clone()),
        (None, []) => Err(Failure::usage("there is no brief", hint)),
        (None, _) => Err(Failure::usage("there are several briefs; name one", hint)),
    }
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

/// An amount above or at nothing in a currency.
pub fn amount(text: &str, currency: Currency) -> Result<Money, Failure> {
    let minor = scale_decimal(text, currency.exponent()).filter(|minor| *minor >= 0);
    minor
        .map(|minor| Money::from_minor(minor, currency))
        .ok_or_else(|| {
            Failure::usage(
                format!("\"{text}\" is no amount in {currency}"),
                "write digits with a point, such as 1500 or 1499.90",
            )
        })
}

/// A part of the catalogue by its id.
pub fn part_named(settings: &Settings, name: &str) -> Result<PartId, Failure> {
    let id = PartId::new(name);
    if settings.catalogue.parts.contains_key(&id) {
        return Ok(id);
    }
    let known = settings.catalogue.parts.keys().map(PartId::as_str);
    let hint = match nearest(name, known) {
        Some(near) => format!("did you mean \"{near}\"?"),
        None => "the catalogue's parts are in catalogue/".to_owned(),
    };
    Err(Failure::usage(
        format!("no part is called \"{name}\""),
        hint,
    ))
}

/// `left=right`.
fn pair<'t>(text: &'t str, form: &str) -> Result<(&'t str, &'t str), Failure> {
    text.split_once('=')
        .ok_or_else(|| Failure::usage(format!("\"{text}\" has no ="), format!("write {form}")))
}

fn change(
    settings: &Settings,
    changes: &Changes,
    brief: &mut Brief,
    listed: &mut [Listed],
) -> Result<(), Failure> {
    let currency = brief.budget.currency();
    if let Some(budget) = &changes.with_budget {
        brief.budget = amount(budget, currency)?;
    }
    for pin in &changes.pin {
        let (role, part) = pair(pin, "ROLE=PART")?;
        let part = part_named(settings, part)?;
        let group = role_named(brief, role)?;
        brief.roles[group].pin = Some(part);
    }
    for own in &changes.own {
        let (role, part) = pair(own, "ROLE=PART")?;
        let part = part_named(settings, part)?;
        let group = role_named(brief, role)?;
        brief.roles[group].pin = Some(part);
        brief.roles[group].is_owned = true;
    }
    if changes.most_retailers.is_some() {
        brief.most_retailers = changes.most_retailers;
    }
    for name in &changes.ban {
        ban(settings, brief, name)?;
    }
    for price in &changes.price {
        let (part, price) = pair(price, "PART=AMOUNT")?;
        let part = part_named(settings, part)?;
        let price = amount(price, currency)?;
        let offers = listed.iter_mut().filter(|offer| offer.part == part);
        let mut is_offered = false;
        for offer in offers.filter(|offer| offer.price.currency() == currency) {
            offer.price = price;
            is_offered = true;
        }
        if !is_offered {
            let message = format!("no offer of \"{part}\" is in {currency}");
            return Err(Failure::usage(
                message,
                "`rigtide history` shows what was seen of it",
            ));
        }
    }
    Ok(())
}

/// The position of a role among a brief's.
pub fn role_named(brief: &Brief, name: &str) -> Result<usize, Failure> {
    let found = brief.roles.iter().position(|role| role.id.as_str() == name);
    found.ok_or_else(|| {
        let known: Vec<&str> = brief.roles.iter().map(|role| role.id.as_str()).collect();
        let message = format!("the brief has no role \"{name}\"");
        Failure::usage(message, format!("its roles: {}", known.join(", ")))
    })
}

/// Bans whatever has that name: a part, a retailer, or else a brand that some part has.
fn ban(settings: &Settings, brief: &mut Brief, name: &str) -> Result<(), Failure> {
    let retailer = RetailerId::new(name);
    let part = PartId::new(name);
    let folded = name.to_lowercase();
    let brands = || {
        settings
            .catalogue
            .parts
            .values()
            .filter_map(|part| part.brand.as_deref())
    };
    if settings.catalogue.parts.contains_key(&part) {
        brief.bans.parts.push(part);
    } else if settings.retailers.contains_key(&retailer) {
        brief.bans.retailers.push(retailer);
    } else if brands().any(|brand| brand.to_lowercase() == folded) {
        brief.bans.brands.push(name.to_owned());
    } else {
        let message = format!("no part, retailer or brand is called \"{name}\"");
        return Err(Failure::usage(
            message,
            "name a part by its id, a retailer by its file's name",
        ));
    }
    Ok(())
}
