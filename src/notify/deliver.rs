//! One round of delivery: what is due goes to its channels, and the outbox learns the outcome.

use super::backoff::{ATTEMPTS_MAX, backoff};
use super::channel::{Channel, DeliveryFault, Pause};
use crate::decide::{Bulletin, BulletinId};
use chrono::{DateTime, TimeDelta, Utc};
use std::collections::BTreeMap;
use std::error::Error;
use std::sync::Arc;
use std::time::Duration;
use tokio::sync::mpsc;
use tokio::task::JoinSet;

/// The channels that the settings define, by name.
pub type Channels = BTreeMap<String, Arc<dyn Channel>>;

/// Deliveries of one round; the rest waits for the next.
const ROUND_MAX: u32 = 64;
/// No receiver is left alone for longer, whatever it asks for.
const PAUSE_MAX: Duration = Duration::from_secs(24 * 3600);

/// Where bulletins wait. What a call acknowledged must survive the process.
pub trait Outbox: Sync {
    /// Deliveries that are due, oldest first.
    fn due(
        &self,
        now: DateTime<Utc>,
        limit: u32,
    ) -> impl Future<Output = Result<Vec<Due>, OutboxFault>> + Send;

    /// Records what came of a delivery.
    fn settle(
        &self,
        bulletin: &BulletinId,
        channel: &str,
        now: DateTime<Utc>,
        settlement: Settlement,
    ) -> impl Future<Output = Result<(), OutboxFault>> + Send;

    /// Why the channel at this address was disabled, if it was.
    fn disabled(
        &self,
        channel: &str,
        address: &str,
    ) -> impl Future<Output = Result<Option<String>, OutboxFault>> + Send;

    /// Remembers that the receiver at this address wants no more.
    fn disable(
        &self,
        channel: &str,
        address: &str,
        now: DateTime<Utc>,
        reason: &str,
    ) -> impl Future<Output = Result<(), OutboxFault>> + Send;
}

/// The outbox cannot be read or written.
#[derive(Debug, thiserror::Error)]
#[error("the outbox cannot be used")]
pub struct OutboxFault(#[source] pub Box<dyn Error + Send + Sync>);

/// A bulletin that a channel should deliver now.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Due {
    pub bulletin: Bulletin,
    pub channel: String,
    /// Attempts that failed so far.
    pub attempts: u32,
}

/// What came of a delivery.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Settlement {
    Sent,
    /// An attempt failed; the next is at `next`.
    Retry {
        fault: String,
        next: DateTime<Utc>,
    },
    /// Put off without an attempt, because one before it failed.
    Postponed {
        next: DateTime<Utc>,
    },
    /// Given up.
    Dead {
        fault: String,
    },
}

/// What a round did.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Report {
    pub sent: u32,
    pub retried: u32,
    pub postponed: u32,
    /// Channel, bulletin and reason of each delivery given up.
    pub dead: Vec<(String, BulletinId, String)>,
    /// Channels that their receivers closed in this round, with the reason.
    pub disabled: Vec<(String, String)>,
}

/// What one attempt led to.
type Attempt = (Due, Result<(), DeliveryFault>);

/// Delivers what is due at `now`. Channels work side by side; within one, bulletins go oldest
/// first, and the first passing fault ends its round.
///
/// Dropping the future stops it; what was sent and not yet recorded will be sent again with the
/// same id.
///
/// # Errors
/// [`OutboxFault`] when the outbox fails; nothing more is sent then.
pub async fn run_due<O: Outbox>(
    outbox: &O,
    channels: &Channels,
    now: DateTime<Utc>,
) -> Result<Report, OutboxFault> {
    let mut round = Round {
        outbox,
        now,
        waiting: BTreeMap::new(),
        report: Report::default(),
    };
    for due in outbox.due(now, ROUND_MAX).await? {
        let queue = round.waiting.entry(due.channel.clone()).or_default();
        queue.push(due);
    }
    round.drop_undeliverable(channels).await?;

    let (attempts, mut outcomes) = mpsc::channel(1);
    let mut senders = JoinSet::new();
    for (name, queue) in &round.waiting {
        if let Some(channel) = channels.get(name) {
            let send = send_in_turn(Arc::clone(channel), queue.clone(), attempts.clone());
            senders.spawn(send);
        }
    }
    drop(attempts);
    while let Some((due, outcome)) = outcomes.recv().await {
        round.settle(channels, &due, outcome).await?;
    }
    // The channel ends when every sender has; what is left then was held up or its sender broke.
    while let Some(ended) = senders.join_next().await {
        if let Err(error) = ended {
            tracing::error!(%error, "a channel broke");
        }
    }
    round.retry_broken().await?;
    Ok(round.report)
}

/// Sends until the queue is empty or a fault speaks against going on.
async fn send_in_turn(channel: Arc<dyn Channel>, queue: Vec<Due>, attempts: mpsc::Sender<Attempt>) {
    for due in queue {
        let outcome = channel.send(&due.bulletin).await;
        let goes_on = matches!(outcome, Ok(()) | Err(DeliveryFault::Permanent { .. }));
        // Nobody listens any more when the outbox has failed.
        if attempts.send((due, outcome)).await.is_err() || !goes_on {
            return;
        }
    }
}

