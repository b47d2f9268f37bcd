//! Orders as groups of the problem: which retailers to order from, and on which terms.
//!
//! A retailer that asks something for a whole order has a group of its own. Its choices are the
//! ways to order there: not at all, with delivery paid, with delivery free, each with a coupon or
//! without. So a threshold that is reached is a choice like any other: what it costs stands at the
//! choice, and what it asks for is a balance over the picks. Picks at a retailer pair with the ways
//! that let them be ordered. Each bundle is a group as well, taken or not. The engines know nothing
//! of all this; to them it is one more group.
//!
//! All amounts in balances are in the retailer's own currency, those of choices in the brief's.

use super::pairing::Pairing;
use super::problem::{Balance, Choice, Claim, OrderSide, OrderSides, Problem};
use crate::market::{Bill, Bundle, Candidate, Coupon, Grants, Line, Market, OrderFault, bill};
use mode::{Mode, Order, modes};
use std::collections::BTreeSet;

mod limits;
mod mode;

/// The orders of a market: one group each, behind those of the roles.
pub struct Orders<'m> {
    orders: Vec<Order<'m>>,
    bundles: Vec<Bundled<'m>>,
}

struct Bundled<'m> {
    /// By position among the orders.
    order: usize,
    bundle: &'m Bundle,
}

impl<'m> Orders<'m> {
    /// The orders that a market's candidates could be in.
    pub fn of(market: &Market<'m>) -> Orders<'m> {
        let brief = market.brief;
        let bought = market
            .candidates
            .iter()
            .flatten()
            .filter_map(|candidate| candidate.bought.as_ref());
        let used: BTreeSet<_> = bought.map(|bought| &bought.retailer.id).collect();
        let retailers = used.into_iter().filter_map(|id| market.retailers.get(id));
        let orders: Vec<Order<'m>> = retailers
            .filter(|retailer| retailer.has_order_terms(brief))
            .map(|retailer| {
                let delivery = retailer.delivery_to(brief);
                Order {
                    retailer,
                    delivery,
                    modes: modes(market, retailer, delivery),
                }
            })
            .collect();
        let mut bundles = Vec::new();
        for (order, one) in orders.iter().enumerate() {
            let can_be_had = |bundle: &&Bundle| {
                let parts = bundle.parts.iter();
                parts.clone().all(|part| {
                    let offered = market.candidates.iter().flatten();
                    let mut offered = offered.filter(|candidate| candidate.part.id == *part);
                    offered.any(|candidate| one.line_of(candidate).is_some())
                })
            };
            let had = one.retailer.terms.bundles.iter().filter(can_be_had);
            bundles.extend(had.map(|bundle| Bundled { order, bundle }));
        }
        Orders { orders, bundles }
    }

    /// Adds the groups of orders and bundles, and what ties them to the roles, to a problem that
    /// has the groups of the roles.
    pub fn add_to(&self, problem: &mut Problem, market: &Market<'_>) {
        if self.orders.is_empty() {
            return;
        }
        let first_group = problem.groups.len();
        let choice = |cost| Choice {
            cost,
            is_standing: true,
        };
        for order in &self.orders {
            let costs = order.modes.iter().map(|mode| order.cost(market, *mode));
            problem.groups.push(costs.map(choice).collect());
        }
        for bundled in &self.bundles {
            let saves = self.orders[bundled.order].told(market, bundled.bundle.saves);
            problem.groups.push(vec![choice(0), choice(-saves)]);
        }
        for number in 0..self.orders.len() {
            self.pair_picks(problem, market, first_group, number);
            self.hold_thresholds(problem, market, first_group, number);
        }
        self.hold_bundles(problem, market, first_group);
        if let Some(most) = market.brief.most_retailers {
            let made = |order: &Order<'_>| -> Vec<i64> {
                let modes = order.modes.iter();
                modes
                    .map(|mode| i64::from(*mode != Mode::Nothing))
                    .collect()
            };
            let orders = self.orders.iter().enumerate();
            problem.balances.push(Balance {
                name: "most retailers".to_owned(),
                shares: orders
                    .map(|(number, order)| (first_group + number, made(order)))
                    .collect(),
                at_most: i64::from(most),
            });
        }
        problem.orders = self.sides(problem, market, first_group);
    }

