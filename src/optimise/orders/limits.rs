//! What the ways to order ask of the picks: as pairings, and as balances that stay at or below
//! nothing.

use super::Orders;
use super::mode::{Code, Fee, Mode, Order, PickLine};
use crate::catalogue::Spec;
use crate::market::{Bundle, Candidate, Market, Off};
use crate::optimise::pairing::Pairing;
use crate::optimise::problem::{Balance, Problem};
use std::collections::BTreeSet;

/// One thing that is asked. Amounts are in the retailer's currency, weights in grams.
enum Threshold {
    /// Delivery is free from goods of this value; bundles take off at most so much of it.
    FreeFrom { from: i64, all_bundles: i64 },
    /// Delivery is paid for so many pieces.
    Items { all: i64 },
    /// Delivery is paid for so much weight; what is not known weighs more than any band.
    Weight { beyond: i64, most: i64 },
    /// A coupon asks for goods of this value.
    MinimumSpend { coupon: usize, least: i64 },
    /// A coupon's amount asks for goods that it applies to.
    Covered { coupon: usize },
    /// What a coupon takes off line by line is within its cap.
    WithinCap { coupon: usize, cap: i64 },
    /// Line by line it would be more than the cap that it takes off instead.
    BeyondCap { coupon: usize, cap: i64 },
}

impl Threshold {
    fn of_line(&self, order: &Order<'_>, line: &PickLine<'_>) -> i64 {
        let coupons = &order.retailer.terms.coupons;
        let is_covered = |coupon: usize| coupons[coupon].applies_to.covers(line.part);
        let off = |coupon: usize| {
            let off = coupons[coupon].off.of(line.goods);
            off.map_or(0, |off| off.minor())
        };
        match *self {
            Threshold::FreeFrom { .. } => line.off.minor() - line.goods.minor(),
            Threshold::Items { .. } => line.quantity,
            Threshold::Weight { beyond, .. } => line.weight_g.unwrap_or(beyond),
            Threshold::MinimumSpend { .. } => -line.goods.minor(),
            Threshold::Covered { coupon } if is_covered(coupon) => -line.goods.minor(),
            Threshold::WithinCap { coupon, .. } if line.coupon == Some(coupon) => off(coupon),
            Threshold::BeyondCap { coupon, .. } if is_covered(coupon) => -off(coupon),
            _ => 0,
        }
    }

    fn of_mode(&self, order: &Order<'_>, mode: Mode) -> i64 {
        let (fee, code) = match mode {
            Mode::Nothing => (None, None),
            Mode::Ordered { fee, code } => (Some(fee), code),
        };
        let with = |coupon: usize| code.filter(|code| code.coupon == coupon);
        match (self, fee) {
            (Threshold::FreeFrom { from, .. }, Some(Fee::Free)) => {
                from + code.map_or(0, |code| order.fixed_off(code))
            }
            (Threshold::FreeFrom { all_bundles, .. }, _) => -all_bundles,
            (Threshold::Items { .. }, Some(Fee::Paid { items, .. })) => -items,
            (Threshold::Items { all }, _) => -all,
            (Threshold::Weight { most, .. }, fee) => match fee {
                Some(Fee::Paid {
                    band: Some(band), ..
                }) => order.most_weight(band).map_or(-most, |weight| -weight),
                _ => -most,
            },
            (Threshold::MinimumSpend { coupon, least }, _) => with(*coupon).map_or(0, |_| *least),
            (Threshold::Covered { coupon }, _) => {
                with(*coupon).map_or(0, |code| order.fixed_off(code).max(1))
            }
            (Threshold::WithinCap { coupon, cap }, _) => match with(*coupon) {
                Some(Code {
                    is_fixed: false, ..
                }) => -cap,
                _ => 0,
            },
            (Threshold::BeyondCap { coupon, cap }, _) => match with(*coupon) {
                Some(Code { is_fixed: true, .. }) => cap.saturating_add(1),
                _ => 0,
            },
        }
    }

    fn of_bundle(&self, bundle: &Bundle) -> i64 {
        match self {
            Threshold::FreeFrom { .. } => bundle.saves.minor(),
            _ => 0,
        }
    }
}

