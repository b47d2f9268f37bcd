//! The outbox of the ledger, as the senders see it.

use super::decision::warn_of_templates;
use super::poll::Polling;
use crate::decide::{BulletinId, digest};
use crate::ledger::{Ledger, LedgerError};
use crate::notify::{Due, Outbox, OutboxFault, Report, Settlement, run_due};
use crate::template::Templates;
use chrono::{DateTime, Utc};
use std::sync::Arc;

/// Delivers what is due.
///
/// # Errors
/// [`OutboxFault`] when the ledger fails.
pub async fn deliver(polling: &Polling, now: DateTime<Utc>) -> Result<Report, OutboxFault> {
    let outbox = LedgerOutbox { polling };
    let settings = Arc::clone(&polling.settings);
    let join = move |ledger: &mut Ledger| join_digests(ledger, &settings.templates, now);
    outbox.run(join).await?;
    run_due(&outbox, &polling.settings.channels, now).await
}

/// Puts a digest in the place of what waited for it. What waited alone goes out as it is.
fn join_digests(
    ledger: &mut Ledger,
    templates: &Templates,
    now: DateTime<Utc>,
) -> Result<(), LedgerError> {
    for due in ledger.read().digests_due(now)? {
        match due.bulletins.as_slice() {
            [one] => ledger.release(&due.channel, &one.id)?,
            several => {
                let (digest, faults) = digest(templates, &due.channel, due.at, several);
                warn_of_templates(&faults);
                ledger.join(&due, &digest, now)?;
            }
        }
    }
    Ok(())
}

struct LedgerOutbox<'p> {
    polling: &'p Polling,
}

impl LedgerOutbox<'_> {
    /// Runs one short transaction away from the threads that serve the network.
    async fn run<T: Send + 'static>(
        &self,
        work: impl FnOnce(&mut Ledger) -> Result<T, LedgerError> + Send + 'static,
    ) -> Result<T, OutboxFault> {
        let polling = self.polling.clone();
        let done = tokio::task::spawn_blocking(move || work(&mut polling.ledger())).await;
        match done {
            Ok(result) => result.map_err(|error| OutboxFault(Box::new(error))),
            Err(panic) => Err(OutboxFault(Box::new(panic))),
        }
    }
}

impl Outbox for LedgerOutbox<'_> {
    async fn due(&self, now: DateTime<Utc>, limit: u32) -> Result<Vec<Due>, OutboxFault> {
        let due = self
            .run(move |ledger| ledger.read().due(now, limit))
            .await?;
        let due = due.into_iter().map(|one| Due {
            bulletin: one.bulletin,
            channel: one.channel,
            attempts: one.attempts,
        });
        Ok(due.collect())
    }

    async fn settle(
        &self,
        bulletin: &BulletinId,
        channel: &str,
        now: DateTime<Utc>,
        settlement: Settlement,
    ) -> Result<(), OutboxFault> {
        let (bulletin, channel) = (bulletin.clone(), channel.to_owned());
        self.run(move |ledger| match settlement {
            Settlement::Sent => ledger.mark_sent(&bulletin, &channel, now),
            Settlement::Retry { fault, next } => {
                ledger.mark_failed(&bulletin, &channel, now, &fault, next)
            }
            Settlement::Postponed { next } => ledger.postpone(&bulletin, &channel, now, next),
            Settlement::Dead { fault } => ledger.mark_dead(&bulletin, &channel, now, &fault),
        })
        .await
    }

    async fn disabled(&self, channel: &str, address: &str) -> Result<Option<String>, OutboxFault> {
        let (channel, address) = (channel.to_owned(), address.to_owned());
        self.run(move |ledger| ledger.read().disabled(&channel, &address))
            .await
    }

    async fn disable(
        &self,
        channel: &str,
        address: &str,
        now: DateTime<Utc>,
        reason: &str,
    ) -> Result<(), OutboxFault> {
        let (channel, address, reason) =
            (channel.to_owned(), address.to_owned(), reason.to_owned());
        self.run(move |ledger| ledger.disable_channel(&channel, &address, now, &reason))
            .await
    }
}
