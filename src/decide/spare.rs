//! When a brief need not be solved again: proofs that a change of offers cannot alter its answer.
//!
//! Let M be the market that was solved, X its best build, and N the market now. The answer is the
//! first of all sets that fit, by score, then cost, then parts changed from the standing build, then
//! part ids ("better" below), so it is unique. X is N's answer, too, where
//!
//! 1. *everything that a build reads is equal*: N's candidates are M's; or
//! 2. *whatever differs is worse*: no candidate of a part in X differs, and each candidate that does
//!    is gone or costs no less than in M. Every set of N is one of M that costs no less and scores
//!    the same, so none is better than X; and X itself is in N at M's cost; or
//! 3. *what improved is beaten*: a part that came in or became cheaper keeps every build with it
//!    below X's score, since a workload is never done faster than the part itself does it, nor than
//!    the best candidate of each other role. Sets without the part are judged by 2.
//!
//! 2 and 3 take a set's cost to be the sum of its lines and to grow with each of them. What a retailer
//! asks and grants for whole orders breaks that (a dearer line can earn free delivery), so they are not
//! used where a candidate at such a retailer differs, nor where the number of retailers is limited. They
//! need a proven X: what a time limit cut off says nothing. 3 needs a score of rates alone, without
//! wishes. The standing build is priced anew at each look, hence its parts count as parts of X.

use super::record::{AnswerRecord, ProofStatus};
use crate::catalogue::{Kind, Part, PartId};
use crate::market::{Brief, Candidate, Market};
use std::collections::{BTreeMap, BTreeSet};

/// What is known of a brief since it was last solved.
#[derive(Debug, Clone)]
pub struct Solved {
    /// The parts of the best build and of the standing one.
    parts: BTreeSet<PartId>,
    /// The parts whose offers in other countries matter, too.
    abroad: BTreeSet<PartId>,
    /// The exact score of a proven best build.
    score: Option<i64>,
    /// By workload, in the brief's order, and kind: the highest log-rate among the candidates.
    ceilings: Vec<BTreeMap<Kind, i64>>,
}

/// Why a brief was not solved again.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Spared {
    /// Offers moved, but nothing that the brief's market reads.
    Unread,
    /// What moved is gone or costs no less, and is not in the build.
    Worse,
    /// What became cheaper cannot score as much as the build does.
    Beaten,
}

impl Solved {
    /// What there is to know of an answer to a market.
    pub fn new(
        market: &Market<'_>,
        answer: &AnswerRecord,
        standing: Option<&AnswerRecord>,
    ) -> Solved {
        let answers = standing.into_iter().chain([answer]);
        let picks = answers.flat_map(|answer| &answer.picks);
        let is_proven = answer.proof.status == ProofStatus::Optimal;
        let mut solved = Solved {
            parts: picks.map(|pick| pick.part.clone()).collect(),
            abroad: BTreeSet::new(),
            score: answer.score_exact.filter(|_| is_proven),
            ceilings: vec![BTreeMap::new(); market.brief.objective.workloads.len()],
        };
        solved.raise(market);
        solved
    }

    /// What moves of these parts matters, too.
    pub fn watch(&mut self, answer: &AnswerRecord) {
        let picks = answer.picks.iter();
        self.parts.extend(picks.map(|pick| pick.part.clone()));
    }

    /// Whatever moves of these parts matters, be it sold elsewhere than in the brief's country.
    pub fn watch_abroad(&mut self, answer: &AnswerRecord) {
        let picks = answer.picks.iter();
        self.abroad.extend(picks.map(|pick| pick.part.clone()));
    }

    /// Whether offers of the part matter that the brief's market does not have.
    pub fn reads_abroad(&self, part: &PartId) -> bool {
        self.abroad.contains(part)
    }

    /// What was proven on a market from before holds on `now`, where the answer was found to: the build is
    /// its best, too, and the ceilings cover both.
    pub fn holds_on(&mut self, now: &Market<'_>) {
        self.raise(now);
    }

