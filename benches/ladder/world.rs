//! A generated market as the program knows it: a catalogue, retailers and what they list.

use super::generated::{Made, Use, WORKLOADS, parts};
use super::specs::{Dice, part, roomy};
use chrono::DateTime;
use rigtide::catalogue::spec::{Field, Shape};
use rigtide::catalogue::{
    Catalogue, Evidence, Gtin, Kind, Part, PartId, Rate, SpecValue, Workload, WorkloadId,
};
use rigtide::market::{
    Availability, Brief, Bundle, Condition, Days, Delivery, Listed, Retailer, RetailerId, Sku,
    Terms,
};
use rigtide::money::{Currency, Money};
use rigtide::rates::Weighted;
use std::collections::BTreeMap;
use std::fmt::Write as _;

const RETAILERS: [&str; 5] = ["north", "east", "south", "west", "harbour"];

/// Rates err by 3 % each, as measured ones do that state no error.
const ERROR_MICRO: i64 = 30_000;

pub struct World {
    pub catalogue: Catalogue,
    pub retailers: BTreeMap<RetailerId, Retailer>,
    /// One offer at each retailer for each part.
    pub listed: Vec<Listed>,
}

pub fn eur(minor: i64) -> Money {
    Money::from_minor(minor, Currency::EUR)
}

impl World {
    pub fn generate(seed: u64, n_parts: usize) -> World {
        let mut dice = Dice(seed);
        let mut world = World {
            catalogue: Catalogue::default(),
            retailers: RETAILERS.iter().map(|name| retailer(name)).collect(),
            listed: Vec::with_capacity(n_parts * RETAILERS.len()),
        };
        for workload in WORKLOADS.iter().enumerate().map(workload) {
            world
                .catalogue
                .workloads
                .insert(workload.id.clone(), workload);
        }
        for (number, made) in parts(seed, n_parts).iter().enumerate() {
            let id = format!("{}-{number:05}", made.kind);
            world.list(made, &id, &mut dice);
            world.add(made, &id);
        }
        world
    }

    /// The same market with terms for whole orders: six retailers that deliver free above a
    /// threshold each, and ten bundles of two parts.
    #[must_use]
    pub fn with_orders(mut self) -> World {
        let (id, sixth) = retailer("quay");
        self.retailers.insert(id.clone(), sixth);
        let moved = self.listed.iter_mut().skip(5).step_by(6);
        moved.for_each(|offer| offer.retailer = id.clone());
        let ids: Vec<PartId> = self.catalogue.parts.keys().cloned().collect();
        let mut dice = Dice(6);
        for (number, retailer) in self.retailers.values_mut().enumerate() {
            retailer.terms.deliveries = vec![Delivery {
                to: Vec::new(),
                flat: eur(390 + 100 * dice.roll(5)),
                per_item: eur(0),
                by_weight: Vec::new(),
                free_from: Some(eur(5_000 + 5_000 * dice.roll(4))),
                tax_percent_hundredths: None,
            }];
            for _ in 0..if number < 4 { 2 } else { 1 } {
                let mut any = || ids[dice.roll(ids.len() as i64) as usize].clone();
                retailer.terms.bundles.push(Bundle {
                    name: format!("bundle {}", retailer.terms.bundles.len()),
                    parts: vec![any(), any()],
                    saves: eur(1_500),
                    days: Days::default(),
                });
            }
        }
        self
    }

    /// Equal roles and rules, and the three uses with their weights.
    pub fn brief(&self, budget: Money) -> Brief {
        let uses = WORKLOADS.iter().enumerate().map(|(number, one)| {
            Weighted::new(&self.catalogue.workloads[&workload_id(number)], one.weight)
        });
        Brief::ad_hoc(budget, "DE", uses.collect())
    }

    /// The workloads as a catalogue file.
    pub fn workloads_file(&self) -> String {
        let mut text = String::new();
        for workload in self.catalogue.workloads.values() {
            let kinds = workload.limited_by.iter();
            let kinds: Vec<String> = kinds.map(|kind| format!("\"{}\"", kind.name())).collect();
            let _ = writeln!(
                text,
                "[[workload]]\nid = \"{}\"\nname = \"{}\"\nunit = \"{}\"\nlimited_by = [{}]\nreference = {}",
                workload.id,
                workload.name,
                workload.unit,
                kinds.join(", "),
                workload.reference_milli / 1_000
            );
        }
        text
    }