struct Round<'o, O> {
    outbox: &'o O,
    now: DateTime<Utc>,
    /// What is not settled yet, by channel.
    waiting: BTreeMap<String, Vec<Due>>,
    report: Report,
}

impl<O: Outbox> Round<'_, O> {
    /// Gives up what has no channel, or one that was disabled in an earlier round.
    async fn drop_undeliverable(&mut self, channels: &Channels) -> Result<(), OutboxFault> {
        let names: Vec<String> = self.waiting.keys().cloned().collect();
        for name in names {
            let reason = match channels.get(&name) {
                None => Some("the settings have no channel of this name".to_owned()),
                Some(channel) => self.outbox.disabled(&name, &channel.address()).await?,
            };
            if let Some(reason) = reason {
                self.give_up_all(&name, &reason).await?;
            }
        }
        Ok(())
    }

    /// Records one attempt and what follows from it for its channel.
    async fn settle(
        &mut self,
        channels: &Channels,
        due: &Due,
        outcome: Result<(), DeliveryFault>,
    ) -> Result<(), OutboxFault> {
        match outcome {
            Ok(()) => {
                self.record(due, Settlement::Sent).await?;
                self.report.sent += 1;
            }
            Err(DeliveryFault::Permanent { reason }) => self.give_up(due, &reason).await?,
            Err(DeliveryFault::Passing { reason, pause }) => {
                let next = self.retry(due, reason, pause).await?;
                for later in self.take_waiting(&due.channel) {
                    self.record(&later, Settlement::Postponed { next }).await?;
                    self.report.postponed += 1;
                }
            }
            Err(DeliveryFault::Unwanted { reason }) => {
                if let Some(channel) = channels.get(&due.channel) {
                    let (outbox, address) = (self.outbox, channel.address());
                    outbox
                        .disable(&due.channel, &address, self.now, &reason)
                        .await?;
                }
                let closed = (due.channel.clone(), reason.clone());
                self.report.disabled.push(closed);
                self.give_up_all(&due.channel, &reason).await?;
            }
        }
        Ok(())
    }

    /// Plans another attempt, or gives up after the last; returns when the channel may go on.
    async fn retry(
        &mut self,
        due: &Due,
        fault: String,
        pause: Pause,
    ) -> Result<DateTime<Utc>, OutboxFault> {
        let attempts = due.attempts.saturating_add(1);
        let next = next_attempt(self.now, attempts, due, pause);
        if attempts >= ATTEMPTS_MAX {
            let reason = format!("given up after {attempts} attempts: {fault}");
            self.give_up(due, &reason).await?;
        } else {
            tracing::warn!(
                channel = due.channel, bulletin.id = %due.bulletin.id, attempts, %next,
                "a bulletin was not delivered: {fault}"
            );
            self.record(due, Settlement::Retry { fault, next }).await?;
            self.report.retried += 1;
        }
        Ok(next)
    }

    /// A sender that ended without an outcome has panicked.
    async fn retry_broken(&mut self) -> Result<(), OutboxFault> {
        let left = std::mem::take(&mut self.waiting);
        for due in left.into_values().flatten() {
            let fault = "the channel stopped unexpectedly".to_owned();
            self.retry(&due, fault, Pause::Unsaid).await?;
        }
        Ok(())
    }

    async fn give_up_all(&mut self, channel: &str, reason: &str) -> Result<(), OutboxFault> {
        for due in self.take_waiting(channel) {
            self.give_up(&due, reason).await?;
        }
        Ok(())
    }

    async fn give_up(&mut self, due: &Due, reason: &str) -> Result<(), OutboxFault> {
        let fault = reason.to_owned();
        self.record(due, Settlement::Dead { fault }).await?;
        let letter = (
            due.channel.clone(),
            due.bulletin.id.clone(),
            reason.to_owned(),
        );
        self.report.dead.push(letter);
        Ok(())
    }

    async fn record(&mut self, due: &Due, settlement: Settlement) -> Result<(), OutboxFault> {
        let (outbox, id) = (self.outbox, &due.bulletin.id);
        outbox
            .settle(id, &due.channel, self.now, settlement)
            .await?;
        if let Some(queue) = self.waiting.get_mut(&due.channel) {
            queue.retain(|waiting| waiting.bulletin.id != *id);
        }
        Ok(())
    }

    fn take_waiting(&self, channel: &str) -> Vec<Due> {
        self.waiting.get(channel).cloned().unwrap_or_default()
    }
}

/// Not before the backoff is over, and not before the receiver wants to hear again.
fn next_attempt(now: DateTime<Utc>, attempts: u32, due: &Due, pause: Pause) -> DateTime<Utc> {
    let own = backoff(attempts, &due.bulletin.id, &due.channel);
    let asked = match pause {
        Pause::Unsaid => Duration::ZERO,
        Pause::For(pause) => pause,
        Pause::Until(at) => (at - now).to_std().unwrap_or(Duration::ZERO),
    };
    let wait = own.max(asked).min(PAUSE_MAX);
    let wait = TimeDelta::from_std(wait).unwrap_or(TimeDelta::days(1));
    now.checked_add_signed(wait).unwrap_or(now)
}

#[cfg(test)]
mod tests;
