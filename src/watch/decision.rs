//! Decides for every brief whether today's answer matters, and commits answer, journal entry and
//! bulletins as one.

use super::answer::{Today, answer_in};
use super::attention::Attention;
use super::edition::{Published, published};
use super::price_past::{Readings, past_price};
use super::settings::Settings;
use crate::catalogue::{Fault, PartId};
use crate::decide::{
    AnswerRecord, Bulletin, Hours, Low, Memory, Names, Outcome, Scene, Solved, Telling, Told,
    asked, compare, doubts, dress, offers_told, prices, settle,
};
use crate::ledger::{JournalEntry, Ledger, LedgerError, Post, Reader, Settled};
use crate::market::{Brief, Listed, Market, Retailer, RetailerId, market, retailers_on};
use crate::optimise::{BestFault, Effort};
use chrono::{DateTime, Utc};
use serde_json::json;
use std::collections::{BTreeMap, BTreeSet};
use std::sync::PoisonError;
use std::time::Instant;

/// Why a brief could not be decided.
#[derive(Debug, thiserror::Error)]
pub enum DecisionFault {
    #[error("the brief \"{brief}\" could not be answered")]
    Best { brief: String, source: BestFault },
    #[error("there is nothing to say of the brief")]
    NothingToSay,
    #[error(transparent)]
    Ledger(#[from] LedgerError),
}

/// Looks at every brief whose answer may have changed and stores what that came to. Returns the
/// bulletins that went to the outbox.
///
/// A brief that cannot be answered keeps its standing answer and does not hold up the others;
/// the faults come back beside the bulletins.
///
/// # Errors
/// [`LedgerError`] when the ledger fails; what was decided before stands.
pub fn decide_briefs(
    settings: &Settings,
    ledger: &mut Ledger,
    at: DateTime<Utc>,
    effort: Effort,
) -> Result<(Vec<Bulletin>, Vec<DecisionFault>), LedgerError> {
    let feeds = settings.feeds.iter().map(|feed| &feed.id);
    ledger.retire_feeds(&feeds.collect(), at)?;
    let look = Look::at(settings, ledger.read(), at, effort)?;
    let attention = settings.attention.lock();
    // A panic elsewhere may have left a brief half noted: it is solved anew where in doubt.
    let mut attention = attention.unwrap_or_else(PoisonError::into_inner);
    attention.look(&look.listed, &settings.catalogue, &look.retailers);
    let (mut told, mut faults) = (Vec::new(), Vec::new());
    for brief in &settings.briefs {
        let edition = ledger.read().last_edition(brief.id.as_str())?;
        attention.published(&brief.id, edition);
        if attention.is_spared(settings, brief) {
            continue;
        }
        attention.forget(&brief.id);
        match decide(&look, ledger, brief, &mut attention)? {
            Ok(bulletins) => told.extend(bulletins),
            Err(fault) => faults.push(fault),
        }
    }
    Ok((told, faults))
}

/// The market at one instant, and what it takes to judge briefs on it.
pub struct Look<'s> {
    settings: &'s Settings,
    listed: Vec<Listed>,
    retailers: BTreeMap<RetailerId, Retailer>,
    /// Offers whose newest price is held, by retailer and SKU.
    held: BTreeSet<(String, String)>,
    at: DateTime<Utc>,
    effort: Effort,
}

/// What a brief was decided on before.
#[derive(Debug, Clone, PartialEq)]
pub struct Before {
    /// The answer as it was last told.
    pub standing: Option<AnswerRecord>,
    pub memory: Option<Memory>,
}

/// A brief solved and judged.
pub struct Judged {
    pub today: AnswerRecord,
    pub outcome: Outcome,
    solved: Solved,
}

impl Before {
    /// As the ledger keeps it.
    ///
    /// # Errors
    /// [`LedgerError`]
    pub fn of(reader: &Reader, brief: &Brief) -> Result<Before, LedgerError> {
        let stored = reader.last_answer(brief.id.as_str())?;
        let memory = reader.remembered_of(brief.id.as_str())?;
        Ok(Before {
            standing: stored.and_then(|stored| AnswerRecord::from_json(&stored.answer_json)),
            memory: memory.as_deref().map(Memory::from_json),
        })
    }
}

