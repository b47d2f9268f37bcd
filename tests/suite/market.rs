//! Whole answers on random small catalogues, against trying every set of parts.

use crate::support::facts;
use crate::support::specs::{Dice, by_chance, roomy};
use chrono::DateTime;
use rigtide::catalogue::{
    Catalogue, Evidence, Gtin, Kind, Part, PartId, Rate, Spec, SpecValue, Workload, WorkloadId,
};
use rigtide::fit::{FitTerms, Seat, is_blocking};
use rigtide::market::{
    Availability, Brief, Condition, Listed, Retailer, RetailerId, Sku, Terms, market,
};
use rigtide::money::{Currency, Money};
use rigtide::optimise::{Answer, Effort, Proof, Standing, best};
use rigtide::rates::Weighted;
use std::collections::BTreeMap;

/// A catalogue, a brief and offers that the seed names. Figures are coarse, so that ties, tight
/// budgets, unproven specs and dead ends are common.
#[derive(Clone)]
pub struct Case {
    pub catalogue: Catalogue,
    pub brief: Brief,
    pub retailers: BTreeMap<RetailerId, Retailer>,
    pub listed: Vec<Listed>,
    standing: Standing,
}

fn specs(kind: Kind, dice: &mut Dice) -> BTreeMap<Spec, SpecValue> {
    let text = |dice: &mut Dice, of: &[&str]| SpecValue::Text(dice.pick(of).into());
    let list = |dice: &mut Dice, of: &[&str]| {
        let mut names = vec![dice.pick(of).to_owned(), dice.pick(of).to_owned()];
        names.dedup();
        SpecValue::Texts(names.into())
    };
    let number =
        |dice: &mut Dice, low: i64, step: i64| SpecValue::Number(low + step * dice.roll(3));
    let sockets = ["AM5", "LGA1700"];
    let forms = ["ATX", "microATX", "Mini-ITX"];
    let supplies = ["ATX", "SFX"];
    let memories = ["DDR4", "DDR5"];
    let specs = match kind {
        Kind::Cpu => vec![
            (Spec::Socket, text(dice, &sockets)),
            (Spec::HeatW, number(dice, 65, 40)),
            (Spec::Graphics, SpecValue::Flag(dice.roll(2) == 0)),
        ],
        Kind::Board => vec![
            (Spec::Socket, text(dice, &sockets)),
            (Spec::FormFactor, text(dice, &forms)),
            (Spec::MemoryGeneration, text(dice, &memories)),
            (Spec::MemorySlots, number(dice, 2, 1)),
        ],
        Kind::Memory => vec![
            (Spec::MemoryGeneration, text(dice, &memories)),
            (Spec::Modules, number(dice, 1, 1)),
        ],
        Kind::Gpu => vec![
            (Spec::LengthMm, number(dice, 200, 60)),
            (Spec::BoardPowerW, number(dice, 120, 90)),
        ],
        Kind::Cooler => vec![
            (Spec::Sockets, list(dice, &sockets)),
            (Spec::HeightMm, number(dice, 60, 50)),
            (Spec::CoolingW, number(dice, 65, 60)),
        ],
        Kind::Case => vec![
            (Spec::FormFactors, list(dice, &forms)),
            (Spec::PsuFormFactors, list(dice, &supplies)),
            (Spec::GpuLengthMmMax, number(dice, 220, 60)),
            (Spec::CoolerHeightMmMax, number(dice, 70, 50)),
        ],
        Kind::Psu => {
            vec![
                (Spec::FormFactor, text(dice, &supplies)),
                (Spec::RatedW, number(dice, 400, 150)),
            ]
        }
        _ => vec![(Spec::LoadW, number(dice, 2, 4))],
    };
    // One part in twelve has its further specs by the dice, with dead ends and gaps of their own; the
    // others leave room, so that the specs above decide.
    let mut all = match dice.roll(12) {
        0 => by_chance(kind, dice, 12),
        _ => roomy(kind),
    };
    for (spec, value) in specs {
        all.remove(&spec);
        // One in twelve is missing.
        if dice.roll(12) != 0 {
            all.insert(spec, value);
        }
    }
    all
}