    /// The cheapest retailer has the price, the others up to an eighth more.
    fn list(&mut self, made: &Made, id: &str, dice: &mut Dice) {
        let cheapest = dice.roll(RETAILERS.len() as i64) as usize;
        for (number, name) in RETAILERS.iter().enumerate() {
            let more = if number == cheapest {
                0
            } else {
                dice.roll(126)
            };
            self.listed.push(Listed {
                retailer: RetailerId::new(*name),
                sku: Sku::new(id),
                part: PartId::new(id),
                title: id.to_owned(),
                price: eur(made.price * (1_000 + more) / 1_000),
                tax_included: true,
                availability: Availability::InStock,
                lead_days: None,
                condition: Condition::New,
                seller: None,
                shipping: None,
                minimum_quantity: 1,
                link: None,
                seen_at: DateTime::UNIX_EPOCH,
            });
        }
    }

    fn add(&mut self, made: &Made, id: &str) {
        let mut specs = roomy(made.kind);
        for (spec, value) in &made.numbers {
            specs.insert(*spec, SpecValue::Number(*value));
        }
        for (spec, words) in &made.words {
            let value = match &spec.def().shape {
                Shape::Texts => {
                    SpecValue::Texts(words.iter().map(|word| (*word).to_owned()).collect())
                }
                _ => SpecValue::Text(words.concat().into()),
            };
            specs.insert(*spec, value);
        }
        let mut one = part(made.kind, id, specs);
        for (number, milli) in made.rates_milli.into_iter().enumerate() {
            let Some(milli) = milli else { continue };
            let rate = Rate {
                milli,
                evidence: Evidence::Estimated("by the dice".into()),
                error_micro: ERROR_MICRO,
            };
            one.rates.insert(workload_id(number), rate);
        }
        one.gtins = Gtin::parse(&gtin(self.catalogue.parts.len()))
            .into_iter()
            .collect();
        self.catalogue.parts.insert(one.id.clone(), one);
    }
}

/// The number of the nth part, with its check digit (GS1 General Specifications, section 7.9).
fn gtin(nth: usize) -> String {
    // 952 is GS1's prefix for examples.
    let body = format!("952{nth:09}");
    let digits = body.bytes().map(|digit| u32::from(digit - b'0'));
    let weighted = digits.zip([1, 3].into_iter().cycle());
    let sum: u32 = weighted.map(|(digit, weight)| digit * weight).sum();
    format!("{body}{}", (10 - sum % 10) % 10)
}

fn workload_id(number: usize) -> WorkloadId {
    WorkloadId::new(format!("use-{number}"))
}

fn workload((number, one): (usize, &Use)) -> Workload {
    Workload {
        id: workload_id(number),
        name: format!("use {number}"),
        unit: "1/s".to_owned(),
        limited_by: one.limited_by.to_vec(),
        reference_milli: 50_000,
        tests: Vec::new(),
    }
}

fn retailer(name: &str) -> (RetailerId, Retailer) {
    let id = RetailerId::new(name);
    let retailer = Retailer {
        id: id.clone(),
        name: name.to_owned(),
        country: "DE".to_owned(),
        currency: Currency::EUR,
        locale: None,
        prices_include_tax: true,
        tax_percent_hundredths: 0,
        delivery_per_pick: eur(0),
        terms: Terms::default(),
        links: Default::default(),
        exchange: Vec::new(),
    };
    (id, retailer)
}

/// Where the graphics cards are among a brief's roles.
pub fn graphics(brief: &Brief) -> usize {
    let roles = brief.roles.iter();
    roles.take_while(|role| role.kind != Kind::Gpu).count()
}

/// The part with entries that a catalogue file may have: the generated ones are all slots of a board.
pub fn as_written(part: &Part) -> Part {
    let mut part = part.clone();
    for (spec, value) in part.specs.iter_mut() {
        if let (Shape::Entries(fields), SpecValue::Entries(entries)) = (&spec.def().shape, value) {
            let required = |field: &&Field| field.is_required;
            let mut complete = entries.to_vec();
            complete.iter_mut().for_each(|entry| {
                entry
                    .0
                    .retain(|key, _| fields.iter().any(|field| field.key == *key));
                for field in fields.iter().filter(required) {
                    if !entry.0.contains_key(field.key) {
                        entry.0.insert(field.key, any_value(&field.shape));
                    }
                }
            });
            *entries = complete.into();
        }
    }
    part
}

fn any_value(shape: &Shape) -> SpecValue {
    match shape {
        Shape::Text => SpecValue::Text("front".into()),
        Shape::Texts => SpecValue::Texts([].into()),
        Shape::Flag => SpecValue::Flag(true),
        Shape::Number { plausible, .. } => SpecValue::Number(plausible.start),
        Shape::Numbers { plausible, .. } => SpecValue::Numbers([plausible.start].into()),
        Shape::Entries(_) => SpecValue::Entries([].into()),
    }
}
