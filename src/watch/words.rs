//! A person's word on what waits for one: a held observation, a bulletin on its way.

use super::asking::AskFault;
use crate::ledger::{
    Delivery, DeliveryState, HeldId, HeldOffer, JournalEntry, Ledger, LedgerError, Reader,
};
use chrono::{DateTime, Utc};
use serde_json::json;

/// A person's word on a held observation.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum HeldWord {
    Confirm,
    Drop,
}

impl HeldWord {
    /// What it did.
    pub fn done(self) -> &'static str {
        match self {
            HeldWord::Confirm => "confirmed",
            HeldWord::Drop => "dropped",
        }
    }
}

/// Gives a word on a held observation. `None` where none of this number waits, or no longer.
///
/// # Errors
/// [`LedgerError`]
pub fn give_held_word(
    ledger: &mut Ledger,
    word: HeldWord,
    id: HeldId,
    now: DateTime<Utc>,
) -> Result<Option<HeldOffer>, LedgerError> {
    let waiting = ledger.read().list_held()?;
    let Some(held) = waiting.into_iter().find(|held| held.id == id) else {
        return Ok(None);
    };
    let applied = match word {
        HeldWord::Confirm => ledger.confirm_held(held.id, now)?,
        HeldWord::Drop => ledger.drop_held(held.id)?,
    };
    if !applied {
        return Ok(None);
    }
    ledger.note(&[JournalEntry {
        at: now,
        kind: format!("held_{}", word.done()),
        feed: Some(held.feed.clone()),
        brief: None,
        part: held.part.clone(),
        text: format!("{} by hand: {}", word.done(), described(&held)),
        data: json!({ "id": held.id.0, "price_minor": held.price.minor() }),
    }])?;
    Ok(Some(held))
}

/// A held observation in a few words.
pub fn described(held: &HeldOffer) -> String {
    let (feed, sku, title) = (&held.feed, &held.sku, &held.title);
    format!("{} for {title} ({feed} {sku})", held.price)
}

/// A delivery by its number.
///
/// # Errors
/// [`AskFault`]
pub fn delivery(reader: &Reader, id: i64) -> Result<Delivery, AskFault> {
    reader.delivery(id)?.ok_or_else(|| unknown_delivery(id))
}

/// That no delivery has the number.
pub fn unknown_delivery(id: i64) -> AskFault {
    AskFault::unknown(
        format!("no delivery has the number {id}"),
        "`rigtide outbox list --state all` lists them",
    )
}

/// Tries deliveries again. A single one that was sent is refused.
///
/// # Errors
/// [`AskFault`]; then nothing has changed.
pub fn retry(ledger: &mut Ledger, wanted: &[Delivery], now: DateTime<Utc>) -> Result<(), AskFault> {
    if let [only] = wanted {
        refuse_sent(only, "it is not sent twice")?;
    }
    let ids: Vec<i64> = wanted.iter().map(|delivery| delivery.id).collect();
    let entries: Vec<JournalEntry> = wanted
        .iter()
        .map(|delivery| entry(delivery, "delivery_retried", "is tried again", now))
        .collect();
    ledger.retry_deliveries(&ids, now, &entries)?;
    Ok(())
}

/// Gives a delivery up.
///
/// # Errors
/// [`AskFault`]; then nothing has changed.
pub fn drop_delivery(
    ledger: &mut Ledger,
    delivery: &Delivery,
    now: DateTime<Utc>,
) -> Result<(), AskFault> {
    refuse_sent(delivery, "there is nothing to drop")?;
    let entries = [entry(delivery, "delivery_dropped", "was dropped", now)];
    ledger.drop_delivery(delivery.id, now, &entries)?;
    Ok(())
}

fn refuse_sent(delivery: &Delivery, hint: &str) -> Result<(), AskFault> {
    match delivery.state {
        DeliveryState::Sent => {
            let message = format!("delivery {} was sent", delivery.id);
            Err(AskFault::senseless(message, hint))
        }
        DeliveryState::Waiting | DeliveryState::Dead | DeliveryState::Dropped => Ok(()),
    }
}

fn entry(delivery: &Delivery, kind: &str, what: &str, at: DateTime<Utc>) -> JournalEntry {
    let Delivery { id, channel, .. } = delivery;
    JournalEntry {
        at,
        kind: kind.to_owned(),
        feed: None,
        brief: Some(delivery.brief.clone()),
        part: None,
        text: format!("\"{}\" for {channel} {what}", delivery.subject),
        data: json!({ "delivery": id, "bulletin": delivery.bulletin.as_str(), "channel": channel }),
    }
}