    /// A bundle takes one piece of each of its parts, and no piece is in two of them.
    fn hold_bundles(&self, problem: &mut Problem, market: &Market<'_>, first_group: usize) {
        let first_bundle = first_group + self.orders.len();
        let parts: BTreeSet<_> = self
            .bundles
            .iter()
            .flat_map(|bundled| {
                bundled
                    .bundle
                    .parts
                    .iter()
                    .map(|part| (bundled.order, part))
            })
            .collect();
        for (number, part) in parts {
            let order = &self.orders[number];
            let pieces = |one: &Candidate<'_>| {
                let line = order.line_of(one).filter(|_| one.part.id == *part);
                line.map_or(0, |line| -line.quantity)
            };
            let columns = market.candidates.iter().map(|candidates| {
                let pieces = candidates.iter().map(pieces);
                pieces.collect::<Vec<i64>>()
            });
            let mut shares: Vec<(usize, Vec<i64>)> = columns.enumerate().collect();
            shares.retain(|(_, column)| column.iter().any(|share| *share != 0));
            let takers = self.bundles.iter().enumerate();
            let takers = takers
                .filter(|(_, one)| one.order == number && one.bundle.parts.contains(part))
                .map(|(at, _)| first_bundle + at);
            let takers: Vec<usize> = takers.collect();
            if let [(group, column)] = shares.as_slice() {
                // One role alone can have it: a pairing says so more tightly.
                for taker in &takers {
                    let fits = column.iter().map(|share| vec![true, *share != 0]);
                    let pairing = Pairing::of_choices([*group, *taker], fits.collect());
                    problem.pairings.push(pairing);
                }
            }
            shares.extend(takers.into_iter().map(|taker| (taker, vec![0, 1])));
            problem.balances.push(Balance {
                name: format!("bundles with {part}"),
                shares,
                at_most: 0,
            });
        }
    }

    /// What leaving a choice for another can cost in orders at most.
    fn sides(&self, problem: &Problem, market: &Market<'_>, first_group: usize) -> OrderSides {
        let swings = self.orders.iter().enumerate().map(|(number, order)| {
            let costs = &problem.groups[first_group + number];
            let plain = order.modes.iter().zip(costs);
            let plain =
                plain.filter(|(mode, _)| !matches!(mode, Mode::Ordered { code: Some(_), .. }));
            let dearest = plain.map(|(_, choice)| choice.cost).max().unwrap_or(0);
            let least = costs.iter().map(|choice| choice.cost).min().unwrap_or(0);
            dearest - least + order.most_shared_off(market)
        });
        let swings: Vec<i64> = swings.collect();
        let side = |candidate: &Candidate<'_>| {
            let bought = candidate.bought.as_ref();
            let order = bought.and_then(|bought| {
                let mut orders = self.orders.iter();
                orders.position(|order| order.retailer.id == bought.retailer.id)
            });
            let bundles = self.bundles.iter().filter(|one| {
                Some(one.order) == order && one.bundle.parts.contains(&candidate.part.id)
            });
            let told = |one: &Bundled<'_>| self.orders[one.order].told(market, one.bundle.saves);
            OrderSide {
                order,
                at_stake: bundles.map(told).sum(),
                has_code: bought.is_some_and(|bought| bought.coupon.is_some()),
            }
        };
        let choices = market.candidates.iter().map(|candidates| {
            let sides = candidates.iter().map(side);
            sides.collect()
        });
        OrderSides {
            first_group: Some(first_group),
            swings,
            choices: choices.collect(),
            claims: self.claims(market, first_group + self.orders.len()),
            is_limited: market.brief.most_retailers.is_some(),
        }
    }

    /// Each bundle's saving in equal shares, rounded up, over the lines that it can be made of.
    fn claims(&self, market: &Market<'_>, first_bundle: usize) -> Vec<Claim> {
        let claim = |(at, bundled): (usize, &Bundled<'_>)| {
            let order = &self.orders[bundled.order];
            let parts: BTreeSet<_> = bundled.bundle.parts.iter().collect();
            let saves = order.told(market, bundled.bundle.saves);
            // Rounded up; a bundle has parts.
            let each = (saves + parts.len() as i64 - 1) / parts.len().max(1) as i64;
            let share = |one: &Candidate<'_>| {
                let line = order.line_of(one);
                line.map_or(0, |line| i64::from(parts.contains(&line.part.id)) * each)
            };
            let columns = market.candidates.iter().map(|candidates| {
                let shares = candidates.iter().map(share);
                shares.collect::<Vec<i64>>()
            });
            let mut shares: Vec<(usize, Vec<i64>)> = columns.enumerate().collect();
            shares.retain(|(_, column)| column.iter().any(|share| *share != 0));
            Claim {
                group: first_bundle + at,
                shares,
            }
        };
        self.bundles.iter().enumerate().map(claim).collect()
    }

    /// The bills of a selection, one for each retailer with terms that is ordered from.
    ///
    /// # Errors
    /// [`OrderFault`] when the selection's orders do not hold.
    pub fn bills(&self, market: &Market<'_>, selection: &[usize]) -> Result<Vec<Bill>, OrderFault> {
        let n_roles = market.candidates.len();
        let mut bills = Vec::new();
        for (number, order) in self.orders.iter().enumerate() {
            let chosen = market.candidates.iter().zip(selection);
            let lines: Vec<Line<'_>> = chosen
                .filter_map(|(candidates, position)| order.line_of(&candidates[*position]))
                .map(|line| Line {
                    part: line.part,
                    quantity: line.quantity as u32,
                    goods: line.goods,
                    delivery: line.delivery,
                })
                .collect();
            if lines.is_empty() {
                continue;
            }
            let mode = order.modes[selection[n_roles + number]];
            let code = match mode {
                Mode::Ordered { code, .. } => code,
                Mode::Nothing => None,
            };
            let coupon = code.map(|code| &order.retailer.terms.coupons[code.coupon]);
            let takes =
                |coupon: &&Coupon| lines.iter().any(|line| coupon.applies_to.covers(line.part));
            let first_bundle = n_roles + self.orders.len();
            let taken = self
                .bundles
                .iter()
                .enumerate()
                .filter(|(at, one)| one.order == number && selection[first_bundle + at] == 1);
            let grants = Grants {
                coupon: coupon.filter(takes),
                bundles: taken.map(|(_, one)| one.bundle).collect(),
            };
            let currency = market.brief.budget.currency();
            bills.push(bill(
                order.retailer,
                order.delivery,
                &lines,
                &grants,
                currency,
            )?);
        }
        Ok(bills)
    }
}
