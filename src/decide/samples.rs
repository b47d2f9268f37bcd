//! Bulletins of every kind about an invented desk, on which the author's templates are tried.

use super::bulletin::Bulletin;
use super::change::{Cause, Change, compare};
use super::dressing::{TEMPLATES, dress};
use super::names::Names;
use super::past_price::PastPrice;
use super::record::{AnswerRecord, PickRecord};
use super::scene::{Doubt, DoubtReason, Scene};
use super::wording::{change, fact};
use crate::catalogue::PartId;
use crate::history::LowerBefore;
use crate::market::{ChangeTerms, RoleId};
use crate::money::{Currency, Money};
use crate::template::Templates;
use chrono::{DateTime, TimeDelta, Utc};
use serde_json::{Value, json};
use std::collections::BTreeMap;

const BEFORE: &str = include_str!("templates/sample-before.json");
const AFTER: &str = include_str!("templates/sample-after.json");
const NONE: &str = include_str!("templates/sample-none.json");

/// One of each kind, some with doubts.
pub fn samples() -> Vec<Bulletin> {
    let records = [BEFORE, AFTER, NONE].map(AnswerRecord::from_json);
    let [Some(before), Some(after), Some(none)] = records else {
        // The tests read them.
        return Vec::new();
    };
    let mut gone = changed(&before, &after);
    if let Change::Build(change) = &mut gone.change {
        change.cause = Cause::Unavailable;
    }
    gone.prices.clear();
    gone.doubts = doubts(&before);
    let again = Scene {
        change: Change::BecamePossible,
        ..changed(&none, &after)
    };
    let first = Scene {
        standing: None,
        change: Change::First,
        ..changed(&before, &after)
    };
    let impossible = Scene {
        change: Change::BecameImpossible,
        ..changed(&before, &none)
    };
    let better = changed(&before, &after);
    let scenes = [&first, &better, &gone, &impossible, &again];
    let bulletins = scenes.into_iter().filter_map(change);
    let facts = facts(&before, &after).into_iter();
    let facts = facts.map(|(kind, news)| fact("desk", (kind, kind), news, &better));
    bulletins
        .chain(facts)
        .map(|bulletin| dressed(bulletin, &after))
        .collect()
}

/// What a trigger of each kind finds.
fn facts(before: &AnswerRecord, after: &AnswerRecord) -> Vec<(&'static str, News)> {
    let out = before.picks.first();
    let comes = after.picks.first();
    let part = comes.map(|pick| pick.part.to_string()).unwrap_or_default();
    let news = |subject: &str, text: &str, data: Value| (subject.to_owned(), text.to_owned(), data);
    vec![
        (
            "pick_lost",
            news(
                "Oskra Lumen 12 GB rose to EUR 455.00",
                "Oskra Lumen 12 GB: EUR 420.00 -> EUR 455.00\n",
                json!({ "lost": [{ "pick": out, "landed_minor_now": 45_500, "replacement": comes }] }),
            ),
        ),
        (
            "target",
            news(
                "Oskra Lumen 16 GB is down to EUR 399.00",
                "Oskra Lumen 16 GB can be had for EUR 399.00; your target is EUR 400.00.\n",
                json!({ "part": part, "landed_minor": 39_900, "target_minor": 40_000 }),
            ),
        ),
        (
            "total",
            news(
                "best build EUR 919.00, below EUR 920.00",
                "The best build costs EUR 919.00 now, below EUR 920.00.\n",
                json!({ "total_minor": 91_900, "threshold_minor": 92_000 }),
            ),
        ),
    ]
}

type News = (String, String, Value);

fn changed<'s>(standing: &'s AnswerRecord, today: &'s AnswerRecord) -> Scene<'s> {
    let currency = Currency::EUR;
    let prices = standing.picks.iter().map(|pick| {
        // The first pick is the one that rose.
        let rise = if pick.role.as_str() == "graphics" {
            3_500
        } else {
            0
        };
        let price = Money::from_minor(pick.landed_minor + rise, currency);
        ((pick.role.clone(), pick.part.clone()), price)
    });
    Scene {
        name: "A quiet desk for games and photos",
        names: names(),
        currency,
        at: at(),
        standing: Some(standing),
        today,
        change: compare(
            Some(standing),
            Some(standing),
            today,
            &ChangeTerms::none(currency),
        ),
        prices: prices.collect::<BTreeMap<(RoleId, PartId), Money>>(),
        asked: BTreeMap::new(),
        lows: BTreeMap::new(),
        edition: None,
        doubts: Vec::new(),
    }
}

fn names() -> Names {
    let named = |(id, name): (&str, &str)| (id.to_owned(), name.to_owned());
    let shops = [("halden", "Halden Parts"), ("northpc", "North PC")];
    let workloads = [
        ("gaming-1440p", "1440p gaming"),
        ("photo-export", "photo export"),
    ];
    Names::new(shops.map(named), workloads.map(named))
}

fn doubts(record: &AnswerRecord) -> Vec<Doubt> {
    let picks = record.picks.iter().take(1);
    let doubt = |pick: &PickRecord| {
        Some(Doubt {
            role: pick.role.clone(),
            part: pick.part.clone(),
            name: pick.name.clone(),
            retailer: pick.retailer.as_ref()?.to_string(),
            why: DoubtReason::Stale,
            seen_at: pick.seen_at.clone()?,
        })
    };
    picks.filter_map(doubt).collect()
}

fn dressed(mut bulletin: Bulletin, after: &AnswerRecord) -> Bulletin {
    let pick = after.picks.first();
    let past = pick.and_then(|pick| {
        let now = Money::from_minor(pick.price_minor?, Currency::EUR);
        let lower_before = LowerBefore::Until(at() - TimeDelta::days(214));
        Some((pick.part.clone(), PastPrice { now, lower_before }))
    });
    let templates = Templates::built_in(&[TEMPLATES]);
    dress(&mut bulletin, &templates, &past.into_iter().collect());
    bulletin
}

fn at() -> DateTime<Utc> {
    // 2026-03-02T09:10:00Z.
    DateTime::UNIX_EPOCH + TimeDelta::seconds(1_772_442_600)
}
