//! Not solving a brief again, held against solving it: over markets by the dice and changes of a few
//! offers in them, an answer that is said to hold is the one that a fresh solve finds.

use crate::buying::case_with_terms;
use crate::market::{Case, case};
use crate::support::specs::Dice;
use crate::support::world::{World, eur};
use chrono::DateTime;
use rigtide::catalogue::{Catalogue, PartId};
use rigtide::decide::{AnswerRecord, Solved, Spared, spared};
use rigtide::market::{Availability, Brief, Listed, Market, Retailer, RetailerId, market};
use rigtide::money::Money;
use rigtide::optimise::{Effort, Standing, best};
use std::collections::{BTreeMap, BTreeSet};

/// What is asked, apart from what is listed.
struct Asked<'c> {
    brief: &'c Brief,
    catalogue: &'c Catalogue,
    retailers: &'c BTreeMap<RetailerId, Retailer>,
}

impl Asked<'_> {
    fn market<'m>(&'m self, listed: &'m [Listed]) -> Market<'m> {
        market(self.brief, self.catalogue, self.retailers, listed)
    }

    fn answer(&self, listed: &[Listed], standing: &Standing) -> AnswerRecord {
        let market = self.market(listed);
        let answer = best(&market, self.catalogue, standing, Effort::default()).unwrap();
        AnswerRecord::new(&market, &answer, DateTime::UNIX_EPOCH)
    }
}

/// What a build is: parts, where they are bought, what they cost and score.
fn said(answer: &AnswerRecord) -> impl PartialEq + std::fmt::Debug + use<> {
    let picks = answer.picks.iter();
    let picks = picks.map(|pick| (pick.part.clone(), pick.retailer.clone(), pick.landed_minor));
    (
        answer.total_minor,
        answer.score_exact,
        picks.collect::<Vec<_>>(),
    )
}

/// A few offers dearer, cheaper, sold out or gone.
fn changed(listed: &[Listed], dice: &mut Dice) -> Vec<Listed> {
    let mut after = listed.to_vec();
    for _ in 0..=dice.roll(4) {
        let at = dice.roll(after.len() as i64) as usize;
        let price = after[at].price;
        match dice.roll(8) {
            0 => drop(after.remove(at)),
            1 => after[at].availability = Availability::OutOfStock,
            2..5 => after[at].price = times(price, 101 + dice.roll(40)),
            _ => after[at].price = times(price, 99 - dice.roll(40)),
        }
        if after.is_empty() {
            break;
        }
    }
    after
}

fn times(price: Money, percent: i64) -> Money {
    Money::from_minor((price.minor() * percent / 100).max(1), price.currency())
}

/// Solves, changes again and again, and holds what is said to be spared to a fresh solve. Each proof but the
/// first begins where the one before ended.
fn check(asked: &Asked<'_>, listed: &[Listed], dice: &mut Dice) -> Vec<Spared> {
    let first = asked.answer(listed, &Standing::new());
    let standing = first.standing();
    let mut solved = Solved::new(&asked.market(listed), &first, Some(&first));
    let (mut before, mut verdicts) = (listed.to_vec(), Vec::new());
    for _ in 0..3 {
        let after = changed(&before, dice);
        let (then, now) = moved(&before, &after);
        let Some(verdict) = spared(&asked.market(&then), &asked.market(&now), &solved) else {
            break;
        };
        let fresh = asked.answer(&after, &standing);
        assert_eq!(
            said(&fresh),
            said(&first),
            "{verdict:?}, from {then:?} to {now:?}"
        );
        verdicts.push(verdict);
        solved.holds_on(&asked.market(&now));
        before = after;
        if before.is_empty() {
            break;
        }
    }
    verdicts
}

/// The offers of the parts whose offers are not what they were, before and after.
fn moved(before: &[Listed], after: &[Listed]) -> (Vec<Listed>, Vec<Listed>) {
    let of = |listed: &[Listed], part: &PartId| -> Vec<Listed> {
        let own = listed.iter().filter(|one| one.part == *part);
        own.cloned().collect()
    };
    let parts: BTreeSet<&PartId> = before.iter().map(|one| &one.part).collect();
    let moved = parts
        .into_iter()
        .filter(|part| of(before, part) != of(after, part));
    let moved: Vec<&PartId> = moved.collect();
    let of_moved = |listed: &[Listed]| -> Vec<Listed> {
        moved.iter().flat_map(|part| of(listed, part)).collect()
    };
    (of_moved(before), of_moved(after))
}

#[test]
fn an_answer_that_is_spared_a_solve_is_what_a_solve_finds() {
    let mut counts: BTreeMap<Spared, usize> = BTreeMap::new();
    for seed in 0..1_500 {
        let mut dice = Dice(seed ^ 0x5ba2ed);
        let case: Case = match dice.roll(3) {
            0 => case_with_terms(seed),
            _ => case(seed),
        };
        if case.listed.is_empty() {
            continue;
        }
        let asked = Asked {
            brief: &case.brief,
            catalogue: &case.catalogue,
            retailers: &case.retailers,
        };
        for verdict in check(&asked, &case.listed, &mut dice) {
            *counts.entry(verdict).or_default() += 1;
        }
    }
    for seed in 0..60 {
        let world = World::generate(seed, 100);
        let brief = world.brief(eur(60_000 + 5_000 * seed as i64));
        let asked = Asked {
            brief: &brief,
            catalogue: &world.catalogue,
            retailers: &world.retailers,
        };
        for verdict in check(&asked, &world.listed, &mut Dice(seed)) {
            *counts.entry(verdict).or_default() += 1;
        }
    }
    for verdict in [Spared::Unread, Spared::Worse, Spared::Beaten] {
        let n = counts.get(&verdict).copied().unwrap_or(0);
        assert!(n >= 10, "{verdict:?} only {n} times: {counts:?}");
    }
}
