//! How long an answer takes over a catalogue of 2,000 parts where a rule ties four roles together.
//!
//! Nearly every case differs from every other in its places for a radiator, there are thirty kinds
//! of radiator, eighty lengths of card and twenty-five heights of memory: the table of the radiator
//! rule then has some fifteen million cells. Run by hand:
//! `cargo test --release --test suite scale -- --ignored --nocapture`; `RIGTIDE_SCALE` sets how
//! many parts there are of each kind.

use crate::support::specs::{Dice, part, roomy};
use chrono::DateTime;
use rigtide::catalogue::{Catalogue, Entry, Evidence, Kind, PartId, Rate, Spec, SpecValue};
use rigtide::catalogue::{Workload, WorkloadId};
use rigtide::market::{
    Availability, Brief, Condition, Listed, Retailer, RetailerId, Sku, Terms, market,
};
use rigtide::money::{Currency, Money};
use rigtide::optimise::{Answer, Effort, Proof, Standing, best};
use rigtide::rates::Weighted;
use std::collections::BTreeMap;
use std::time::{Duration, Instant};

/// Of each of eight kinds.
const PARTS_OF_A_KIND: i64 = 250;
const LONGEST: Duration = Duration::from_secs(60);

fn eur(minor: i64) -> Money {
    Money::from_minor(minor, Currency::EUR)
}

fn number(value: i64) -> SpecValue {
    SpecValue::Number(value)
}

fn mounts(dice: &mut Dice) -> SpecValue {
    let places = ["front", "top", "rear"].into_iter().map(|position| {
        let sizes: &[i64] = match dice.roll(3) {
            0 => &[120, 240],
            1 => &[140, 280],
            _ => &[120, 240, 360],
        };
        let mut mount = BTreeMap::from([
            ("position", SpecValue::Text(position.into())),
            ("sizes_mm", SpecValue::Numbers(sizes.into())),
            ("thickness_mm_max", number(50 + 5 * dice.roll(4))),
        ]);
        if dice.roll(3) > 0 {
            mount.insert("memory_height_mm_max", number(35 + 5 * dice.roll(3)));
        }
        Entry(mount.into())
    });
    SpecValue::Entries(places.collect())
}

/// A part that differs from most others of its kind in what the rule of the radiator reads.
fn specs(kind: Kind, dice: &mut Dice) -> BTreeMap<Spec, SpecValue> {
    let mut specs = roomy(kind);
    match kind {
        Kind::Cooler => {
            let one_of =
                |dice: &mut Dice, of: &[i64]| number(of[dice.roll(of.len() as i64) as usize]);
            specs.insert(Spec::RadiatorThicknessMm, one_of(dice, &[27, 30, 38]));
            specs.insert(Spec::RadiatorFanMm, one_of(dice, &[15, 25]));
            let sizes = [120, 140, 240, 280, 360];
            specs.insert(Spec::RadiatorMm, one_of(dice, &sizes));
        }
        Kind::Memory => {
            specs.insert(Spec::HeightMm, number(31 + dice.roll(25)));
        }
        Kind::Gpu => {
            specs.insert(Spec::LengthMm, number(200 + 2 * dice.roll(80)));
        }
        Kind::Case => {
            specs.insert(Spec::GpuLengthMmMax, number(280 + 5 * dice.roll(30)));
            specs.insert(Spec::RadiatorMounts, mounts(dice));
        }
        _ => {}
    }
    specs
}

fn catalogue(n_parts: i64) -> (Catalogue, Vec<Listed>) {
    let mut dice = Dice(2026);
    let mut catalogue = Catalogue::default();
    let workload = Workload {
        id: WorkloadId::new("play"),
        name: "play".to_owned(),
        unit: "1/s".to_owned(),
        limited_by: vec![Kind::Cpu, Kind::Gpu],
        reference_milli: 50_000,
        tests: Vec::new(),
    };
    catalogue.workloads.insert(workload.id.clone(), workload);
    let mut listed = Vec::new();
    for kind in Kind::CORE {
        for number in 0..n_parts {
            let mut one = part(kind, &format!("{kind}-{number}"), specs(kind, &mut dice));
            let strength = dice.roll(100_000);
            if matches!(kind, Kind::Cpu | Kind::Gpu) {
                let evidence = Evidence::Estimated("test".into());
                let milli = 20_000 + strength;
                one.rates.insert(
                    WorkloadId::new("play"),
                    Rate {
                        milli,
                        evidence,
                        error_micro: 0,
                    },
                );
            }
            listed.push(Listed {
                retailer: RetailerId::new("north"),
                sku: Sku::new(one.id.as_str()),
                part: one.id.clone(),
                title: one.name.clone(),
                price: eur(5_000 + strength / 4 + dice.roll(8_000)),
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
            catalogue.parts.insert(PartId::new(one.id.as_str()), one);
        }
    }
    (catalogue, listed)
}

#[test]
#[ignore = "takes minutes without optimisation; run by hand in release"]
fn two_thousand_parts_are_answered_in_a_minute() {
    let asked = std::env::var("RIGTIDE_SCALE").ok();
    let asked = asked.and_then(|text| text.parse().ok());
    let n_parts = asked.unwrap_or(PARTS_OF_A_KIND);
    let (catalogue, listed) = catalogue(n_parts);
    let north = Retailer {
        id: RetailerId::new("north"),
        name: "north".to_owned(),
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
    let uses = catalogue.workloads.values();
    let uses = uses.map(|workload| Weighted::new(workload, 1)).collect();
    let brief = Brief::ad_hoc(eur(160_000), "DE", uses);
    let retailers = BTreeMap::from([(north.id.clone(), north)]);
    let start = Instant::now();
    let market = market(&brief, &catalogue, &retailers, &listed);
    let answer = best(&market, &catalogue, &Standing::new(), Effort::default()).unwrap();
    let took = start.elapsed();
    println!(
        "{} parts: {took:?}, {}",
        catalogue.parts.len(),
        peak_memory()
    );
    let Answer::Best(best) = answer else {
        panic!("{answer:?}");
    };
    assert_eq!(best.proof, Proof::Optimal);
    assert!(took < LONGEST, "{took:?}");
}

/// The most memory that this process has held, as the kernel counts it.
fn peak_memory() -> String {
    let status = std::fs::read_to_string("/proc/self/status").unwrap_or_default();
    let peak = status.lines().find(|line| line.starts_with("VmHWM"));
    peak.unwrap_or("memory unknown").to_owned()
}
