//! `rigtide outbox`: bulletins on their way, tried again or dropped by a person.
//!
//! `--json` gives a list, newest first:
//!
//! ```text
//! [{ id, bulletin, brief, subject, channel, state, attempts, at, touched, next, fault }]
//! ```
//!
//! `state` is `waiting`, `sent`, `dead` (given up by the program) or `dropped` (by a person); `next`
//! is set while it waits. `retry` and `drop` give `{ done, ids [] }`, `done` being `retried` or
//! `dropped`.

use crate::cli::args::{OutboxArguments, OutboxCommand, OutboxListArguments, Output, StateWord};
use crate::cli::report::Failure;
use crate::cli::screen::{Screen, Set, Tone, columns, harmless, harmless_source, shortened};
use crate::cli::wire::Place;
use crate::decide::shown_instant;
use crate::ledger::{Delivery, DeliveryState, Ledger};
use crate::watch::clock::Clock;
use crate::watch::words;
use serde_json::{Value, json};
use std::path::Path;

pub fn run(directory: &Path, arguments: &OutboxArguments, screen: &Screen) -> Result<(), Failure> {
    let place = Place::of(directory)?;
    match &arguments.command {
        None => list(&place, &arguments.list, screen),
        Some(OutboxCommand::List(wanted)) => list(&place, wanted, screen),
        Some(OutboxCommand::Retry { id, output, .. }) => retry(&place, *id, *output, screen),
        Some(OutboxCommand::Drop { id, output }) => give_up(&place, *id, *output, screen),
    }
}

/// What to do about dead letters, where there are any.
pub fn warning(dead: u64) -> Option<String> {
    let (bulletins, each) = match dead {
        0 => return None,
        1 => ("1 bulletin was".to_owned(), "it"),
        many => (format!("{many} bulletins were"), "each"),
    };
    Some(format!(
        "warning: {bulletins} given up and not delivered; `rigtide outbox` tells why, \
         `rigtide outbox retry --all` tries {each} again"
    ))
}

fn list(place: &Place, wanted: &OutboxListArguments, screen: &Screen) -> Result<(), Failure> {
    let states: &[DeliveryState] = match wanted.state {
        None => &[DeliveryState::Waiting, DeliveryState::Dead],
        Some(StateWord::All) => &DeliveryState::ALL,
        Some(StateWord::Waiting) => &[DeliveryState::Waiting],
        Some(StateWord::Sent) => &[DeliveryState::Sent],
        Some(StateWord::Dead) => &[DeliveryState::Dead],
        Some(StateWord::Dropped) => &[DeliveryState::Dropped],
    };
    let (deliveries, counts) = match place.existing_reader()? {
        None => Default::default(),
        Some(reader) => {
            let deliveries = reader.deliveries(states, wanted.limit);
            let counts = reader.delivery_counts();
            (
                deliveries.map_err(|error| Failure::Ledger(error.into()))?,
                counts.map_err(|error| Failure::Ledger(error.into()))?,
            )
        }
    };
    if wanted.output.json {
        let records: Vec<Value> = deliveries.iter().map(record).collect();
        screen.line(harmless_source(&Value::from(records).to_string()));
        return Ok(());
    }
    table(&deliveries, screen)
        .iter()
        .for_each(|line| screen.line(line));
    screen.line(format!(
        "{} waiting, {} sent, {} dead, {} dropped",
        counts.waiting, counts.sent, counts.dead, counts.dropped
    ));
    if let Some(warning) = warning(counts.dead) {
        screen.line(screen.tone(Tone::Strong, &warning));
    }
    Ok(())
}

