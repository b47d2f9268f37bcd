//! Random small markets with terms for whole orders, and every way to buy in them.

use crate::market::{Case, case, score_of};
use crate::support::specs::Dice;
use rigtide::catalogue::{Kind, Part, PartId, Spec, SpecValue};
use rigtide::fit::{Seat, is_blocking};
use rigtide::market::{
    AppliesTo, Band, Bundle, Coupon, Days, Delivery, Need, Off, Rebate, Retailer, Terms, Wish,
};
use rigtide::money::{Currency, Money, Rate};
use std::collections::BTreeMap;

/// Terms by the dice, in a retailer's own currency. Coarse figures, so that thresholds are met and
/// missed and sums tie.
fn terms(dice: &mut Dice, currency: Currency, parts: &[PartId]) -> Terms {
    let money = |minor: i64| Money::from_minor(minor, currency);
    let mut one_in = |n: i64, amount: i64| (dice.roll(n) == 0).then(|| money(amount));
    let (free_from, at_most, minimum) = (one_in(2, 12_000), one_in(2, 700), one_in(2, 9_000));
    let applies_to = |dice: &mut Dice| AppliesTo {
        kinds: match dice.roll(3) {
            0 => vec![Kind::Gpu],
            1 => vec![Kind::Cpu, Kind::Memory],
            _ => Vec::new(),
        },
        ..AppliesTo::default()
    };
    let off = |dice: &mut Dice| match dice.roll(2) {
        0 => Off::Percent(1_000 + 333 * dice.roll(2) as u32),
        _ => Off::Amount(money(500 + 500 * dice.roll(3))),
    };
    let delivery = (dice.roll(4) != 0).then(|| Delivery {
        to: Vec::new(),
        flat: money(300 * dice.roll(3)),
        per_item: money(100 * dice.roll(2)),
        by_weight: match dice.roll(2) {
            0 => Vec::new(),
            _ => [(1_000, 250), (3_000, 600), (6_000, 900)]
                .map(|(up_to_g, costs)| Band {
                    up_to_g,
                    costs: money(costs),
                })
                .to_vec(),
        },
        free_from,
        tax_percent_hundredths: None,
    });
    let coupons = (0..dice.roll(3)).map(|number| Coupon {
        code: format!("C{number}"),
        applies_to: applies_to(dice),
        off: off(dice),
        at_most,
        minimum_spend: minimum,
        days: Days::default(),
    });
    let coupons = coupons.collect();
    let bundles = (0..dice.roll(3)).filter_map(|number| {
        let mut of = [0, 1]
            .map(|_| parts[dice.roll(parts.len() as i64) as usize].clone())
            .to_vec();
        of.sort();
        of.dedup();
        (of.len() == 2).then(|| Bundle {
            name: format!("B{number}"),
            parts: of,
            saves: money(800),
            days: Days::default(),
        })
    });
    let bundles = bundles.collect();
    let rebates = (dice.roll(3) == 0).then(|| Rebate {
        name: "back".to_owned(),
        applies_to: applies_to(dice),
        off: off(dice),
        days: Days::default(),
    });
    Terms {
        deliveries: delivery.into_iter().collect(),
        coupons,
        bundles,
        rebates: rebates.into_iter().collect(),
    }
}

/// The case of a seed with few roles and with terms.
pub fn case_with_terms(seed: u64) -> Case {
    let mut dice = Dice(seed ^ 0x5eed);
    let mut case = case(seed);
    let kinds = match dice.roll(4) {
        0 => vec![Kind::Cpu, Kind::Memory, Kind::Gpu, Kind::Storage],
        _ => vec![Kind::Cpu, Kind::Memory, Kind::Gpu],
    };
    case.brief.roles.retain(|role| kinds.contains(&role.kind));
    for role in case
        .brief
        .roles
        .iter_mut()
        .filter(|role| role.kind == Kind::Memory)
    {
        role.quantity = 1 + dice.roll(2) as u32;
    }
    // Wishes for specs that some parts of these kinds have, large and small in what they are worth.
    for role in &mut case.brief.roles {
        let need = match role.kind {
            Kind::Gpu => Need::AtMost(Spec::LengthMm, 260),
            Kind::Memory => Need::AtLeast(Spec::Modules, 2),
            _ => continue,
        };
        if dice.roll(2) == 0 {
            let worth_hundredths = 1 + 700 * dice.roll(4);
            role.wishes.push(Wish {
                need,
                worth_hundredths,
            });
        }
    }
    let budget = 17_000 + 1_500 * dice.roll(10);
    case.brief.budget = Money::from_minor(budget, Currency::EUR);
    case.brief.terms.strict = false;
    case.brief.counts_rebates = dice.roll(2) == 0;
    case.brief.most_retailers = (dice.roll(3) == 0).then(|| 1 + dice.roll(2) as u32);
    for part in case.catalogue.parts.values_mut() {
        if dice.roll(6) != 0 {
            let weight = SpecValue::Number(300 + 600 * dice.roll(4));
            part.specs.insert(Spec::WeightG, weight);
        }
    }
    let ids = case.catalogue.parts.values();
    let ids = ids.filter(|part| kinds.contains(&part.kind));
    let parts: Vec<PartId> = ids.map(|part| part.id.clone()).collect();
    let dollar = Currency::parse("USD").unwrap();
    for (number, retailer) in case.retailers.values_mut().enumerate() {
        if number == 1 && dice.roll(3) == 0 {
            let day = chrono::NaiveDate::from_ymd_opt(2026, 11, 20).unwrap();
            retailer.currency = dollar;
            retailer.delivery_per_pick = Money::zero(dollar);
            retailer.exchange = vec![Rate::parse(dollar, Currency::EUR, "0.9137", day).unwrap()];
            let own = case
                .listed
                .iter_mut()
                .filter(|one| one.retailer == retailer.id);
            own.for_each(|one| one.price = Money::from_minor(one.price.minor(), dollar));
        }
        retailer.terms = terms(&mut dice, retailer.currency, &parts);
    }
    case
}

