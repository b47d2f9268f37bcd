//! Tells that a pick of the standing build is sold out or dearer by so much, and what replaces it best.

use super::{Judged, News, Trigger};
use crate::catalogue::table::Table;
use crate::decide::record::PickRecord;
use crate::decide::scene::{DoubtReason, Scene};
use crate::decide::shown::short_part;
use crate::money::{Currency, Money};
use serde_json::{Value, json};
use std::collections::BTreeMap;
use std::fmt::Write as _;

#[derive(Debug)]
struct PickLost {
    /// Hundredths of a percent.
    percent: Option<i64>,
    amount: Option<Money>,
}

pub(super) fn read(table: &mut Table<'_, '_>, currency: Currency) -> Option<Box<dyn Trigger>> {
    let percent = table.scaled("rise_percent", 2);
    let amount = table.money("rise", currency);
    Some(Box::new(PickLost {
        percent: percent.map(|at| at.value),
        amount: amount.map(|at| at.value),
    }))
}

impl Trigger for PickLost {
    fn key(&self) -> String {
        let amount = self.amount.map(|amount| amount.to_string());
        format!("pick_lost:{:?}:{amount:?}", self.percent)
    }

    fn judge(&self, scene: &Scene<'_>, before: &Value) -> Judged {
        let Some(standing) = scene.standing else {
            return Judged::nothing(Value::Null);
        };
        // By role and part: the price that was told as risen, or null for sold out.
        let told: BTreeMap<String, Option<i64>> =
            serde_json::from_value(before.clone()).unwrap_or_default();
        let (mut lost, mut remember) = (Vec::new(), BTreeMap::new());
        // What the reader has already cannot be lost.
        for pick in standing.picks.iter().filter(|pick| pick.sku.is_some()) {
            let key = format!("{}={}", pick.role, pick.part);
            let price = scene.prices.get(&(pick.role.clone(), pick.part.clone()));
            let known = told.get(&key).copied();
            match price {
                None => {
                    if known != Some(None) {
                        lost.push((pick, None));
                    }
                    remember.insert(key, None);
                }
                Some(now) if self.has_risen(pick.landed_minor, now.minor()) => {
                    let level = known.flatten();
                    if level.is_none_or(|level| self.has_risen(level, now.minor())) {
                        lost.push((pick, Some(*now)));
                        remember.insert(key, Some(now.minor()));
                    } else {
                        remember.insert(key, level);
                    }
                }
                Some(_) => {}
            }
        }
        Judged {
            news: (!lost.is_empty()).then(|| news(scene, &lost)),
            remember: json!(remember),
        }
    }
}

impl PickLost {
    fn has_risen(&self, before: i64, now: i64) -> bool {
        let more = i128::from(now) - i128::from(before);
        // Exact in integers: more / before >= percent / 10,000.
        let share = |least: i64| more * 10_000 >= i128::from(least) * i128::from(before);
        let by_share = self.percent.is_some_and(share);
        let by_amount = |least: Money| more >= i128::from(least.minor());
        more > 0 && (by_share || self.amount.is_some_and(by_amount))
    }
}

type Lost<'p> = (&'p PickRecord, Option<Money>);

fn news(scene: &Scene<'_>, lost: &[Lost<'_>]) -> News {
    let own = scene.currency;
    let mut text = String::new();
    let mut data = Vec::new();
    for (pick, now) in lost {
        let was = Money::from_minor(pick.landed_minor, own);
        let doubt = scene.doubts.iter().find(|one| one.part == pick.part);
        let name = &pick.name;
        // Writing to a string cannot fail. Pitfall N11: a price that nobody confirmed did not rise.
        let _ = match (now, doubt.map(|doubt| doubt.why)) {
            (Some(now), _) => writeln!(text, "{name}: {was} -> {now}"),
            (None, Some(DoubtReason::Stale)) => {
                writeln!(text, "{name}: its shop has not been read lately")
            }
            (None, _) => writeln!(text, "{name}: cannot be had within the brief any more"),
        };
        let replacement = replacement(scene, pick);
        let _ = match replacement {
            Some(other) => writeln!(
                text,
                "  best instead: {} for {}",
                other.name,
                Money::from_minor(other.landed_minor, own)
            ),
            None if now.is_some() => writeln!(text, "  it stays in the best build"),
            None => writeln!(text, "  nothing can take its place"),
        };
        data.push(json!({
            "pick": pick,
            "landed_minor_now": now.map(|now| now.minor()),
            "replacement": replacement,
        }));
    }
    let subject = match lost {
        [(pick, Some(now))] => format!("{} rose to {now}", short_part(&pick.name)),
        [(pick, None)] => format!("{} cannot be had any more", short_part(&pick.name)),
        several => format!("{} picks rose or are gone", several.len()),
    };
    News::Fact {
        subject,
        text,
        data: json!({ "lost": data }),
    }
}

/// What today's best build has in the pick's seat, if it is another part.
fn replacement<'s>(scene: &'s Scene<'_>, pick: &PickRecord) -> Option<&'s PickRecord> {
    let mut picks = scene.today.picks.iter();
    picks.find(|other| other.role == pick.role && other.part != pick.part)
}
