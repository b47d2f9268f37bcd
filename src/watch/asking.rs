//! A question about a brief: the brief as it is asked, and what is offered.
//!
//! Commands and the page ask with the same words and get the same answers and refusals.

use super::settings::Settings;
use crate::catalogue::table::nearest;
use crate::catalogue::{PartId, scale_decimal};
use crate::ledger::LedgerError;
use crate::market::{Brief, Listed, Market, Retailer, RetailerId, market};
use crate::money::{Currency, Money};
use crate::optimise::Standing;
use chrono::{DateTime, Utc};
use std::collections::BTreeMap;
use std::error::Error;
use std::sync::Arc;

/// A brief as it is asked, in the market of an instant.
pub struct Asked {
    pub settings: Arc<Settings>,
    /// With the terms of the day.
    pub retailers: BTreeMap<RetailerId, Retailer>,
    pub brief: Brief,
    pub listed: Arc<Vec<Listed>>,
    pub standing: Standing,
    /// The instant that the market is of.
    pub at: DateTime<Utc>,
}

/// What is different from the brief as it is written, in words.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Changes {
    pub budget: Option<String>,
    /// Roles and the parts that alone may fill them.
    pub pins: Vec<(String, String)>,
    /// Roles and the parts that the reader has for them.
    pub owned: Vec<(String, String)>,
    pub most_retailers: Option<u32>,
    /// Parts, retailers or brands.
    pub bans: Vec<String>,
    /// Parts and what every offer of them costs.
    pub prices: Vec<(String, String)>,
}

/// Why a question gets no answer. No error in the sense of the standard library, so that nobody passes it
/// on as one without a look at its kind.
#[derive(Debug)]
pub enum AskFault {
    /// Something named is not known.
    Unknown {
        message: String,
        hint: String,
    },
    /// It makes no sense as it is put.
    Senseless {
        message: String,
        hint: String,
    },
    Ledger(LedgerError),
    /// It could not be worked out.
    Unsolved {
        doing: &'static str,
        source: Box<dyn Error + Send + Sync>,
    },
}

/// Says what was being done when a search failed.
pub trait Doing<T> {
    /// # Errors
    /// [`AskFault::Unsolved`]
    fn doing(self, doing: &'static str) -> Result<T, AskFault>;
}

impl<T, E: Error + Send + Sync + 'static> Doing<T> for Result<T, E> {
    fn doing(self, doing: &'static str) -> Result<T, AskFault> {
        self.map_err(|source| AskFault::Unsolved {
            doing,
            source: Box::new(source),
        })
    }
}

impl From<LedgerError> for AskFault {
    fn from(error: LedgerError) -> AskFault {
        AskFault::Ledger(error)
    }
}

impl AskFault {
    pub(super) fn unknown(message: impl Into<String>, hint: impl Into<String>) -> AskFault {
        AskFault::Unknown {
            message: message.into(),
            hint: hint.into(),
        }
    }

    pub(super) fn senseless(message: impl Into<String>, hint: impl Into<String>) -> AskFault {
        AskFault::Senseless {
            message: message.into(),
            hint: hint.into(),
        }
    }
}

impl Asked {
    /// The countries besides its own that the brief names for its guide.
    pub fn countries(&self) -> Vec<String> {
        let named = self.settings.abroad.get(&self.brief.id);
        named.cloned().unwrap_or_default()
    }

    pub fn market(&self) -> Market<'_> {
        market(
            &self.brief,
            &self.settings.catalogue,
            &self.retailers,
            &self.listed,
        )
    }

    /// Changes what is different for this question.
    ///
    /// # Errors
    /// [`AskFault`]: a change that makes no sense.
    pub fn change(&mut self, changes: &Changes) -> Result<(), AskFault> {
        let (settings, brief) = (&self.settings, &mut self.brief);
        let currency = brief.budget.currency();
        if let Some(budget) = &changes.budget {
            brief.budget = amount(budget, currency)?;
        }
        for (role, part) in &changes.pins {
            let part = part_named(settings, part)?;
            let group = role_named(brief, role)?;
            brief.roles[group].pin = Some(part);
        }
        for (role, part) in &changes.owned {
            let part = part_named(settings, part)?;
            let group = role_named(brief, role)?;
            brief.roles[group].pin = Some(part);
            brief.roles[group].is_owned = true;
        }
        if changes.most_retailers.is_some() {
            brief.most_retailers = changes.most_retailers;
        }
        for name in &changes.bans {
            match named(settings, name)? {
                Named::Part(part) => brief.bans.parts.push(part),
                Named::Retailer(retailer) => brief.bans.retailers.push(retailer),
                Named::Brand => brief.bans.brands.push(name.clone()),
            }
        }
        for (part, price) in &changes.prices {
            let part = part_named(settings, part)?;
            let price = amount(price, currency)?;
            put_price(Arc::<Vec<Listed>>::make_mut(&mut self.listed), &part, price)?;
        }
        Ok(())
    }
}