fn retry(place: &Place, id: Option<i64>, output: Output, screen: &Screen) -> Result<(), Failure> {
    let mut ledger = opened(place, id)?;
    let of_ledger = |error: crate::ledger::LedgerError| Failure::Ledger(error.into());
    let wanted = match id {
        Some(id) => vec![words::delivery(ledger.read(), id)?],
        None => {
            let states = [DeliveryState::Waiting, DeliveryState::Dead];
            let found = ledger.read().deliveries(&states, u32::MAX);
            let mut failed = found.map_err(of_ledger)?;
            failed.retain(has_failed);
            failed
        }
    };
    let now = Clock::from_environment().now();
    words::retry(&mut ledger, &wanted, now)?;
    told("retried", &wanted, output, screen);
    if wanted.is_empty() && !output.json {
        screen.line("no delivery was given up or waits for a later try");
    }
    Ok(())
}

/// Whether the last try failed. What waits for its hour or for a digest was not tried yet, and stays put.
fn has_failed(delivery: &Delivery) -> bool {
    delivery.state == DeliveryState::Dead || delivery.attempts > 0
}

fn give_up(place: &Place, id: i64, output: Output, screen: &Screen) -> Result<(), Failure> {
    let mut ledger = opened(place, Some(id))?;
    let delivery = words::delivery(ledger.read(), id)?;
    let now = Clock::from_environment().now();
    words::drop_delivery(&mut ledger, &delivery, now)?;
    told("dropped", &[delivery], output, screen);
    Ok(())
}

/// The ledger for writing; a delivery of one that does not exist is unknown.
fn opened(place: &Place, id: Option<i64>) -> Result<Ledger, Failure> {
    match id {
        Some(id) if !place.ledger.exists() => Err(words::unknown_delivery(id).into()),
        _ => place.writer(),
    }
}

fn told(done: &str, deliveries: &[Delivery], output: Output, screen: &Screen) {
    if output.json {
        let ids: Vec<i64> = deliveries.iter().map(|delivery| delivery.id).collect();
        screen.line(json!({ "done": done, "ids": ids }).to_string());
        return;
    }
    for delivery in deliveries {
        let Delivery {
            id,
            channel,
            subject,
            ..
        } = delivery;
        screen.line(harmless(&format!("{done}: {id}, {subject} ({channel})")));
    }
}

fn record(delivery: &Delivery) -> Value {
    json!({
        "id": delivery.id,
        "bulletin": delivery.bulletin.as_str(),
        "brief": delivery.brief,
        "subject": delivery.subject,
        "channel": delivery.channel,
        "state": delivery.state.name(),
        "attempts": delivery.attempts,
        "at": shown_instant(delivery.at),
        "touched": shown_instant(delivery.touched),
        "next": delivery.next.map(shown_instant),
        "fault": delivery.fault,
    })
}

fn table(deliveries: &[Delivery], screen: &Screen) -> Vec<String> {
    const SUBJECT: usize = 60;
    if deliveries.is_empty() {
        return Vec::new();
    }
    let heading = [
        "id",
        "state",
        "channel",
        "failed",
        "next or last",
        "subject",
    ];
    let mut rows: Vec<Vec<String>> = vec![heading.iter().map(|&text| text.to_owned()).collect()];
    for delivery in deliveries {
        rows.push(vec![
            delivery.id.to_string(),
            delivery.state.name().to_owned(),
            harmless(&delivery.channel),
            delivery.attempts.to_string(),
            shown_instant(delivery.next.unwrap_or(delivery.touched)),
            harmless(&shortened(&delivery.subject, SUBJECT)),
        ]);
    }
    let (left, right) = (Set::Left, Set::Right);
    let mut lines = columns(&rows, &[right, left, left, right, left, left]).into_iter();
    let heading = lines.next().unwrap_or_default();
    let mut shown = vec![screen.tone(Tone::Quiet, &heading)];
    for (line, delivery) in lines.zip(deliveries) {
        shown.push(line);
        // Why the last attempt failed stands below.
        let fault = delivery.fault.iter();
        shown.extend(fault.map(|fault| format!("    {}", harmless(fault))));
    }
    shown
}
