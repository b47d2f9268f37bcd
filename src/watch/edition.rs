//! How far the newest edition of a guide is from what is true today.

use super::settings::Settings;
use crate::decide::{AnswerRecord, Drift, Edition, prices};
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
    Ok(document.map(|document| of_edition(settings, document, (brief, listed), best, at)))
}

/// An edition seen from today.
pub fn of_edition(
    settings: &Settings,
    document: Document,
    (brief, listed): (&Brief, &[Listed]),
    best: &AnswerRecord,
    at: DateTime<Utc>,
) -> Published {
    let retailers = retailers_on(&settings.retailers, at.date_naive());
    let budget = brief.budget;
    let lifted = Brief {
        budget: Money::from_minor(budget.minor().saturating_mul(BUDGETS), budget.currency()),
        ..brief.clone()
    };
    let market = market(&lifted, &settings.catalogue, &retailers, listed);
    let then = document.answer;
    let now = reprice(&market, &settings.catalogue, &then.standing());
    let now = now.map(|build| AnswerRecord::of_build(&market, &build, at));
    Published {
        edition: Edition {
            number: document.edition,
            at: document.at,
            drift: Drift::between(&then, now.as_ref(), &prices(&market), best),
            doubts: Vec::new(),
        },
        then,
        now,
    }
}
