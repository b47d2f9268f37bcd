//! Markets by the dice whose retailers have terms for whole orders, for solvers outside.
//!
//! The JSON says what the author of a market knows: parts with the rules written out by hand
//! (`generated.rs`), offers with prices, and terms. It knows nothing of how the program makes groups
//! and balances of orders; `tests/reference/models.py` states them in its own way.

use super::generated::{Made, parts, problem};
use super::model_json::model_json;
use super::specs::Dice;
use super::world::{World, eur};
use rigtide::catalogue::{Kind, PartId};
use rigtide::market::{AppliesTo, Brief, Bundle, Coupon, Days, Delivery, Off, Retailer, Terms};
use serde_json::{Value, json};

/// Offers of the others are left out.
const N_RETAILERS: usize = 3;
const N_BUNDLES: usize = 3;

/// A market with terms, and the brief that asks for its best build.
pub struct Coupled {
    pub world: World,
    pub brief: Brief,
    made: Vec<Made>,
}

impl Coupled {
    pub fn generate(seed: u64, n_parts: usize, budget: i64) -> Coupled {
        let mut world = World::generate(seed, n_parts);
        let mut dice = Dice(seed ^ 0xc0de);
        let left_out: Vec<_> = world.retailers.keys().skip(N_RETAILERS).cloned().collect();
        world.retailers.retain(|id, _| !left_out.contains(id));
        world.listed.retain(|one| !left_out.contains(&one.retailer));
        let ids: Vec<PartId> = world.catalogue.parts.keys().cloned().collect();
        for retailer in world.retailers.values_mut() {
            retailer.terms = terms(&mut dice, &ids);
        }
        let mut brief = world.brief(eur(budget));
        brief.most_retailers = (dice.roll(2) == 0).then(|| 1 + dice.roll(2) as u32);
        Coupled {
            world,
            brief,
            made: parts(seed, n_parts),
        }
    }

    /// The model written by hand, with offers and terms beside it.
    pub fn json(&self) -> Value {
        let mut model = model_json(&problem(&self.made, self.brief.budget.minor()));
        let offers = self.world.listed.iter().map(|listed| {
            let (group, choice) = self.place(&listed.part);
            let retailers = self.world.retailers.keys();
            let retailer = retailers.take_while(|id| **id != listed.retailer).count();
            json!([group, choice, retailer, listed.price.minor()])
        });
        model["offers"] = offers.collect();
        let retailers = self.world.retailers.values();
        model["retailers"] = retailers.map(|one| self.terms_json(one)).collect();
        model["most_retailers"] = json!(self.brief.most_retailers);
        model
    }

    /// The group and the choice of a part, which is called by its kind and its number among all.
    fn place(&self, part: &PartId) -> (usize, usize) {
        let (_, number) = part.as_str().rsplit_once('-').unwrap();
        let number: usize = number.parse().unwrap();
        let kind = self.made[number].kind;
        let before = self.made[..number].iter();
        let group = Kind::CORE.iter().take_while(|one| **one != kind).count();
        (group, before.filter(|one| one.kind == kind).count())
    }

    fn terms_json(&self, retailer: &Retailer) -> Value {
        let delivery = &retailer.terms.deliveries[0];
        let groups = |applies_to: &AppliesTo| -> Vec<usize> {
            let kinds = Kind::CORE.iter().enumerate();
            let covered = kinds
                .filter(|(_, kind)| applies_to.kinds.is_empty() || applies_to.kinds.contains(kind));
            covered.map(|(group, _)| group).collect()
        };
        let coupons = retailer.terms.coupons.iter().map(|coupon| {
            let (percent_hundredths, amount) = match coupon.off {
                Off::Percent(hundredths) => (Some(hundredths), None),
                Off::Amount(amount) => (None, Some(amount.minor())),
            };
            json!({
                "groups": groups(&coupon.applies_to),
                "percent_hundredths": percent_hundredths,
                "amount": amount,
                "at_most": coupon.at_most.map(|most| most.minor()),
                "minimum_spend": coupon.minimum_spend.map(|least| least.minor()),
            })
        });
        let bundles = retailer.terms.bundles.iter().map(|bundle| {
            let parts = bundle.parts.iter().map(|part| self.place(part));
            json!({ "parts": parts.collect::<Vec<_>>(), "saves": bundle.saves.minor() })
        });
        json!({
            "flat": delivery.flat.minor(),
            "per_item": delivery.per_item.minor(),
            "free_from": delivery.free_from.map(|from| from.minor()),
            "coupons": coupons.collect::<Vec<_>>(),
            "bundles": bundles.collect::<Vec<_>>(),
        })
    }
}

/// Delivery that may be free above a threshold, up to two coupons, and bundles of two parts.
fn terms(dice: &mut Dice, ids: &[PartId]) -> Terms {
    let mut one_in = |n: i64, amount: i64| (dice.roll(n) == 0).then(|| eur(amount));
    let (at_most, minimum_spend, per_item) = (
        one_in(2, 2_500),
        one_in(2, 40_000),
        one_in(3, 90).unwrap_or(eur(0)),
    );
    let free_from = (dice.roll(4) != 0).then(|| eur(20_000 * (1 + dice.roll(5))));
    let delivery = Delivery {
        to: Vec::new(),
        flat: eur(390 + 100 * dice.roll(8)),
        per_item,
        by_weight: Vec::new(),
        free_from,
        tax_percent_hundredths: None,
    };
    let coupons = (0..dice.roll(3)).map(|number| Coupon {
        code: format!("CODE{number}"),
        applies_to: AppliesTo {
            kinds: match dice.roll(3) {
                0 => vec![Kind::Gpu],
                1 => vec![Kind::Cpu, Kind::Memory],
                _ => Vec::new(),
            },
            ..AppliesTo::default()
        },
        off: match dice.roll(2) {
            0 => Off::Percent(300 + 150 * dice.roll(5) as u32),
            _ => Off::Amount(eur(1_000 + 500 * dice.roll(5))),
        },
        at_most,
        minimum_spend,
        days: Days::default(),
    });
    let coupons = coupons.collect();
    let bundles = (0..N_BUNDLES).filter_map(|number| {
        let mut any = || ids[dice.roll(ids.len() as i64) as usize].clone();
        let parts = vec![any(), any()];
        (parts[0] != parts[1]).then(|| Bundle {
            name: format!("bundle {number}"),
            parts,
            saves: eur(1_500 + 500 * dice.roll(6)),
            days: Days::default(),
        })
    });
    let bundles = bundles.collect();
    Terms {
        deliveries: vec![delivery],
        coupons,
        bundles,
        rebates: Vec::new(),
    }
}
