//! Tells that a part costs less than ever before on record, or than in so many days: a part that is
//! named, or else any part of the best build.

use super::{Judged, News, Trigger, name_of};
use crate::catalogue::PartId;
use crate::catalogue::table::Table;
use crate::decide::scene::{Low, Scene};
use crate::decide::shown::short_part;
use crate::money::Currency;
use serde_json::{Value, json};
use std::collections::BTreeMap;
use std::fmt::Write as _;

#[derive(Debug)]
struct Lowest {
    part: Option<PartId>,
    /// `None`: ever.
    days: Option<i64>,
}

pub(super) fn read(table: &mut Table<'_, '_>, _: Currency) -> Option<Box<dyn Trigger>> {
    let part = table.text("part").map(|at| PartId::new(at.value));
    let days = table.integer("days", 1..36_501).map(|at| at.value);
    Some(Box::new(Lowest { part, days }))
}

impl Trigger for Lowest {
    fn key(&self) -> String {
        let part = self.part.as_ref().map_or("", PartId::as_str);
        format!("lowest:{part}:{:?}", self.days)
    }

    fn judge(&self, scene: &Scene<'_>, before: &Value) -> Judged {
        let picks = scene.today.picks.iter().map(|pick| &pick.part);
        let parts: Vec<&PartId> = match &self.part {
            Some(part) => vec![part],
            None => picks.collect(),
        };
        // By part: the low that was told last. It is not told again until it is undercut.
        let mut told: BTreeMap<String, i64> =
            serde_json::from_value(before.clone()).unwrap_or_default();
        let mut found: Vec<(&PartId, Low)> = Vec::new();
        for part in parts {
            let Some(low) = scene.lows.get(&(self.key(), part.clone())).copied() else {
                continue;
            };
            let known = told.get(part.as_str()).copied();
            if low.now.minor() >= low.before.minor() {
                // Above its low it may sink to a new low of the days to come.
                told.remove(part.as_str());
            } else if known != Some(low.now.minor()) {
                told.insert(part.to_string(), low.now.minor());
                found.push((part, low));
            }
        }
        Judged {
            news: (!found.is_empty()).then(|| news(scene, &found)),
            remember: json!(told),
        }
    }

    fn part(&self) -> Option<&PartId> {
        self.part.as_ref()
    }

    fn past(&self) -> Option<Option<i64>> {
        Some(self.days)
    }
}

fn news(scene: &Scene<'_>, found: &[(&PartId, Low)]) -> News {
    let mut text = String::new();
    let mut data = Vec::new();
    for (part, low) in found {
        let name = name_of(scene, part);
        // Writing to a string cannot fail.
        let _ = writeln!(
            text,
            "{name}: {}, the lowest in {} days on record (before: {})",
            low.now, low.days, low.before
        );
        data.push(json!({
            "part": part,
            "price_minor": low.now.minor(),
            "currency": low.now.currency().to_string(),
            "before_minor": low.before.minor(),
            "days": low.days,
        }));
    }
    let subject = match found {
        [(part, low)] => {
            let name = short_part(&name_of(scene, part));
            format!("{name} at its lowest, {}", low.now)
        }
        several => format!("{} parts at their lowest", several.len()),
    };
    News::Fact {
        subject,
        text,
        data: json!({ "lowest": data }),
    }
}