pub fn case(seed: u64) -> Case {
    let mut dice = Dice(seed);
    let eur = |minor| Money::from_minor(minor, Currency::EUR);
    let mut catalogue = Catalogue::default();
    for (name, limited_by) in [
        ("cut", vec![Kind::Cpu, Kind::Memory]),
        ("play", vec![Kind::Cpu, Kind::Gpu]),
    ] {
        let workload = Workload {
            id: WorkloadId::new(name),
            name: name.to_owned(),
            unit: "1/s".to_owned(),
            limited_by,
            reference_milli: 50_000,
            tests: Vec::new(),
        };
        catalogue.workloads.insert(workload.id.clone(), workload);
    }
    let shop = |id: &str, delivery| Retailer {
        id: RetailerId::new(id),
        name: id.to_owned(),
        country: "DE".to_owned(),
        currency: Currency::EUR,
        locale: None,
        prices_include_tax: true,
        tax_percent_hundredths: 0,
        delivery_per_pick: eur(delivery),
        terms: Terms::default(),
        links: Default::default(),
        exchange: Vec::new(),
    };
    let shops = [shop("north", 0), shop("south", 300)];
    let mut listed = Vec::new();
    for kind in Kind::CORE {
        for number in 0..=dice.roll(3) {
            let id = PartId::new(format!("{kind}-{number}"));
            let rates = catalogue
                .workloads
                .values()
                .filter(|one| one.limited_by.contains(&kind));
            let rates: BTreeMap<WorkloadId, Rate> = rates
                .map(|workload| {
                    let evidence = Evidence::Estimated("test".into());
                    (
                        workload.id.clone(),
                        Rate {
                            milli: 40_000 + 10_000 * dice.roll(4),
                            evidence,
                            error_micro: 0,
                        },
                    )
                })
                .collect();
            let part = Part {
                id: id.clone(),
                kind,
                name: id.to_string(),
                brand: None,
                mpns: vec![id.to_string()],
                gtins: Vec::new(),
                specs: specs(kind, &mut dice).into(),
                rates: rates.into(),
                source: None,
                guessed: std::collections::BTreeSet::new(),
            };
            for retailer in &shops {
                let availability = if dice.roll(6) == 0 {
                    Availability::SoldOut
                } else {
                    Availability::InStock
                };
                listed.push(Listed {
                    retailer: retailer.id.clone(),
                    sku: Sku::new(id.as_str()),
                    part: id.clone(),
                    title: id.to_string(),
                    price: eur(5_000 + 1_500 * dice.roll(5)),
                    tax_included: true,
                    availability,
                    lead_days: None,
                    condition: Condition::New,
                    seller: None,
                    shipping: None,
                    minimum_quantity: 1,
                    link: None,
                    seen_at: DateTime::UNIX_EPOCH,
                });
            }
            catalogue.parts.insert(id, part);
        }
    }
    let uses = catalogue.workloads.values().map(|workload| {
        let mut weighted = Weighted::new(workload, 1 + dice.roll(3));
        weighted.cap_milli = (dice.roll(3) == 0).then_some(60_000);
        weighted.floor_milli = (dice.roll(4) == 0).then_some(50_000);
        weighted
    });
    let uses: Vec<Weighted> = uses.collect();
    let mut brief = Brief::ad_hoc(eur(50_000 + 2_000 * dice.roll(25)), "DE", uses);
    brief.terms = FitTerms {
        headroom_percent: 20,
        rest_w: 40,
        reserve_w: 0,
        strict: dice.roll(4) == 0,
    };
    let mut standing = Standing::new();
    for role in &brief.roles {
        standing.insert(
            role.id.clone(),
            PartId::new(format!("{}-{}", role.kind, dice.roll(3))),
        );
    }
    let retailers = shops
        .into_iter()
        .map(|shop| (shop.id.clone(), shop))
        .collect();
    Case {
        catalogue,
        brief,
        retailers,
        listed,
        standing,
    }
}

/// Score, cost, changes and parts of the best set, by trying every one. Reads the parts, the
/// offers and the rules' checks; shares nothing with the model.
fn enumerate(case: &Case) -> Option<(i64, i64, i64, Vec<String>)> {
    let landed = |part: &PartId| {
        let offers = case.listed.iter().filter(|one| one.part == *part);
        let offers = offers.filter(|one| one.availability.is_orderable());
        let costs = offers
            .map(|one| one.price.minor() + case.retailers[&one.retailer].delivery_per_pick.minor());
        costs.min()
    };
    let kinds: Vec<Vec<(&Part, i64)>> = case
        .brief
        .roles
        .iter()
        .map(|role| {
            let parts = case
                .catalogue
                .parts
                .values()
                .filter(|part| part.kind == role.kind);
            parts
                .filter_map(|part| Some((part, landed(&part.id)?)))
                .collect()
        })
        .collect();
    let mut best = None;
    let mut chosen = Vec::new();
    descend(case, &kinds, &mut chosen, &mut best);
    best
}

type Best = Option<(i64, i64, i64, Vec<String>)>;

