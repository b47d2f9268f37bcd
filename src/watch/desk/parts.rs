//! The catalogue's parts: the list, one of them, and the past of its price.

use super::kept::Ground;
use super::overview::Seen;
use super::refusal::refused;
use super::{DaemonDesk, EFFORT, past as shape};
use crate::catalogue::spec::Shape;
use crate::catalogue::{Part, PartId, value_json};
use crate::decide::shown_instant;
use crate::ledger::CurrentOffer;
use crate::market::{Condition, Listed, RetailerId};
use crate::money::{Currency, Money};
use crate::optimise::Effort;
use crate::watch::asking::part_named;
use crate::watch::join;
use crate::watch::past::{Past, PastWanted};
use crate::watch::reasons::entries_of;
use crate::watch::settings::Settings;
use crate::web::desk::{PartsAsked, PastAsked, Told};
use crate::web::view::{
    EntryLine, KindCount, OfferView, PartLine, PartList, PartPage, PastView, RateView, Refusal,
    RefusalKind, SpecView, UseView, WhatIf,
};
use chrono::NaiveDate;
use serde_json::Value;
use std::collections::BTreeMap;
use std::sync::Arc;
use std::time::{Duration, Instant};

/// Parts of one page.
const PAGE: usize = 50;
/// Once so long was spent on the entry prices of a part, no further brief is asked.
const ENTRIES_PATIENCE: Duration = Duration::from_secs(2);
/// A search for one of them goes on no longer, by the solver's count.
const ENTRIES_EFFORT: Effort = Effort {
    seconds_per_solve: 2.0,
    ..EFFORT
};

/// What the market of now knows of a part.
#[derive(Default, Clone, Copy)]
struct Offered {
    offers: u64,
    lowest: Option<Money>,
}

impl DaemonDesk {
    pub(super) fn list_parts(&self, asked: &PartsAsked) -> Told<PartList> {
        let ground = self.ground()?;
        let seen = self.seen(&ground)?;
        let offered = self.offered(&ground)?;
        let words: Vec<String> = asked
            .query
            .as_deref()
            .unwrap_or_default()
            .split_whitespace()
            .map(str::to_lowercase)
            .collect();
        let parts = ground.settings.catalogue.parts.values();
        let has_words: Vec<&Part> = parts.filter(|part| has(part, &words)).collect();
        let mut kinds: BTreeMap<_, u64> = BTreeMap::new();
        for part in &has_words {
            *kinds.entry(part.kind).or_default() += 1;
        }
        let of_kind = has_words.into_iter().filter(|part| {
            let kind = asked.kind.as_deref();
            kind.is_none_or(|kind| part.kind.name() == kind)
        });
        let mut found: Vec<&Part> = of_kind.collect();
        found.sort_by(|one, other| {
            let key = |part: &Part| (part.kind, part.name.to_lowercase());
            key(one)
                .cmp(&key(other))
                .then_with(|| one.id.cmp(&other.id))
        });
        let pages = found.len().div_ceil(PAGE).max(1);
        let page = usize::try_from(asked.page.unwrap_or(1)).unwrap_or(pages);
        let page = page.clamp(1, pages);
        let shown = found.iter().skip((page - 1) * PAGE).take(PAGE);
        Ok(PartList {
            kind: asked.kind.clone(),
            query: asked.query.clone(),
            page: u32::try_from(page).unwrap_or(u32::MAX),
            pages: u32::try_from(pages).unwrap_or(u32::MAX),
            total: found.len() as u64,
            kinds: kinds
                .into_iter()
                .map(|(kind, parts)| KindCount {
                    kind: kind.name().to_owned(),
                    parts,
                })
                .collect(),
            parts: shown.map(|part| part_line(part, &seen, &offered)).collect(),
        })
    }

    fn offered(&self, ground: &Arc<Ground>) -> Told<Arc<BTreeMap<PartId, Offered>>> {
        self.kept.look(ground, "offered".to_owned(), || {
            let listed = ground.listed(|| self.read(ground, |reader| reader.listed(None)))?;
            let mut offered: BTreeMap<PartId, Offered> = BTreeMap::new();
            for one in listed.iter() {
                count(offered.entry(one.part.clone()).or_default(), one);
            }
            Ok(offered)
        })
    }

