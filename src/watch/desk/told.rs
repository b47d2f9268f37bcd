//! What waits for a person's word, the journal and the outbox.

use super::DaemonDesk;
use super::parts::day;
use super::refusal::{not_found, refused};
use super::shapes::{entry, held as held_view};
use crate::decide::shown_instant;
use crate::ledger::{Delivery, DeliveryState, HeldId, JournalLine, JournalWanted, Ledger};
use crate::watch::past::midnight;
use crate::watch::words::{self, drop_delivery, give_held_word, retry};
use crate::web::desk::Told;
use crate::web::view::{
    DeliveryView, HeldDone, HeldView, HeldWord, Journal, JournalAsked, Outbox, OutboxDone,
    OutboxWord, Refusal, RefusalKind,
};
use chrono::{DateTime, Utc};

/// So many entries are shown unless told otherwise, and at most.
const USUAL: u32 = 100;
const MOST: u32 = 1_000;
/// So often at most, that many entries are looked through for those that are left.
const LOOKS: u32 = 50;

impl DaemonDesk {
    /// The ledger for writing, as a command opens it: the daemon notices what another connection wrote.
    pub(super) fn write<T>(&self, write: impl FnOnce(&mut Ledger) -> Told<T>) -> Told<T> {
        let settings = self.settings();
        let mut ledger = Ledger::open(&settings.ledger).map_err(refused)?;
        let written = write(&mut ledger)?;
        self.moved();
        Ok(written)
    }

    pub(super) fn list_held(&self) -> Told<Vec<HeldView>> {
        let ground = self.ground()?;
        let held = self.read(&ground, |reader| reader.list_held())?;
        Ok(held.iter().map(held_view).collect())
    }

    pub(super) fn settle_held(&self, id: i64, word: HeldWord) -> Told<HeldDone> {
        let word = match word {
            HeldWord::Confirm => words::HeldWord::Confirm,
            HeldWord::Drop => words::HeldWord::Drop,
        };
        let now = self.clock.now();
        self.write(|ledger| {
            let held = give_held_word(ledger, word, HeldId(id), now).map_err(refused)?;
            held.ok_or_else(|| {
                let message = format!("no held price has the number {id}");
                not_found(message, "it may have been settled meanwhile; look again")
            })?;
            Ok(HeldDone {
                id,
                done: word.done().to_owned(),
            })
        })
    }

    pub(super) fn journal_of(&self, asked: &JournalAsked) -> Told<Journal> {
        let ground = self.ground()?;
        let mut wanted = JournalWanted {
            brief: asked.brief.clone(),
            feed: asked.feed.clone(),
            kind: asked.kind.clone(),
            since: asked.since.as_deref().map(instant).transpose()?,
            after: None,
            before: asked.before,
        };
        let limit = asked.limit.unwrap_or(USUAL).clamp(1, MOST);
        let is_wanted = |line: &JournalLine| asked.without.as_ref() != Some(&line.entry.kind);
        // What is left out is looked through: polls write most of a journal.
        let (at_once, n_looks) = match asked.without {
            None => (limit + 1, 1),
            Some(_) => (MOST, LOOKS),
        };
        let (mut found, mut is_more) = (Vec::new(), true);
        for _ in 0..n_looks {
            if found.len() > limit as usize || !is_more {
                break;
            }
            let lines = self.read(&ground, |reader| reader.journal_of(&wanted, at_once))?;
            is_more = lines.len() == at_once as usize;
            wanted.before = lines.last().map(|last| last.number).or(wanted.before);
            found.extend(lines.into_iter().filter(is_wanted));
        }
        let is_cut = found.len() > limit as usize;
        found.truncate(limit as usize);
        let last = match is_cut {
            true => found.last().map(|last| last.number),
            false => wanted.before.filter(|_| is_more),
        };
        Ok(Journal {
            next: last,
            entries: found.into_iter().map(entry).collect(),
        })
    }

    pub(super) fn outbox_of(&self, state: Option<&str>, limit: Option<u32>) -> Told<Outbox> {
        let ground = self.ground()?;
        let states = match state {
            None => vec![DeliveryState::Waiting, DeliveryState::Dead],
            Some("all") => DeliveryState::ALL.to_vec(),
            Some(name) => {
                let state = DeliveryState::from_name(name).ok_or_else(|| {
                    Refusal::new(
                        RefusalKind::Invalid,
                        format!("\"{name}\" is no state of a delivery"),
                        "say waiting, sent, dead, dropped or all",
                    )
                })?;
                vec![state]
            }
        };
        let limit = limit.unwrap_or(USUAL).clamp(1, MOST);
        let (deliveries, counts) = self.read(&ground, |reader| {
            Ok((
                reader.deliveries(&states, limit)?,
                reader.delivery_counts()?,
            ))
        })?;
        Ok(Outbox {
            waiting: counts.waiting,
            sent: counts.sent,
            dead: counts.dead,
            dropped: counts.dropped,
            deliveries: deliveries.iter().map(delivery_view).collect(),
        })
    }

    pub(super) fn settle_delivery(&self, id: i64, word: OutboxWord) -> Told<OutboxDone> {
        let now = self.clock.now();
        self.write(|ledger| {
            let found = words::delivery(ledger.read(), id).map_err(refused)?;
            let done = match word {
                OutboxWord::Retry => {
                    retry(ledger, &[found], now).map_err(refused)?;
                    "retried"
                }
                OutboxWord::Drop => {
                    drop_delivery(ledger, &found, now).map_err(refused)?;
                    "dropped"
                }
            };
            Ok(OutboxDone {
                done: done.to_owned(),
                ids: vec![id],
            })
        })
    }
}

/// An instant, or the midnight that begins a day.
fn instant(text: &str) -> Told<DateTime<Utc>> {
    match DateTime::parse_from_rfc3339(text) {
        Ok(at) => Ok(at.with_timezone(&Utc)),
        Err(_) => day(text).map(midnight),
    }
}

fn delivery_view(delivery: &Delivery) -> DeliveryView {
    DeliveryView {
        id: delivery.id,
        bulletin: delivery.bulletin.as_str().to_owned(),
        brief: Some(delivery.brief.clone()),
        subject: delivery.subject.clone(),
        channel: delivery.channel.clone(),
        state: delivery.state.name().to_owned(),
        attempts: delivery.attempts,
        at: shown_instant(delivery.at),
        touched: shown_instant(delivery.touched),
        next: delivery.next.map(shown_instant),
        fault: delivery.fault.clone(),
    }
}