fn descend<'c>(
    case: &Case,
    kinds: &[Vec<(&'c Part, i64)>],
    chosen: &mut Vec<(&'c Part, i64)>,
    best: &mut Best,
) {
    let cost: i64 = chosen.iter().map(|(_, cost)| cost).sum();
    if cost > case.brief.budget.minor() {
        return;
    }
    if let Some(parts) = kinds.get(chosen.len()) {
        for part in parts {
            chosen.push(*part);
            descend(case, kinds, chosen, best);
            chosen.pop();
        }
        return;
    }
    let seats: Vec<Seat<'_>> = chosen
        .iter()
        .map(|(part, _)| Seat {
            role: "",
            part,
            quantity: 1,
        })
        .collect();
    let findings = case.brief.rules.check(&seats, &case.brief.terms);
    if findings
        .iter()
        .any(|finding| is_blocking(finding, &case.brief.terms))
    {
        return;
    }
    let parts: Vec<&Part> = chosen.iter().map(|(part, _)| *part).collect();
    let Some(score) = score_of(case, &parts) else {
        return;
    };
    let roles = case.brief.roles.iter().zip(chosen.iter());
    let changes = roles
        .filter(|(role, (part, _))| case.standing[&role.id] != part.id)
        .count();
    let parts = chosen.iter().map(|(part, _)| part.id.to_string()).collect();
    let key = (-score, cost, changes as i64, parts);
    if best.as_ref().is_none_or(|best| key < *best) {
        *best = Some(key);
    }
}

/// The score that parts reach together without wishes; `None` below a floor.
pub fn score_of(case: &Case, parts: &[&Part]) -> Option<i64> {
    let mut score = 0;
    for weighted in &case.brief.objective.workloads {
        let limiting = parts
            .iter()
            .filter(|part| weighted.limited_by.contains(&part.kind));
        let rates = limiting.map(|part| part.rates.get(&weighted.workload).unwrap().milli);
        let lowest = rates.min().unwrap();
        if weighted.floor_milli.is_some_and(|floor| lowest < floor) {
            return None;
        }
        let counted = weighted.cap_milli.map_or(lowest, |cap| cap.min(lowest));
        score += weighted.weight * (libm::log(counted as f64) * 1e6).round() as i64;
    }
    Some(score)
}

#[test]
fn the_best_build_is_the_one_that_trying_every_set_finds() {
    let (mut feasible, mut infeasible) = (0, 0);
    for seed in 0..600 {
        let case = case(seed);
        let market = market(&case.brief, &case.catalogue, &case.retailers, &case.listed);
        let answer = best(&market, &case.catalogue, &case.standing, Effort::default()).unwrap();
        let found = match answer {
            Answer::Best(best) => {
                assert_eq!(best.proof, Proof::Optimal);
                let build = &best.build;
                let changed =
                    |pick: &&rigtide::optimise::Pick| case.standing[&pick.role] != pick.part;
                let changes = build.picks.iter().filter(changed).count() as i64;
                let parts = build
                    .picks
                    .iter()
                    .map(|pick| pick.part.to_string())
                    .collect();
                Some((-build.score.0, build.total.minor(), changes, parts))
            }
            Answer::NothingFits(obstacles) => {
                assert!(!obstacles.is_empty());
                None
            }
            Answer::CutOff => panic!("cut off without a limit"),
        };
        assert_eq!(found, enumerate(&case), "seed {seed}");
        if found.is_some() {
            feasible += 1
        } else {
            infeasible += 1
        }
    }
    assert!(
        feasible >= 100 && infeasible >= 100,
        "{feasible} feasible, {infeasible} not"
    );
}

#[test]
fn published_identifiers_are_judged_as_their_table_says() {
    // GS1's worked examples and python-stdnum 2.2, as collected in gtin.csv.
    let Some(table) = facts::read("gtin.csv") else {
        return;
    };
    let mut reader = csv::Reader::from_reader(table.as_bytes());
    let mut rows = 0;
    for row in reader.records() {
        let row = row.unwrap();
        let (input, check, padded) = (&row[0], &row[2], &row[3]);
        rows += 1;
        match (check, Gtin::parse(input)) {
            ("valid", Ok(gtin)) => assert_eq!(gtin.to_string(), padded, "{input}"),
            // The arithmetic fits, but it names no part: fillers, packs, numbers of one shop.
            ("valid", Err(fault)) => {
                let text = fault.to_string();
                assert!(
                    ["placeholder", "pack", "one shop"]
                        .iter()
                        .any(|why| text.contains(why)),
                    "{input}: {text}"
                );
            }
            // Blanks and hyphens between the digits are stripped before testing.
            (_, Ok(_)) => assert!(input.contains([' ', '-']), "{input}"),
            (_, Err(_)) => {}
        }
    }
    assert!(rows >= 40, "{rows}");
}

#[test]
fn every_exponent_is_that_of_iso_4217() {
    // ISO 4217 list one of 2026-01-01.
    let Some(table) = facts::read("iso4217_minor.csv") else {
        return;
    };
    let mut reader = csv::Reader::from_reader(table.as_bytes());
    let mut codes = 0;
    for row in reader.records() {
        let row = row.unwrap();
        let expected = row[1].parse::<u32>().ok();
        let found = Currency::parse(&row[0])
            .ok()
            .map(|currency| currency.exponent());
        assert_eq!(found, expected, "{}", &row[0]);
        codes += usize::from(expected.is_some());
    }
    assert_eq!(codes, Currency::all().count());
}
