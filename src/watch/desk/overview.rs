//! The first page: read from stored answers, nothing is worked out.

use super::DaemonDesk;
use super::kept::Ground;
use super::shapes::{entry, proof, short_pick};
use crate::decide::{AnswerRecord, Memory, shown_instant};
use crate::ledger::{DeliveryCounts, FeedState, JournalLine, JournalWanted, LedgerError, Reader};
use crate::market::Brief;
use crate::watch::due::planned;
use crate::watch::questions::waiting;
use crate::watch::settings::Settings;
use crate::web::desk::Told;
use crate::web::view::{BriefLine, FeedsInShort, OutboxInShort, Overview, ToldAnswer};
use chrono::{DateTime, Utc};
use std::sync::Arc;

/// What the ledger says, read once for each state of it.
pub(super) struct Seen {
    pub briefs: Vec<BriefLine>,
    pub states: Vec<FeedState>,
    held: u64,
    deliveries: DeliveryCounts,
}

impl DaemonDesk {
    pub(super) fn look_over(&self) -> Told<Overview> {
        let ground = self.ground()?;
        let seen = self.seen(&ground)?;
        let now = self.clock.now();
        let feeds = feeds_in_short(&ground.settings, &seen.states, now);
        Ok(Overview {
            at: shown_instant(now),
            briefs: seen.briefs.clone(),
            unmatched: feeds.offers.saturating_sub(feeds.matched),
            feeds,
            held: seen.held,
            questions: *self.questions_waiting(&ground)?,
            outbox: OutboxInShort {
                waiting: seen.deliveries.waiting,
                dead: seen.deliveries.dead,
            },
            change: *self.change.borrow(),
        })
    }

    pub(super) fn seen(&self, ground: &Arc<Ground>) -> Told<Arc<Seen>> {
        self.look_dated(ground, "seen", || {
            self.read(ground, |reader| see(&ground.settings, reader))
        })
    }

    /// How many offers wait for the author's word on which part they are.
    fn questions_waiting(&self, ground: &Arc<Ground>) -> Told<Arc<u64>> {
        self.look_dated(ground, "number of questions", || {
            let matcher = self.matcher(&ground.settings);
            let waiting = self.read(ground, |reader| waiting(reader, &matcher))?;
            Ok(waiting.len() as u64)
        })
    }
}

fn see(settings: &Settings, reader: &Reader) -> Result<Seen, LedgerError> {
    let mut briefs = Vec::new();
    for brief in &settings.briefs {
        briefs.push(brief_line(brief, reader)?);
    }
    Ok(Seen {
        briefs,
        states: reader.feed_states()?,
        held: reader.list_held()?.len() as u64,
        deliveries: reader.delivery_counts()?,
    })
}

fn brief_line(brief: &Brief, reader: &Reader) -> Result<BriefLine, LedgerError> {
    let stored = reader.last_answer(brief.id.as_str())?;
    let since = stored.as_ref().map(|stored| shown_instant(stored.since));
    let memory = reader.remembered_of(brief.id.as_str())?;
    let stands = stored.and_then(|stored| AnswerRecord::from_json(&stored.answer_json));
    let today = memory.and_then(|memory| Memory::from_json(&memory).today);
    let told = stands.as_ref().zip(today.as_ref());
    let told = told.map(|(told, today)| told_before(told, today));
    let since = since.filter(|_| told.as_ref().is_none_or(|told| told.is_same_build));
    let last = last_change(brief, reader)?;
    let record = today.as_ref().or(stands.as_ref());
    Ok(BriefLine {
        brief: brief.id.to_string(),
        name: brief.name.clone(),
        country: brief.country.clone(),
        currency: brief.budget.currency().to_string(),
        budget_minor: brief.budget.minor(),
        total_minor: record.and_then(|record| record.total_minor),
        score: record.and_then(|record| record.score),
        proof: record.map(|record| proof(record.proof.status)),
        since: since.filter(|_| record.is_some()),
        at: record.map(|record| record.at.clone()),
        picks: record.map_or(Vec::new(), |record| {
            record.picks.iter().map(short_pick).collect()
        }),
        obstacles: record.map_or(Vec::new(), |record| record.obstacles.clone()),
        last_change: last.map(entry),
        told,
    })
}

fn told_before(told: &AnswerRecord, today: &AnswerRecord) -> ToldAnswer {
    ToldAnswer {
        at: told.at.clone(),
        total_minor: told.total_minor,
        score: told.score,
        is_same_build: told.parts_text() == today.parts_text(),
    }
}

/// The newest thing that was written down of the brief.
fn last_change(brief: &Brief, reader: &Reader) -> Result<Option<JournalLine>, LedgerError> {
    let wanted = JournalWanted {
        brief: Some(brief.id.to_string()),
        ..JournalWanted::default()
    };
    Ok(reader.journal_of(&wanted, 1)?.into_iter().next())
}

fn feeds_in_short(settings: &Settings, states: &[FeedState], now: DateTime<Utc>) -> FeedsInShort {
    let known = settings.feeds.iter().map(|feed| {
        let state = states.iter().find(|state| state.feed == feed.id);
        (feed, state)
    });
    let known: Vec<_> = known.collect();
    let states = || known.iter().filter_map(|(_, state)| *state);
    let failing = states().filter(|state| state.failures > 0);
    let next = known
        .iter()
        .filter_map(|(feed, state)| planned(feed, *state, now)?.at);
    FeedsInShort {
        feeds: known.len() as u64,
        failing: failing.map(|state| state.feed.to_string()).collect(),
        last_poll: states()
            .filter_map(|state| state.last_poll)
            .max()
            .map(shown_instant),
        next_poll: next.min().map(shown_instant),
        offers: states().map(|state| state.offers).sum(),
        matched: states().map(|state| state.matched).sum(),
    }
}