/// Solves a brief, decides what is told, and stores both as one.
fn decide(
    look: &Look<'_>,
    ledger: &mut Ledger,
    brief: &Brief,
    attention: &mut Attention,
) -> Result<Result<Vec<Bulletin>, DecisionFault>, LedgerError> {
    let before = Before::of(ledger.read(), brief)?;
    let begun = Instant::now();
    let judged = look.judge(ledger.read(), brief, &before)?;
    attention.counters.solves += 1;
    attention.counters.solve_us += u64::try_from(begun.elapsed().as_micros()).unwrap_or(u64::MAX);
    let Judged {
        today,
        outcome,
        solved,
    } = match judged {
        Ok(judged) => judged,
        Err(source) => return look.failed(ledger, brief, source).map(Err),
    };
    if outcome.stands || !outcome.told.is_empty() || before.memory.as_ref() != Some(&outcome.memory)
    {
        ledger.settle(&look.settled(brief, &today, &outcome))?;
    }
    attention.put(&brief.id, solved, outcome.is_pending);
    let told = outcome.told.into_iter();
    Ok(Ok(told.map(|told| told.bulletin).collect()))
}

impl<'s> Look<'s> {
    /// What is listed at this instant.
    ///
    /// # Errors
    /// [`LedgerError`]
    pub fn at(
        settings: &'s Settings,
        reader: &Reader,
        at: DateTime<Utc>,
        effort: Effort,
    ) -> Result<Look<'s>, LedgerError> {
        let held = reader.list_held()?.into_iter();
        let held = held.map(|one| (one.retailer.to_string(), one.sku.to_string()));
        Ok(Look {
            settings,
            listed: reader.listed(None)?,
            retailers: retailers_on(&settings.retailers, at.date_naive()),
            held: held.collect(),
            at,
            effort,
        })
    }

    /// Solves a brief and decides what is told; changes nothing.
    ///
    /// # Errors
    /// [`LedgerError`]; inside, why the brief cannot be answered.
    pub fn judge(
        &self,
        reader: &Reader,
        brief: &Brief,
        before: &Before,
    ) -> Result<Result<Judged, BestFault>, LedgerError> {
        let standing = before.standing.as_ref();
        let parts = standing.map(AnswerRecord::standing).unwrap_or_default();
        let catalogue = &self.settings.catalogue;
        let market = market(brief, catalogue, &self.retailers, &self.listed);
        let (settings, listed) = (self.settings, &self.listed);
        let answered = answer_in(settings, &market, listed, &parts, self.at, self.effort);
        let today = match answered {
            Ok(today) => today,
            Err(fault) => return Ok(Err(fault)),
        };
        let usual = Telling::usual(&brief.channels);
        let telling = self.settings.telling.get(&brief.id).unwrap_or(&usual);
        let published = self.published(reader, (brief, telling), &today.best)?;
        let ground = Ground {
            reader,
            held: &self.held,
            at: self.at,
        };
        let mut scene = ground.scene(brief, telling, (&market, &today), standing)?;
        scene.edition = published.as_ref().map(|one| one.edition.clone());
        let memory = before.memory.clone().unwrap_or_default();
        let mut outcome = settle(brief.id.as_str(), telling, &scene, memory);
        let mut readings = Readings::default();
        for told in &mut outcome.told {
            dress_with_past(self.settings, reader, &mut readings, &mut told.bulletin)?;
        }
        let stands = match outcome.stands {
            true => Some(&today.best),
            false => standing,
        };
        let mut solved = Solved::new(&market, &today.best, stands);
        if let Some(published) = &published {
            solved.watch(&published.then);
            let abroad = published.abroad.iter();
            abroad.for_each(|there| solved.watch_abroad(&there.answer));
        }
        Ok(Ok(Judged {
            outcome,
            solved,
            today: today.best,
        }))
    }

    fn failed(
        &self,
        ledger: &mut Ledger,
        brief: &Brief,
        source: BestFault,
    ) -> Result<DecisionFault, LedgerError> {
        let fault = DecisionFault::Best {
            brief: brief.id.to_string(),
            source,
        };
        let text = error_chain(&fault);
        let failed = entry(brief, self.at, "answer_failed", text, json!({}));
        ledger.note(&[failed])?;
        Ok(fault)
    }

    /// The newest edition, where something asks for it.
    fn published(
        &self,
        reader: &Reader,
        (brief, telling): (&Brief, &Telling),
        today: &AnswerRecord,
    ) -> Result<Option<Published>, LedgerError> {
        if !telling.reads_edition() {
            return Ok(None);
        }
        let asked = (brief, self.listed.as_slice());
        let mut found = published(self.settings, reader, asked, today, self.at)?;
        if let Some(published) = &mut found {
            let now = published.now.iter().collect::<Vec<_>>();
            let doubts = doubts(&now, &self.held, telling.stale_after, self.at);
            published.edition.doubts = doubts;
        }
        Ok(found)
    }

    fn settled(&self, brief: &Brief, today: &AnswerRecord, outcome: &Outcome) -> Settled {
        let journal = outcome.told.iter().map(|told| {
            let data = json!({ "bulletin": told.bulletin.id.as_str() });
            let subject = told.bulletin.subject.clone();
            let kind = told.bulletin.data["kind"].as_str().unwrap_or(told.kind);
            entry(brief, self.at, kind, subject, data)
        });
        Settled {
            brief: brief.id.to_string(),
            at: self.at,
            memory: outcome.memory.to_json(),
            answer: outcome
                .stands
                .then(|| (today.parts_text(), today.to_json())),
            journal: journal.collect(),
            posts: outcome
                .told
                .iter()
                .flat_map(|told| self.posts(told))
                .collect(),
        }
    }

    fn posts(&self, told: &Told) -> Vec<Post> {
        let post = |(channel, own): (&String, &Option<Hours>)| {
            let hours = own.or_else(|| self.settings.hours.get(channel).copied());
            let goes_out = hours.unwrap_or_default().goes_out(self.at);
            Post {
                channel: channel.clone(),
                bulletin: told.bulletin.clone(),
                goes_out: goes_out.at,
                is_for_digest: goes_out.is_for_digest,
            }
        };
        told.channels.iter().map(post).collect()
    }
}

