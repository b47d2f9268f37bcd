//! One order at one retailer: what its lines cost together.
//!
//! Everything is in the retailer's currency until the end: thresholds are compared there, and what
//! is paid is converted amount by amount, each rounded once, so that the parts of a bill add up to
//! its total. May not decide what to order; it settles what was decided.

use super::offer::RetailerId;
use super::retailer::Retailer;
use super::terms::{Bundle, Coupon, Delivery, Off};
use crate::catalogue::{Part, Spec};
use crate::money::{Currency, Money, MoneyError, Rate};

/// One pick in an order.
#[derive(Debug, Clone, Copy)]
pub struct Line<'m> {
    pub part: &'m Part,
    pub quantity: u32,
    /// Price and tax of the whole quantity, in the retailer's currency.
    pub goods: Money,
    /// Delivery of this line alone, where the retailer has no terms for whole orders.
    pub delivery: Money,
}

/// What an order uses of what the retailer grants.
#[derive(Debug, Clone, Default)]
pub struct Grants<'m> {
    pub coupon: Option<&'m Coupon>,
    pub bundles: Vec<&'m Bundle>,
}

/// What one order costs, in the currency of the brief.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Bill {
    pub retailer: RetailerId,
    pub goods: Money,
    /// The code and what it takes off.
    pub coupon: Option<(String, Money)>,
    /// Each bundle and what it takes off.
    pub bundles: Vec<(String, Money)>,
    pub delivery: Money,
    pub total: Money,
}

/// Why an order is not as it was said to be.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum OrderFault {
    #[error("the coupon \"{0}\" does not apply to this order")]
    Coupon(String),
    #[error("the bundle \"{0}\" is not in this order")]
    Bundle(String),
    #[error("there is no rate from {from} to {to}")]
    NoRate { from: Currency, to: Currency },
    #[error(transparent)]
    Amounts(#[from] MoneyError),
}