    pub(super) fn part_page(&self, part: &str) -> Told<PartPage> {
        let ground = self.ground()?;
        let settings = &ground.settings;
        let id = part_named(settings, part).map_err(refused)?;
        let Some(part) = settings.catalogue.parts.get(&id) else {
            return Err(Refusal::new(RefusalKind::NotFound, "no such part", ""));
        };
        let seen = self.seen(&ground)?;
        let offers = self.read(&ground, |reader| reader.current_offers())?;
        let own = offers.iter().filter(|one| one.part.part == id.as_str());
        let mut offers: Vec<OfferView> = own.map(|one| offer_view(&ground, one)).collect();
        offers.sort_by(|one, other| {
            let key = |offer: &OfferView| (offer.currency.clone(), offer.price_minor);
            key(one).cmp(&key(other))
        });
        Ok(PartPage {
            part: id.to_string(),
            kind: part.kind.name().to_owned(),
            name: part.name.clone(),
            brand: part.brand.as_deref().map(str::to_owned),
            mpns: part.mpns.clone(),
            gtins: part.gtins.iter().map(ToString::to_string).collect(),
            specs: specs(part),
            rates: rates(&ground, part),
            offers,
            used_in: uses(&seen, &id),
        })
    }

    pub(super) fn past_of(&self, part: &str, asked: &PastAsked) -> Told<PastView> {
        let ground = self.ground()?;
        let since = asked.since.as_deref().map(day).transpose()?;
        let wanted = PastWanted {
            since,
            retailers: asked.retailers.clone(),
            target: asked.target.clone(),
            ..PastWanted::of(part)
        };
        let now = self.clock.now();
        let mut past = self.ask(&ground, |reader| {
            Past::read(&ground.settings, reader, &wanted, now)
        })?;
        if past.intervals.is_empty() {
            part_named(&ground.settings, part).map_err(refused)?;
        }
        let all = self.read(&ground, |reader| reader.series(part))?;
        let mut retailers: Vec<String> = all.iter().map(|one| one.retailer.to_string()).collect();
        retailers.sort();
        retailers.dedup();
        let entry_prices = self.entries_of_part(&ground, part);
        for ware in &mut past.wares {
            ware.target = ware
                .target
                .or_else(|| highest(&entry_prices, ware.kind.currency));
        }
        Ok(PastView {
            since: asked.since.clone(),
            target: asked.target.clone(),
            retailer_names: names(&retailers, &ground.settings),
            retailers,
            entry_prices,
            ..shape::past_view(&past)
        })
    }

    /// Entry prices of the part in every brief: those that are kept, and of the others as many as can be worked
    /// out in a moment.
    fn entries_of_part(&self, ground: &Arc<Ground>, part: &str) -> Vec<EntryLine> {
        let begun = Instant::now();
        let mut found = Vec::new();
        let id = PartId::new(part);
        if !ground.settings.catalogue.parts.contains_key(&id) {
            return found;
        }
        for brief in &ground.settings.briefs {
            let name = brief.id.as_str();
            let key = format!("entries of {part} in {name}");
            let kept = self.kept.known::<Vec<EntryLine>>(ground, &key);
            let lines = match kept {
                None if begun.elapsed() >= ENTRIES_PATIENCE => continue,
                // Without it the rest of the page is still worth seeing.
                None => self
                    .solve(ground, key, || self.entries_in(ground, name, &id))
                    .ok(),
                kept => kept,
            };
            found.extend(lines.iter().flat_map(|lines| lines.iter().cloned()));
        }
        found
    }

    fn entries_in(&self, ground: &Ground, brief: &str, part: &PartId) -> Told<Vec<EntryLine>> {
        let asked = self.asked(ground, brief, &WhatIf::default())?;
        let prices = entries_of(&asked, part, ENTRIES_EFFORT).map_err(refused)?;
        let lines = prices.into_iter().filter_map(|price| {
            Some(EntryLine {
                brief: brief.to_owned(),
                role: price.role.to_string(),
                currency: asked.brief.budget.currency().to_string(),
                entry_minor: price.entry?.minor(),
            })
        });
        Ok(lines.collect())
    }
}

fn highest(entries: &[EntryLine], currency: Currency) -> Option<Money> {
    let code = currency.to_string();
    let own = entries.iter().filter(|entry| entry.currency == code);
    let highest = own.map(|entry| entry.entry_minor).max()?;
    Some(Money::from_minor(highest, currency))
}

fn has(part: &Part, words: &[String]) -> bool {
    let brand = part.brand.as_deref().unwrap_or_default();
    let numbers = part.mpns.iter().cloned();
    let numbers = numbers.chain(part.gtins.iter().map(ToString::to_string));
    let numbers: Vec<String> = numbers.collect();
    let text = format!("{} {} {brand} {}", part.id, part.name, numbers.join(" ")).to_lowercase();
    words.iter().all(|word| text.contains(word.as_str()))
}

fn count(offered: &mut Offered, one: &Listed) {
    offered.offers += 1;
    let is_new = one.condition == Condition::New && one.availability.name() == "in_stock";
    let is_lower = offered.lowest.is_none_or(|lowest| {
        lowest.currency() == one.price.currency() && one.price.minor() < lowest.minor()
    });
    if is_new && is_lower {
        offered.lowest = Some(one.price);
    }
}

