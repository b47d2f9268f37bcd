//! The ways to order at one retailer, and what each costs.

use crate::catalogue::{Part, Spec};
use crate::market::{Candidate, Delivery, Market, Off, Retailer};
use crate::money::Money;
use std::collections::BTreeSet;

/// How to order at one retailer.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Mode {
    Nothing,
    Ordered { fee: Fee, code: Option<Code> },
}

/// What is paid for delivery.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Fee {
    /// Nothing, because the goods are worth enough or because nothing is asked.
    Free,
    /// For at most so many pieces, and the weight of a band.
    Paid { items: i64, band: Option<usize> },
}

/// A coupon, by its position among the retailer's.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Code {
    pub coupon: usize,
    /// It takes off a fixed sum, not a share of each line.
    pub is_fixed: bool,
}

/// The order at one retailer, and the ways to make it.
pub(super) struct Order<'m> {
    pub retailer: &'m Retailer,
    pub delivery: Option<&'m Delivery>,
    pub modes: Vec<Mode>,
}

/// A candidate as a line of one retailer's order.
pub(super) struct PickLine<'c> {
    pub part: &'c Part,
    pub quantity: i64,
    pub goods: Money,
    pub delivery: Money,
    /// What a coupon takes off it.
    pub off: Money,
    pub coupon: Option<usize>,
    pub weight_g: Option<i64>,
}

impl Order<'_> {
    /// A candidate as a line of this order; `None` where it comes from elsewhere.
    pub(super) fn line_of<'c>(&self, candidate: &'c Candidate<'_>) -> Option<PickLine<'c>> {
        let bought = candidate.bought.as_ref()?;
        if bought.retailer.id != self.retailer.id {
            return None;
        }
        let quantity = i64::from(bought.quantity);
        let weight = candidate.part.number(Spec::WeightG);
        Some(PickLine {
            part: candidate.part,
            quantity,
            goods: bought.goods,
            delivery: bought.delivery,
            off: bought
                .coupon
                .map_or(Money::zero(self.retailer.currency), |(_, off)| off),
            coupon: bought.coupon.map(|(coupon, _)| coupon),
            weight_g: weight.map(|weight| weight * quantity),
        })
    }

    /// An amount of the retailer's in minor units of the brief's currency. Amounts for which there
    /// is no rate never come here: no candidate of such a retailer is in the market.
    pub(super) fn told(&self, market: &Market<'_>, amount: Money) -> i64 {
        let told = self
            .retailer
            .told_in(amount, market.brief.budget.currency());
        told.map_or(0, |told| told.minor())
    }

    pub(super) fn cost(&self, market: &Market<'_>, mode: Mode) -> i64 {
        let Mode::Ordered { fee, code } = mode else {
            return 0;
        };
        let fee = match (fee, self.delivery) {
            (Fee::Paid { items, band }, Some(delivery)) => {
                let band = band.map_or(0, |at| self.told(market, delivery.by_weight[at].costs));
                let per_item = self.told(market, delivery.per_item);
                self.told(market, delivery.flat) + per_item * items + band
            }
            _ => 0,
        };
        let off = code.map_or(0, |code| {
            let fixed = Money::from_minor(self.fixed_off(code), self.retailer.currency);
            self.told(market, fixed)
        });
        fee - off
    }

    /// True when an order pays for delivery unless it is worth enough.
    pub(super) fn asks_for_delivery(&self) -> bool {
        let is_paid = |mode: &Mode| {
            let fee = match mode {
                Mode::Ordered { fee, .. } => Some(fee),
                Mode::Nothing => None,
            };
            matches!(fee, Some(Fee::Paid { .. }))
        };
        self.modes.iter().any(is_paid)
    }

    /// Grams that a band takes; `None` for the last, which takes everything.
    pub(super) fn most_weight(&self, band: usize) -> Option<i64> {
        let bands = &self.delivery?.by_weight;
        (band + 1 < bands.len()).then(|| bands[band].up_to_g)
    }

    /// What a coupon takes off in one sum, in the retailer's currency.
    pub(super) fn fixed_off(&self, code: Code) -> i64 {
        let coupon = &self.retailer.terms.coupons[code.coupon];
        let cap = coupon.at_most.map_or(i64::MAX, |cap| cap.minor());
        match coupon.off {
            Off::Amount(amount) => amount.minor().min(cap),
            Off::Percent(_) if code.is_fixed => cap,
            Off::Percent(_) => 0,
        }
    }

    /// The most that coupons can take off line by line, in the brief's currency.
    pub(super) fn most_shared_off(&self, market: &Market<'_>) -> i64 {
        let off = |candidate: &Candidate<'_>| {
            let line = self.line_of(candidate)?;
            Some(
                self.told(market, line.goods)
                    - self.told(market, line.goods.checked_sub(line.off).ok()?),
            )
        };
        let most = |candidates: &Vec<Candidate<'_>>| candidates.iter().filter_map(off).max();
        market.candidates.iter().filter_map(most).sum()
    }
}

/// The ways to order at a retailer; those without a coupon come first, so that one that takes off
/// nothing is not used.
pub(super) fn modes(
    market: &Market<'_>,
    retailer: &Retailer,
    delivery: Option<&Delivery>,
) -> Vec<Mode> {
    let fees = fees(market, delivery);
    let mut codes = vec![None];
    for (coupon, terms) in retailer.terms.coupons.iter().enumerate() {
        let mut push = |is_fixed| codes.push(Some(Code { coupon, is_fixed }));
        match (terms.off, terms.at_most) {
            (Off::Amount(_), _) => push(true),
            (Off::Percent(_), None) => push(false),
            (Off::Percent(_), Some(_)) => {
                push(false);
                push(true);
            }
        }
    }
    let ordered = codes.into_iter().flat_map(|code| {
        let fees = fees.iter();
        fees.map(move |fee| Mode::Ordered { fee: *fee, code })
    });
    std::iter::once(Mode::Nothing).chain(ordered).collect()
}

fn fees(market: &Market<'_>, delivery: Option<&Delivery>) -> Vec<Fee> {
    let Some(delivery) = delivery else {
        return vec![Fee::Free];
    };
    let bands: Vec<Option<usize>> = match delivery.by_weight.len() {
        0 => vec![None],
        n_bands => (0..n_bands).map(Some).collect(),
    };
    let items = match delivery.per_item.minor() {
        0 => vec![0],
        _ => numbers_of_items(market),
    };
    let asks = delivery.flat.minor() > 0
        || delivery.per_item.minor() > 0
        || delivery.by_weight.iter().any(|band| band.costs.minor() > 0);
    if !asks {
        return vec![Fee::Free];
    }
    let paid = bands.into_iter().flat_map(|band| {
        let items = items.iter();
        items.map(move |items| Fee::Paid {
            items: *items,
            band,
        })
    });
    let free = delivery.free_from.map(|_| Fee::Free);
    free.into_iter().chain(paid).collect()
}

/// How many pieces an order can have: every sum of the quantities of some roles.
fn numbers_of_items(market: &Market<'_>) -> Vec<i64> {
    let mut sums = BTreeSet::from([0]);
    for role in &market.brief.roles {
        let quantity = i64::from(role.quantity);
        let with: Vec<i64> = sums.iter().map(|sum| sum + quantity).collect();
        sums.extend(with);
    }
    sums.into_iter().filter(|sum| *sum > 0).collect()
}