/// Settles an order.
///
/// # Errors
/// [`OrderFault`] where a grant does not apply, or an amount cannot be told.
pub fn bill(
    retailer: &Retailer,
    delivery: Option<&Delivery>,
    lines: &[Line<'_>],
    grants: &Grants<'_>,
    currency: Currency,
) -> Result<Bill, OrderFault> {
    let own = retailer.currency;
    let told = |amount: Money| retailer.told_in(amount, currency);
    let mut goods = Money::zero(own);
    let mut paid = Money::zero(currency);
    for line in lines {
        goods = goods.checked_add(line.goods)?;
        paid = paid.checked_add(told(line.goods)?)?;
    }
    let mut left = goods;
    let mut total = paid;
    let coupon = grants.coupon.map(|coupon| {
        let off = discount(coupon, lines, goods)?;
        left = left.checked_sub(off.in_all)?;
        let mut told_off = Money::zero(currency);
        for (before, after) in &off.steps {
            let step = told(*before)?.checked_sub(told(*after)?)?;
            told_off = told_off.checked_add(step)?;
        }
        total = total.checked_sub(told_off)?;
        Ok::<_, OrderFault>((coupon.code.clone(), told_off))
    });
    let coupon = coupon.transpose()?;
    let mut pieces: Vec<(&Part, u32)> = lines.iter().map(|one| (one.part, one.quantity)).collect();
    let mut bundles = Vec::new();
    for bundle in &grants.bundles {
        take(bundle, &mut pieces)?;
        left = left.checked_sub(bundle.saves)?;
        let saves = told(bundle.saves)?;
        total = total.checked_sub(saves)?;
        bundles.push((bundle.name.clone(), saves));
    }
    let mut fee = match delivery {
        Some(delivery) => delivered(delivery, lines, left, &told)?,
        None => Money::zero(currency),
    };
    for line in lines {
        fee = fee.checked_add(told(line.delivery)?)?;
    }
    Ok(Bill {
        retailer: retailer.id.clone(),
        goods: paid,
        coupon,
        bundles,
        delivery: fee,
        total: total.checked_add(fee)?,
    })
}

/// What a coupon takes off an order.
struct Discount {
    in_all: Money,
    /// What is paid for before it and after it, amount by amount.
    steps: Vec<(Money, Money)>,
}

fn discount(coupon: &Coupon, lines: &[Line<'_>], goods: Money) -> Result<Discount, OrderFault> {
    let refused = || OrderFault::Coupon(coupon.code.clone());
    if coupon
        .minimum_spend
        .is_some_and(|least| goods.minor() < least.minor())
    {
        return Err(refused());
    }
    let mut eligible = Money::zero(goods.currency());
    let mut in_all = eligible;
    let mut steps = Vec::new();
    for line in lines
        .iter()
        .filter(|one| coupon.applies_to.covers(one.part))
    {
        eligible = eligible.checked_add(line.goods)?;
        if let Off::Percent(_) = coupon.off {
            let off = coupon.off.of(line.goods)?;
            in_all = in_all.checked_add(off)?;
            steps.push((line.goods, line.goods.checked_sub(off)?));
        }
    }
    let fixed = match (coupon.off, coupon.at_most) {
        (Off::Amount(amount), Some(most)) if most.minor() < amount.minor() => Some(most),
        (Off::Amount(amount), _) => Some(amount),
        (Off::Percent(_), Some(most)) if most.minor() < in_all.minor() => Some(most),
        (Off::Percent(_), _) => None,
    };
    if let Some(fixed) = fixed {
        in_all = fixed;
        steps = vec![(fixed, Money::zero(goods.currency()))];
    }
    if eligible.minor() < in_all.minor() || eligible.minor() == 0 {
        return Err(refused());
    }
    Ok(Discount { in_all, steps })
}

/// Takes one piece of each of a bundle's parts from those that no other bundle has taken.
fn take(bundle: &Bundle, pieces: &mut [(&Part, u32)]) -> Result<(), OrderFault> {
    for part in &bundle.parts {
        let piece = pieces
            .iter_mut()
            .find(|(one, left)| one.id == *part && *left > 0);
        let Some((_, left)) = piece else {
            return Err(OrderFault::Bundle(bundle.name.clone()));
        };
        *left -= 1;
    }
    Ok(())
}

fn delivered(
    delivery: &Delivery,
    lines: &[Line<'_>],
    left: Money,
    told: &dyn Fn(Money) -> Result<Money, OrderFault>,
) -> Result<Money, OrderFault> {
    if delivery
        .free_from
        .is_some_and(|from| from.minor() <= left.minor())
    {
        return told(Money::zero(left.currency()));
    }
    let n_items: u32 = lines.iter().map(|line| line.quantity).sum();
    let per_item = told(delivery.per_item)?.times(n_items)?;
    let mut costs = told(delivery.flat)?.checked_add(per_item)?;
    if let Some(band) = delivery.band_of(weight(lines)) {
        costs = costs.checked_add(told(band)?)?;
    }
    Ok(costs)
}

/// Grams of all lines together; `None` where the weight of one is not known.
fn weight(lines: &[Line<'_>]) -> Option<i64> {
    lines
        .iter()
        .map(|line| Some(line.part.number(Spec::WeightG)? * i64::from(line.quantity)))
        .sum()
}

impl Delivery {
    /// What a weight costs; one that is not known pays for the heaviest.
    fn band_of(&self, weight_g: Option<i64>) -> Option<Money> {
        let last = self.by_weight.last()?;
        let fits = |weight: i64| self.by_weight.iter().find(|band| weight <= band.up_to_g);
        Some(weight_g.and_then(fits).unwrap_or(last).costs)
    }
}

impl Retailer {
    /// The author's rate to another currency.
    pub fn rate_to(&self, currency: Currency) -> Option<&Rate> {
        self.exchange.iter().find(|rate| rate.to() == currency)
    }

    /// An amount of the retailer's in another currency, by the author's rate.
    ///
    /// # Errors
    /// [`OrderFault`] where there is no rate, or the amount is too large.
    pub fn told_in(&self, amount: Money, currency: Currency) -> Result<Money, OrderFault> {
        if amount.currency() == currency {
            return Ok(amount);
        }
        let rate = self.rate_to(currency).ok_or(OrderFault::NoRate {
            from: amount.currency(),
            to: currency,
        })?;
        Ok(rate.convert(amount)?.amount)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::catalogue::{Kind, PartId};
    use crate::fit::sample;
    use crate::market::{AppliesTo, Days, Terms};

    fn eur(minor: i64) -> Money {
        Money::from_minor(minor, Currency::EUR)
    }

    fn part(id: &str) -> Part {
        Part {
            id: PartId::new(id),
            ..sample::part(Kind::Fan, &[])
        }
    }

    fn shop() -> Retailer {
        Retailer {
            id: RetailerId::new("r"),
            name: "R".to_owned(),
            country: "DE".to_owned(),
            currency: Currency::EUR,
            locale: None,
            prices_include_tax: true,
            tax_percent_hundredths: 0,
            delivery_per_pick: eur(0),
            terms: Terms::default(),
            links: Default::default(),
            exchange: Vec::new(),
        }
    }

    #[test]
    fn delivery_is_paid_once_for_an_order_and_not_at_all_from_the_threshold_on() {
        // Pitfall O19: a shop ships free from 50 on, else for 5.90.
        let delivery = Delivery {
            to: Vec::new(),
            flat: eur(590),
            per_item: eur(0),
            by_weight: Vec::new(),
            free_from: Some(eur(5_000)),
            tax_percent_hundredths: None,
        };
        let parts = [part("a"), part("b")];
        let total = |goods: [i64; 2]| {
            let lines = parts.iter().zip(goods).map(|(part, goods)| Line {
                part,
                quantity: 1,
                goods: eur(goods),
                delivery: eur(0),
            });
            let lines: Vec<Line<'_>> = lines.collect();
            let none = Grants::default();
            let bill = bill(&shop(), Some(&delivery), &lines, &none, Currency::EUR);
            bill.unwrap().total.minor()
        };
        assert_eq!(total([2_000, 2_999]), 5_589);
        assert_eq!(total([2_000, 3_000]), 5_000);
    }

    #[test]
    fn what_does_not_apply_is_refused() {
        let coupon = Coupon {
            code: "C".to_owned(),
            applies_to: AppliesTo::default(),
            off: Off::Amount(eur(1_000)),
            at_most: None,
            minimum_spend: Some(eur(5_000)),
            days: Days::default(),
        };
        let bundle = Bundle {
            name: "B".to_owned(),
            parts: vec![PartId::new("a"), PartId::new("c")],
            saves: eur(100),
            days: Days::default(),
        };
        let one = part("a");
        let lines = [Line {
            part: &one,
            quantity: 2,
            goods: eur(4_999),
            delivery: eur(0),
        }];
        let billed = |grants: Grants<'_>| bill(&shop(), None, &lines, &grants, Currency::EUR);
        let with_coupon = Grants {
            coupon: Some(&coupon),
            bundles: Vec::new(),
        };
        assert_eq!(billed(with_coupon), Err(OrderFault::Coupon("C".to_owned())));
        let with_bundle = Grants {
            coupon: None,
            bundles: vec![&bundle],
        };
        assert_eq!(billed(with_bundle), Err(OrderFault::Bundle("B".to_owned())));
    }
}
