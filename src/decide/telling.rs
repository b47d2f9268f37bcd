//! How a brief wants to be told: what it asks for, and how long a change must hold.

use super::ask::Ask;
use crate::catalogue::PartId;
use crate::catalogue::table::{Table, nearest};
use crate::money::Currency;
use chrono::TimeDelta;

/// What a brief's `[telling]` and `[[tell]]` say.
#[derive(Debug)]
pub struct Telling {
    /// A change of the best build has to last so long before it is told.
    pub hold: TimeDelta,
    /// A price that its source has not confirmed for longer is stale.
    pub stale_after: Option<TimeDelta>,
    pub on_doubt: OnDoubt,
    /// Whether the first answer to the brief is told.
    pub tells_first: bool,
    pub asks: Vec<Ask>,
}

/// What happens to an answer that rests on a held or a stale price.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum OnDoubt {
    /// It is told and says so.
    Say,
    /// It waits until the price is confirmed or another answer is best.
    Wait,
}

const ON_DOUBT: &[(&str, OnDoubt)] = &[("say", OnDoubt::Say), ("wait", OnDoubt::Wait)];

impl Telling {
    /// Every change of the best build, at once, to the brief's channels.
    pub fn usual(channels: &[String]) -> Telling {
        Telling {
            hold: TimeDelta::zero(),
            stale_after: None,
            on_doubt: OnDoubt::Say,
            tells_first: true,
            asks: vec![Ask::usual(channels)],
        }
    }

    /// Takes `[telling]` and `[[tell]]` out of a brief's table and leaves the rest of it to others.
    pub fn read(
        root: &mut Table<'_, '_>,
        currency: Option<Currency>,
        channels: &[String],
    ) -> Telling {
        let mut telling = Telling::usual(channels);
        if let Some(table) = root.table("telling") {
            telling.put(table);
        }
        let asked = root.tables("tell");
        if !asked.is_empty() {
            let asked = asked.into_iter();
            // Without a currency no amount can be read, and that it is missing is said elsewhere.
            let asks = currency.map(|currency| {
                let asks = asked.filter_map(|table| Ask::read(table, currency, channels));
                asks.collect()
            });
            telling.asks = asks.unwrap_or_default();
        }
        telling
    }

    fn put(&mut self, mut table: Table<'_, '_>) {
        if let Some(hold) = table.integer("hold_minutes", 0..100_001) {
            self.hold = TimeDelta::minutes(hold.value);
        }
        if let Some(hours) = table.integer("stale_hours", 1..8_761) {
            self.stale_after = Some(TimeDelta::hours(hours.value));
        }
        if let Some(first) = table.flag("first") {
            self.tells_first = first.value;
        }
        if let Some(word) = table.text("on_doubt") {
            let known = ON_DOUBT.iter().find(|(name, _)| *name == word.value);
            if known.is_none() {
                let names = ON_DOUBT.iter().map(|(name, _)| *name);
                let remedy = match nearest(&word.value, names) {
                    Some(near) => format!("did you mean \"{near}\"?"),
                    None => "write \"say\" or \"wait\"".to_owned(),
                };
                let message = format!("`on_doubt` is \"{}\"", word.value);
                table.document().fault(&word.span, message, remedy);
            }
            self.on_doubt = known.map_or(OnDoubt::Say, |(_, known)| *known);
        }
        table.finish();
    }

    /// Something asks whether the published guide is still true.
    pub fn reads_edition(&self) -> bool {
        self.asks.iter().any(|ask| ask.trigger.reads_edition())
    }

    /// The parts whose prices are asked about by name.
    pub fn parts(&self) -> impl Iterator<Item = &PartId> {
        self.asks.iter().filter_map(|ask| ask.trigger.part())
    }
}