fn part_line(part: &Part, seen: &Seen, offered: &BTreeMap<PartId, Offered>) -> PartLine {
    let offered = offered.get(&part.id).copied().unwrap_or_default();
    let uses = uses(seen, &part.id).into_iter();
    let mut used_in: Vec<String> = uses.map(|one| one.brief).collect();
    used_in.dedup();
    PartLine {
        part: part.id.to_string(),
        kind: part.kind.name().to_owned(),
        name: part.name.clone(),
        brand: part.brand.as_deref().map(str::to_owned),
        mpn: part.mpns.first().cloned(),
        offers: offered.offers,
        lowest_minor: offered.lowest.map(|lowest| lowest.minor()),
        currency: offered.lowest.map(|lowest| lowest.currency().to_string()),
        used_in,
    }
}

/// The standing builds that have the part.
fn uses(seen: &Seen, part: &PartId) -> Vec<UseView> {
    let briefs = seen.briefs.iter().flat_map(|brief| {
        let own = brief.picks.iter().filter(|pick| pick.part == part.as_str());
        own.map(|pick| UseView {
            brief: brief.brief.clone(),
            name: brief.name.clone(),
            role: pick.role.clone(),
        })
    });
    briefs.collect()
}

fn specs(part: &Part) -> Vec<SpecView> {
    let specs = part.specs.iter().map(|(spec, value)| {
        let def = spec.def();
        SpecView {
            name: def.key.to_owned(),
            value: spec_text(&value_json(value)),
            unit: match def.shape {
                Shape::Number { unit, .. } | Shape::Numbers { unit, .. } => Some(unit.to_owned()),
                Shape::Text | Shape::Texts | Shape::Flag | Shape::Entries(_) => None,
            },
        }
    });
    specs.collect()
}

/// A spec's value for a person.
pub(super) fn spec_text(value: &Value) -> String {
    match value {
        Value::String(text) => text.clone(),
        Value::Bool(flag) => if *flag { "yes" } else { "no" }.to_owned(),
        Value::Array(values) => {
            let texts: Vec<String> = values.iter().map(spec_text).collect();
            texts.join(", ")
        }
        Value::Object(pairs) => {
            let pairs = pairs.iter();
            let texts: Vec<String> = pairs
                .map(|(key, value)| format!("{key} {}", spec_text(value)))
                .collect();
            texts.join(" ")
        }
        other => other.to_string(),
    }
}

fn rates(ground: &Ground, part: &Part) -> Vec<RateView> {
    let rates = part.rates.iter();
    rates
        .map(|(workload, rate)| {
            let known = ground.settings.catalogue.workloads.get(workload);
            RateView {
                workload: workload.to_string(),
                name: known.map_or_else(|| workload.to_string(), |known| known.name.clone()),
                unit: known.map_or_else(String::new, |known| known.unit.clone()),
                rate: rate.milli as f64 / 1e3,
                error_percent: Some(rate.error_micro as f64 / 1e4),
                source: rate.evidence.text().to_owned(),
                is_estimate: rate.evidence.is_estimate(),
            }
        })
        .collect()
}

fn offer_view(ground: &Ground, one: &CurrentOffer) -> OfferView {
    let offer = &one.offer;
    let retailer = ground.retailers.get(&offer.retailer);
    let link = retailer.and_then(|retailer| {
        let (offered, sku) = (offer.link.as_deref(), offer.sku.as_str());
        join::link(&ground.retailers, retailer, offered, sku)
    });
    OfferView {
        feed: one.feed.to_string(),
        retailer: offer.retailer.to_string(),
        retailer_name: retailer.map_or_else(
            || offer.retailer.to_string(),
            |retailer| retailer.name.clone(),
        ),
        sku: offer.sku.to_string(),
        seller: offer.seller.clone(),
        title: offer.title.clone(),
        condition: offer.condition.name().to_owned(),
        price_minor: offer.price.minor(),
        currency: offer.price.currency().to_string(),
        tax_included: offer.tax_included,
        availability: offer.availability.name().to_owned(),
        lead_days: offer.lead_days,
        is_paid_link: link.as_ref().is_some_and(|link| link.is_paid),
        link: link.map(|link| link.address),
        seen_at: shown_instant(one.seen_at),
        matched_by: Some(one.part.by.clone()),
        confidence: Some(one.part.confidence_percent),
    }
}

pub(super) fn day(text: &str) -> Told<NaiveDate> {
    text.parse().map_err(|_| {
        let message = format!("\"{text}\" is no day");
        Refusal::new(RefusalKind::Invalid, message, "write it as 2026-03-31")
    })
}

/// What the settings call these retailers.
fn names(retailers: &[String], settings: &Settings) -> BTreeMap<String, String> {
    let named = retailers.iter().filter_map(|id| {
        let retailer = settings.retailers.get(&RetailerId::new(id.as_str()))?;
        Some((id.clone(), retailer.name.clone()))
    });
    named.collect()
}