/// An amount of a retailer's in euro cents, rounded half up; written here anew.
fn told(retailer: &Retailer, minor: i64) -> i64 {
    match retailer.currency == Currency::EUR {
        true => minor,
        // 0.9137 euro for a dollar, both with cents.
        false => (2 * minor * 9_137 + 10_000).div_euclid(20_000),
    }
}

/// A line of an order: part, pieces, price of all of them.
type Line<'c> = (&'c Part, i64, i64);

fn percent_of(hundredths: u32, minor: i64) -> i64 {
    (2 * minor * i64::from(hundredths) + 10_000).div_euclid(20_000)
}

/// The least that lines at one retailer cost in euro cents, over every coupon and set of bundles.
fn least_bill(retailer: &Retailer, lines: &[Line<'_>]) -> i64 {
    let n_bundles = retailer.terms.bundles.len();
    let coupons = std::iter::once(None).chain(retailer.terms.coupons.iter().map(Some));
    let ways = coupons.flat_map(|coupon| (0..1_u32 << n_bundles).map(move |set| (coupon, set)));
    ways.filter_map(|(coupon, set)| bill_of(retailer, lines, coupon, set))
        .min()
        .unwrap()
}

fn bill_of(
    retailer: &Retailer,
    lines: &[Line<'_>],
    coupon: Option<&Coupon>,
    set: u32,
) -> Option<i64> {
    let goods: i64 = lines.iter().map(|(_, _, goods)| goods).sum();
    let mut left = goods;
    let mut cost: i64 = lines
        .iter()
        .map(|(_, _, goods)| told(retailer, *goods))
        .sum();
    if let Some(coupon) = coupon {
        if coupon
            .minimum_spend
            .is_some_and(|least| goods < least.minor())
        {
            return None;
        }
        let covered = lines
            .iter()
            .filter(|(part, _, _)| coupon.applies_to.covers(part));
        let covered: Vec<&Line<'_>> = covered.collect();
        let eligible: i64 = covered.iter().map(|(_, _, goods)| goods).sum();
        let cap = coupon.at_most.map_or(i64::MAX, |cap| cap.minor());
        match coupon.off {
            Off::Amount(amount) => {
                let off = amount.minor().min(cap);
                if eligible < off.max(1) {
                    return None;
                }
                left -= off;
                cost -= told(retailer, off);
            }
            Off::Percent(percent) => {
                let offs = covered
                    .iter()
                    .map(|(_, _, goods)| (goods, percent_of(percent, *goods)));
                let sum: i64 = offs.clone().map(|(_, off)| off).sum();
                left -= sum.min(cap);
                cost -= match sum > cap {
                    true => told(retailer, cap),
                    false => offs
                        .map(|(goods, off)| told(retailer, *goods) - told(retailer, goods - off))
                        .sum(),
                };
            }
        }
    }
    let mut taken: BTreeMap<&PartId, i64> = BTreeMap::new();
    for (at, bundle) in retailer.terms.bundles.iter().enumerate() {
        if set >> at & 1 == 1 {
            bundle
                .parts
                .iter()
                .for_each(|part| *taken.entry(part).or_insert(0) += 1);
            left -= bundle.saves.minor();
            cost -= told(retailer, bundle.saves.minor());
        }
    }
    let pieces = |id: &PartId| -> i64 {
        let own = lines.iter().filter(|(part, _, _)| part.id == *id);
        own.map(|(_, pieces, _)| pieces).sum()
    };
    if taken.iter().any(|(part, number)| pieces(part) < *number) {
        return None;
    }
    if let Some(delivery) = retailer.terms.deliveries.first()
        && delivery.free_from.is_none_or(|from| left < from.minor())
    {
        let n_pieces: i64 = lines.iter().map(|(_, pieces, _)| pieces).sum();
        cost += told(retailer, delivery.flat.minor());
        cost += told(retailer, delivery.per_item.minor()) * n_pieces;
        let weights = lines.iter().map(|(part, pieces, _)| {
            part.number(Spec::WeightG)
                .map_or(i64::MAX / 100, |weight| weight * pieces)
        });
        let weight: i64 = weights.sum();
        let mut bands = delivery.by_weight.iter();
        let band = bands
            .find(|band| weight <= band.up_to_g)
            .or(delivery.by_weight.last());
        cost += band.map_or(0, |band| told(retailer, band.costs.minor()));
    }
    Some(cost)
}

/// Score and cost of the best, by trying every set of parts at every retailer.
pub fn enumerate(case: &Case, budget: i64) -> Option<(i64, i64)> {
    let mut best: Option<(i64, i64)> = None;
    let mut chosen: Vec<(&Part, &Retailer, i64)> = Vec::new();
    descend(case, budget, &mut chosen, &mut best);
    best.map(|(score, cost)| (-score, cost))
}

fn descend<'c>(
    case: &'c Case,
    budget: i64,
    chosen: &mut Vec<(&'c Part, &'c Retailer, i64)>,
    best: &mut Option<(i64, i64)>,
) {
    let roles = &case.brief.roles;
    if let Some(role) = roles.get(chosen.len()) {
        let offers = case
            .listed
            .iter()
            .filter(|one| one.availability.is_orderable());
        for offer in offers {
            let part = &case.catalogue.parts[&offer.part];
            if part.kind == role.kind {
                let goods = offer.price.minor() * i64::from(role.quantity);
                chosen.push((part, &case.retailers[&offer.retailer], goods));
                descend(case, budget, chosen, best);
                chosen.pop();
            }
        }
        return;
    }
    let mut lines: BTreeMap<&str, (&Retailer, Vec<Line<'_>>)> = BTreeMap::new();
    let mut cost = 0;
    for (role, (part, retailer, goods)) in roles.iter().zip(chosen.iter()) {
        let order = lines
            .entry(retailer.id.as_str())
            .or_insert((retailer, Vec::new()));
        let pieces = i64::from(role.quantity);
        order.1.push((part, pieces, *goods));
        if retailer.terms.deliveries.is_empty() {
            cost += told(retailer, retailer.delivery_per_pick.minor());
        }
        if case.brief.counts_rebates {
            let rebates = retailer.terms.rebates.iter();
            let rebates = rebates.filter(|one| one.applies_to.covers(part));
            let back: i64 = rebates
                .map(|rebate| match rebate.off {
                    Off::Amount(amount) => amount.minor() * pieces,
                    Off::Percent(percent) => percent_of(percent, *goods),
                })
                .sum();
            cost -= told(retailer, back.min(*goods));
        }
    }
    if case
        .brief
        .most_retailers
        .is_some_and(|most| lines.len() > most as usize)
    {
        return;
    }
    cost += lines
        .values()
        .map(|(retailer, lines)| least_bill(retailer, lines))
        .sum::<i64>();
    if cost > budget {
        return;
    }
    let seats = roles.iter().zip(chosen.iter());
    let seats = seats.map(|(role, (part, _, _))| Seat {
        role: role.id.as_str(),
        part,
        quantity: role.quantity,
    });
    let seats: Vec<Seat<'_>> = seats.collect();
    let findings = case.brief.rules.check(&seats, &case.brief.terms);
    if findings
        .iter()
        .any(|finding| is_blocking(finding, &case.brief.terms))
    {
        return;
    }
    let parts: Vec<&Part> = chosen.iter().map(|(part, _, _)| *part).collect();
    let Some(mut score) = score_of(case, &parts) else {
        return;
    };
    let weights = case.brief.objective.workloads.iter();
    let weights: i64 = weights.map(|weighted| weighted.weight).sum();
    let log = |number: i64| (libm::log(number as f64) * 1e6).round() as i64;
    for (role, (part, _, _)) in roles.iter().zip(chosen.iter()) {
        for wish in role.wishes.iter().filter(|wish| wish.need.is_met_by(part)) {
            score += weights * (log(10_000 + wish.worth_hundredths) - log(10_000));
        }
    }
    if best.is_none_or(|best| (-score, cost) < best) {
        *best = Some((-score, cost));
    }
}

/// The best of the ways to buy that have a part.
pub fn enumerate_with(case: &Case, part: &PartId) -> Option<(i64, i64)> {
    let mut only = case.clone();
    let kind = case.catalogue.parts[part].kind;
    only.listed
        .retain(|one| case.catalogue.parts[&one.part].kind != kind || one.part == *part);
    enumerate(&only, only.brief.budget.minor())
}