impl Orders<'_> {
    /// Which picks may be ordered in which way.
    pub(super) fn pair_picks(
        &self,
        problem: &mut Problem,
        market: &Market<'_>,
        first_group: usize,
        number: usize,
    ) {
        let order = &self.orders[number];
        for (group, candidates) in market.candidates.iter().enumerate() {
            let orderables: Vec<Orderable> = candidates
                .iter()
                .map(|one| Orderable::of(one, order))
                .collect();
            let known: BTreeSet<&Orderable> = orderables.iter().collect();
            let known: Vec<&Orderable> = known.into_iter().collect();
            let class = |one: &Orderable| known.iter().position(|known| *known == one);
            let fits = known.iter().map(|orderable| {
                let modes = order.modes.iter();
                modes.map(|mode| orderable.fits(*mode)).collect()
            });
            let fits: Vec<Vec<bool>> = fits.collect();
            if fits.iter().flatten().any(|fits| !fits) {
                let pairing = Pairing {
                    left: group,
                    right: first_group + number,
                    classes: [
                        orderables.iter().filter_map(class).collect(),
                        (0..order.modes.len()).collect(),
                    ],
                    fits,
                };
                problem.pairings.push(pairing.tightened());
            }
        }
    }

    /// What the ways to order at one retailer ask of the picks.
    pub(super) fn hold_thresholds(
        &self,
        problem: &mut Problem,
        market: &Market<'_>,
        first_group: usize,
        number: usize,
    ) {
        let order = &self.orders[number];
        for threshold in self.thresholds(market, number) {
            let column = |candidates: &Vec<Candidate<'_>>| -> Vec<i64> {
                let share = |one| {
                    let line = order.line_of(one);
                    line.map_or(0, |line| threshold.of_line(order, &line))
                };
                candidates.iter().map(share).collect()
            };
            let columns = market.candidates.iter().map(column);
            let mut shares: Vec<(usize, Vec<i64>)> = columns.enumerate().collect();
            let modes = order.modes.iter();
            let modes = modes.map(|mode| threshold.of_mode(order, *mode));
            shares.push((first_group + number, modes.collect()));
            let bundles = self.bundles.iter().enumerate();
            for (at, bundled) in bundles.filter(|(_, bundled)| bundled.order == number) {
                let group = first_group + self.orders.len() + at;
                shares.push((group, vec![0, threshold.of_bundle(bundled.bundle)]));
            }
            shares.retain(|(_, column)| column.iter().any(|share| *share != 0));
            problem.balances.push(Balance {
                name: format!("order at {}", order.retailer.id),
                shares,
                at_most: 0,
            });
        }
    }

    fn thresholds(&self, market: &Market<'_>, number: usize) -> Vec<Threshold> {
        let order = &self.orders[number];
        let mut found = Vec::new();
        // Where nothing is asked for delivery, nothing has to be reached for it to be free.
        if let Some(delivery) = order.delivery.filter(|_| order.asks_for_delivery()) {
            let bundled = self.bundles.iter().filter(|one| one.order == number);
            let all_bundles = bundled.map(|one| one.bundle.saves.minor()).sum();
            let free = delivery.free_from.map(|from| Threshold::FreeFrom {
                from: from.minor(),
                all_bundles,
            });
            found.extend(free);
            if delivery.per_item.minor() > 0 {
                let all = items_in_all(market);
                found.push(Threshold::Items { all });
            }
            if let Some(last) = delivery.by_weight.last() {
                let beyond = last.up_to_g.saturating_add(1);
                let each = beyond.saturating_add(heaviest(market));
                let most = each.saturating_mul(market.candidates.len() as i64 + 1);
                found.push(Threshold::Weight { beyond, most });
            }
        }
        for (coupon, terms) in order.retailer.terms.coupons.iter().enumerate() {
            found.extend(terms.minimum_spend.map(|least| Threshold::MinimumSpend {
                coupon,
                least: least.minor(),
            }));
            match (terms.off, terms.at_most) {
                (Off::Amount(_), _) => found.push(Threshold::Covered { coupon }),
                (Off::Percent(_), Some(cap)) => {
                    let cap = cap.minor();
                    found.push(Threshold::WithinCap { coupon, cap });
                    found.push(Threshold::BeyondCap { coupon, cap });
                }
                (Off::Percent(_), None) => {}
            }
        }
        found
    }
}

/// What an order needs to know of a candidate to say how it may be ordered.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
struct Orderable {
    is_here: bool,
    coupon: Option<usize>,
    /// The coupons that take a share of each line and would take it of this one.
    shared: Vec<usize>,
}

impl Orderable {
    fn of(candidate: &Candidate<'_>, order: &Order<'_>) -> Orderable {
        let line = order.line_of(candidate);
        let coupons = order.retailer.terms.coupons.iter().enumerate();
        let shared = coupons.filter(|(_, coupon)| {
            let is_share = matches!(coupon.off, Off::Percent(_));
            is_share && coupon.applies_to.covers(candidate.part)
        });
        Orderable {
            is_here: line.is_some(),
            coupon: line.as_ref().and_then(|line| line.coupon),
            shared: match line {
                Some(_) => shared.map(|(at, _)| at).collect(),
                None => Vec::new(),
            },
        }
    }

    fn fits(&self, mode: Mode) -> bool {
        if !self.is_here {
            return true;
        }
        let Mode::Ordered { code, .. } = mode else {
            return false;
        };
        let shared = code.filter(|code| !code.is_fixed).map(|code| code.coupon);
        match self.coupon {
            Some(own) => shared == Some(own),
            // A coupon takes its share of every line that it applies to, wanted or not.
            None => shared.is_none_or(|shared| !self.shared.contains(&shared)),
        }
    }
}

fn items_in_all(market: &Market<'_>) -> i64 {
    let quantities = market
        .brief
        .roles
        .iter()
        .map(|role| i64::from(role.quantity));
    quantities.sum()
}

/// The heaviest line that any candidate makes, in grams.
fn heaviest(market: &Market<'_>) -> i64 {
    let roles = market.brief.roles.iter().zip(&market.candidates);
    let weights = roles.flat_map(|(role, candidates)| {
        candidates.iter().filter_map(|one| {
            let weight = one.part.number(Spec::WeightG)?;
            Some(weight * i64::from(role.quantity))
        })
    });
    weights.max().unwrap_or(0)
}
