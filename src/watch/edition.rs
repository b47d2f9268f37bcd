//! How far the newest edition of a guide is from what is true today.

use super::join::brief_abroad;
use super::settings::Settings;
use crate::decide::{AnswerAbroad, AnswerRecord, Drift, DriftAbroad, Edition, prices};
use crate::guide::edition::Edition as Document;
use crate::ledger::{LedgerError, Reader};
use crate::market::{Brief, Listed, market, retailers_on};
use crate::money::Money;
use crate::optimise::reprice;
use chrono::{DateTime, Utc};

/// How many times the brief's budget an edition's picks may cost and still be priced: what became
/// dearer than the budget is the very thing to be told.
const BUDGETS: i64 = 100;

/// An edition's answer, and the same picks today where they can still be had together.
#[derive(Debug, Clone, PartialEq)]
pub struct Published {
    pub edition: Edition,
    pub then: AnswerRecord,
    pub now: Option<AnswerRecord>,
    /// The edition's answers in other countries.
    pub abroad: Vec<AnswerAbroad>,
}

/// What would be published today.
#[derive(Debug, Clone, Copy)]
pub struct Best<'b> {
    pub answer: &'b AnswerRecord,
    /// In other countries. Of one that is left out, the edition's parts count as the best that there are.
    pub abroad: &'b [AnswerAbroad],
}

/// The newest edition of a brief's guide seen from today; `None` where none is published, or where its
/// document is none that this program reads.
///
/// # Errors
/// [`LedgerError`]
pub fn published(
    settings: &Settings,
    reader: &Reader,
    (brief, listed): (&Brief, &[Listed]),
    best: &AnswerRecord,
    at: DateTime<Utc>,
) -> Result<Option<Published>, LedgerError> {
    let stored = reader.edition(brief.id.as_str(), None)?;
    let document = stored.and_then(|stored| Document::from_json(&stored.document));
    let best = Best {
        answer: best,
        abroad: &[],
    };
    Ok(document.map(|document| of_edition(settings, document, (brief, listed), best, at)))
}

/// An edition seen from today.
pub fn of_edition(
    settings: &Settings,
    document: Document,
    (brief, listed): (&Brief, &[Listed]),
    best: Best<'_>,
    at: DateTime<Utc>,
) -> Published {
    let retailers = retailers_on(&settings.retailers, at.date_naive());
    let seen = |brief: &Brief, then: &AnswerRecord, best: &AnswerRecord| {
        let market = market(brief, &settings.catalogue, &retailers, listed);
        let now = reprice(&market, &settings.catalogue, &then.standing());
        let now = now.map(|build| AnswerRecord::of_build(&market, &build, at));
        let drift = Drift::between(then, now.as_ref(), &prices(&market), best);
        (now, drift)
    };
    let budget = brief.budget;
    let lifted = Brief {
        budget: Money::from_minor(budget.minor().saturating_mul(BUDGETS), budget.currency()),
        ..brief.clone()
    };
    let then = document.answer;
    let (now, drift) = seen(&lifted, &then, best.answer);
    let abroad = document.abroad.iter().map(|then| {
        let country = &then.country;
        let brief = brief_abroad(brief, &retailers, country);
        let best = best.abroad.iter().find(|best| best.country == *country);
        let (_, drift) = seen(&brief, &then.answer, &best.unwrap_or(then).answer);
        DriftAbroad {
            country: country.clone(),
            currency: then.answer.currency.clone(),
            drift,
        }
    });
    Published {
        edition: Edition {
            number: document.edition,
            at: document.at,
            drift,
            abroad: abroad.collect(),
            doubts: Vec::new(),
        },
        then,
        now,
        abroad: document.abroad,
    }
}