/// What a scene is made of beside market and answers.
pub(super) struct Ground<'g> {
    pub reader: &'g Reader,
    /// Offers whose newest price is held, by retailer and SKU.
    pub held: &'g BTreeSet<(String, String)>,
    pub at: DateTime<Utc>,
}

impl Ground<'_> {
    /// Everything that a decision rests on.
    pub(super) fn scene<'s>(
        &self,
        brief: &'s Brief,
        telling: &Telling,
        (market, today): (&Market<'_>, &'s Today),
        standing: Option<&'s AnswerRecord>,
    ) -> Result<Scene<'s>, LedgerError> {
        let change = compare(
            standing,
            today.repriced.as_ref(),
            &today.best,
            &brief.change,
        );
        // What the standing build costs today counts, not what it cost when it was told.
        let answers: Vec<&AnswerRecord> = today.repriced.iter().chain([&today.best]).collect();
        Ok(Scene {
            name: &brief.name,
            names: Names::of(brief, market.retailers),
            currency: brief.budget.currency(),
            at: self.at,
            standing,
            today: &today.best,
            change,
            prices: prices(market),
            asked: asked(market, telling.parts()),
            lows: self.lows(brief, telling, &today.best)?,
            edition: None,
            doubts: doubts(&answers, self.held, telling.stale_after, self.at),
        })
    }

    /// By the key of what is asked for and the part.
    fn lows(
        &self,
        brief: &Brief,
        telling: &Telling,
        today: &AnswerRecord,
    ) -> Result<BTreeMap<(String, PartId), Low>, LedgerError> {
        let mut lows = BTreeMap::new();
        for ask in &telling.asks {
            let Some(days) = ask.trigger.past() else {
                continue;
            };
            let parts: BTreeSet<&PartId> = match ask.trigger.part() {
                Some(part) => BTreeSet::from([part]),
                None => today.picks.iter().map(|pick| &pick.part).collect(),
            };
            for part in parts {
                let low = self.reader.low(part, brief.budget.currency(), days)?;
                lows.extend(low.map(|low| ((ask.trigger.key(), part.clone()), low)));
            }
        }
        Ok(lows)
    }
}

/// Gives a bulletin its texts, with what the record says of its prices.
pub(super) fn dress_with_past(
    settings: &Settings,
    reader: &Reader,
    readings: &mut Readings,
    bulletin: &mut Bulletin,
) -> Result<(), LedgerError> {
    let mut past = BTreeMap::new();
    for pick in offers_told(bulletin) {
        let found = past_price(reader, readings, &pick, bulletin.at)?;
        past.extend(found.map(|found| (pick.part, found)));
    }
    warn_of_templates(&dress(bulletin, &settings.templates, &past));
    Ok(())
}

/// A text of the author's that was right for every sample and fails all the same.
pub(super) fn warn_of_templates(faults: &[Fault]) {
    for fault in faults {
        tracing::warn!(
            "a text of yours could not be filled in, so the program's own stands: {fault}"
        );
    }
}

fn entry(
    brief: &Brief,
    at: DateTime<Utc>,
    kind: &str,
    text: String,
    data: serde_json::Value,
) -> JournalEntry {
    let brief = Some(brief.id.to_string());
    JournalEntry {
        at,
        kind: kind.to_owned(),
        feed: None,
        brief,
        part: None,
        text,
        data,
    }
}

/// An error and what caused it, in one line.
pub fn error_chain(error: &dyn std::error::Error) -> String {
    let mut text = error.to_string();
    let mut source = error.source();
    while let Some(cause) = source {
        text.push_str(": ");
        text.push_str(&cause.to_string());
        source = cause.source();
    }
    text
}