    /// Takes the candidates of a market into account where they are faster.
    fn raise(&mut self, market: &Market<'_>) {
        let workloads = &market.brief.objective.workloads;
        for (weighted, ceilings) in workloads.iter().zip(&mut self.ceilings) {
            for candidate in market.candidates.iter().flatten() {
                let kind = candidate.part.kind;
                if weighted.is_limited_by(kind)
                    && let Some(rate) = weighted.allowed(candidate.part)
                {
                    let ceiling = ceilings.entry(kind).or_insert(rate.micro());
                    *ceiling = (*ceiling).max(rate.micro());
                }
            }
        }
    }

    /// A score that no build with this part exceeds; `None` where nothing bounds it.
    fn most_with(&self, brief: &Brief, part: &Part) -> Option<i64> {
        if brief.roles.iter().any(|role| !role.wishes.is_empty()) {
            return None;
        }
        let mut most = 0_i64;
        for (weighted, ceilings) in brief.objective.workloads.iter().zip(&self.ceilings) {
            let others = ceilings.iter().filter(|(kind, _)| **kind != part.kind);
            let others = others.map(|(_, ceiling)| *ceiling).min();
            let own = match weighted.is_limited_by(part.kind) {
                true => Some(weighted.allowed(part)?.micro()),
                false => None,
            };
            let rate = own.into_iter().chain(others).min()?;
            most = most.checked_add(weighted.weight.checked_mul(rate)?)?;
        }
        Some(most)
    }
}

/// Whether the answer still holds, and why. `then` and `now` are the markets of the parts whose
/// offers moved since the solve, with their offers of then and of now; all else stands as it did.
pub fn spared(then: &Market<'_>, now: &Market<'_>, solved: &Solved) -> Option<Spared> {
    let brief = now.brief;
    let mut verdict = Spared::Unread;
    let mut known = solved.clone();
    // Several parts may have become cheaper at once, and be in one build.
    known.raise(now);
    for (before, after) in then.candidates.iter().zip(&now.candidates) {
        let (before, after) = (by_part(before), by_part(after));
        let ids: BTreeSet<&PartId> = before.keys().chain(after.keys()).copied().collect();
        for id in ids {
            let was = before.get(id).map_or(&[][..], Vec::as_slice);
            let is = after.get(id).map_or(&[][..], Vec::as_slice);
            if was.len() == is.len() && was.iter().zip(is).all(|(was, is)| reads_same(was, is)) {
                continue;
            }
            let score = solved.score?;
            let ways = || was.iter().chain(is);
            if solved.parts.contains(id) || ways().any(|way| has_order_terms(brief, way)) {
                return None;
            }
            let least = |ways: &[&Candidate<'_>]| ways.iter().map(|way| way.landed.minor()).min();
            let is_worse = match (least(was), least(is)) {
                (_, None) => true,
                (Some(was), Some(is)) => is >= was,
                (None, Some(_)) => false,
            };
            let reason = match is.first() {
                _ if is_worse => Spared::Worse,
                Some(way) if known.most_with(brief, way.part)? < score => Spared::Beaten,
                _ => return None,
            };
            verdict = verdict.max(reason);
        }
    }
    Some(verdict)
}

fn by_part<'c, 'm>(ways: &'c [Candidate<'m>]) -> BTreeMap<&'c PartId, Vec<&'c Candidate<'m>>> {
    let mut parts: BTreeMap<&PartId, Vec<&Candidate<'m>>> = BTreeMap::new();
    for way in ways {
        parts.entry(&way.part.id).or_default().push(way);
    }
    parts
}

fn has_order_terms(brief: &Brief, way: &Candidate<'_>) -> bool {
    let bought = way.bought.as_ref();
    bought.is_some_and(|bought| bought.retailer.has_order_terms(brief))
}

/// True where a build reads the same of two ways to get a part.
fn reads_same(one: &Candidate<'_>, other: &Candidate<'_>) -> bool {
    let same_purchase = match (&one.bought, &other.bought) {
        (None, None) => true,
        (Some(one), Some(other)) => {
            let key =
                |listed: &crate::market::Listed| (listed.retailer.clone(), listed.sku.clone());
            key(one.listed) == key(other.listed)
                && one.listed.seller == other.listed.seller
                && (
                    one.quantity,
                    one.goods,
                    one.delivery,
                    one.coupon,
                    one.rebate,
                ) == (
                    other.quantity,
                    other.goods,
                    other.delivery,
                    other.coupon,
                    other.rebate,
                )
        }
        _ => false,
    };
    one.landed == other.landed && same_purchase
}