/// As if every offer of the part in the currency had this price.
fn put_price(listed: &mut [Listed], part: &PartId, price: Money) -> Result<(), AskFault> {
    let currency = price.currency();
    let offers = listed.iter_mut().filter(|offer| offer.part == *part);
    let mut is_offered = false;
    for offer in offers.filter(|offer| offer.price.currency() == currency) {
        offer.price = price;
        is_offered = true;
    }
    match is_offered {
        true => Ok(()),
        false => Err(AskFault::senseless(
            format!("no offer of \"{part}\" is in {currency}"),
            "`rigtide history` shows what was seen of it",
        )),
    }
}

/// The brief of that name, or the only one.
///
/// # Errors
/// [`AskFault`]
pub fn brief_named(settings: &Settings, name: Option<&str>) -> Result<Brief, AskFault> {
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
                .ok_or_else(|| AskFault::unknown(format!("no brief is called \"{name}\""), hint))
        }
        (None, [only]) => Ok(only.clone()),
        (None, []) => Err(AskFault::unknown("there is no brief", hint)),
        (None, _) => Err(AskFault::senseless(
            "there are several briefs; name one",
            hint,
        )),
    }
}

/// An amount above or at nothing in a currency.
///
/// # Errors
/// [`AskFault`]
pub fn amount(text: &str, currency: Currency) -> Result<Money, AskFault> {
    let minor = scale_decimal(text, currency.exponent()).filter(|minor| *minor >= 0);
    minor
        .map(|minor| Money::from_minor(minor, currency))
        .ok_or_else(|| {
            AskFault::senseless(
                format!("\"{text}\" is no amount in {currency}"),
                "write digits with a point, such as 1500 or 1499.90",
            )
        })
}

/// A part of the catalogue by its id.
///
/// # Errors
/// [`AskFault`]
pub fn part_named(settings: &Settings, name: &str) -> Result<PartId, AskFault> {
    let id = PartId::new(name);
    if settings.catalogue.parts.contains_key(&id) {
        return Ok(id);
    }
    let known = settings.catalogue.parts.keys().map(PartId::as_str);
    let hint = match nearest(name, known) {
        Some(near) => format!("did you mean \"{near}\"?"),
        None => "the catalogue's parts are in catalogue/".to_owned(),
    };
    Err(AskFault::unknown(
        format!("no part is called \"{name}\""),
        hint,
    ))
}

/// The position of a role among a brief's.
///
/// # Errors
/// [`AskFault`]
pub fn role_named(brief: &Brief, name: &str) -> Result<usize, AskFault> {
    let found = brief.roles.iter().position(|role| role.id.as_str() == name);
    found.ok_or_else(|| {
        let known: Vec<&str> = brief.roles.iter().map(|role| role.id.as_str()).collect();
        let message = format!("the brief has no role \"{name}\"");
        AskFault::unknown(message, format!("its roles: {}", known.join(", ")))
    })
}

/// What may be banned.
pub enum Named {
    Part(PartId),
    Retailer(RetailerId),
    Brand,
}

/// Whatever has that name: a part, a retailer, or else a brand that some part has.
///
/// # Errors
/// [`AskFault`]
pub fn named(settings: &Settings, name: &str) -> Result<Named, AskFault> {
    let retailer = RetailerId::new(name);
    let part = PartId::new(name);
    let folded = name.to_lowercase();
    let parts = &settings.catalogue.parts;
    let mut brands = parts.values().filter_map(|part| part.brand.as_deref());
    if parts.contains_key(&part) {
        Ok(Named::Part(part))
    } else if settings.retailers.contains_key(&retailer) {
        Ok(Named::Retailer(retailer))
    } else if brands.any(|brand| brand.to_lowercase() == folded) {
        Ok(Named::Brand)
    } else {
        Err(AskFault::unknown(
            format!("no part, retailer or brand is called \"{name}\""),
            "name a part by its id, a retailer by its file's name",
        ))
    }
}
