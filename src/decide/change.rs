//! What two answers differ in, and whether a person should hear of it.

use super::record::{AnswerRecord, PickRecord};
use crate::market::ChangeTerms;

/// What a new answer means for the standing one.
#[derive(Debug, Clone, PartialEq)]
pub enum Change {
    /// The first answer to this brief.
    First,
    /// The same parts, or the same lack of any.
    None,
    /// Another build is better, but by less than the brief asks for: the standing one stays.
    TooSmall,
    /// The best build changed.
    Build(BuildChange),
    /// There was a build and now nothing fits.
    BecameImpossible,
    /// Nothing fitted and now there is a build.
    BecamePossible,
}

/// How one build differs from another.
#[derive(Debug, Clone, PartialEq)]
pub struct BuildChange {
    pub went_out: Vec<PickRecord>,
    pub came_in: Vec<PickRecord>,
    /// Why the standing build did not stay.
    pub cause: Cause,
}

/// Why the standing build did not stay.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Cause {
    /// It can still be had, and the new one is better by enough.
    Better,
    /// It can no longer be had within the brief at today's prices.
    Unavailable,
}

/// Compares the standing answer with today's best.
///
/// `repriced` is the standing build at today's prices, `None` when it can no longer be had. An
/// answer that a time limit cut off never displaces a build that still stands.
pub fn compare(
    standing: Option<&AnswerRecord>,
    repriced: Option<&AnswerRecord>,
    today: &AnswerRecord,
    terms: &ChangeTerms,
) -> Change {
    let Some(standing) = standing else {
        return Change::First;
    };
    match (standing.has_build(), today.has_build()) {
        (false, false) => return Change::None,
        (false, true) => return Change::BecamePossible,
        (true, false) => return Change::BecameImpossible,
        (true, true) => {}
    }
    let went_out = missing_from(&standing.picks, &today.picks);
    let came_in = missing_from(&today.picks, &standing.picks);
    if went_out.is_empty() && came_in.is_empty() {
        return Change::None;
    }
    let cause = match repriced {
        None => Cause::Unavailable,
        Some(repriced) if is_worth_it(repriced, today, terms) => Cause::Better,
        Some(_) => return Change::TooSmall,
    };
    Change::Build(BuildChange {
        went_out,
        came_in,
        cause,
    })
}

fn missing_from(picks: &[PickRecord], others: &[PickRecord]) -> Vec<PickRecord> {
    let stays = |pick: &PickRecord| {
        others
            .iter()
            .any(|other| other.role == pick.role && other.part == pick.part)
    };
    picks.iter().filter(|pick| !stays(pick)).cloned().collect()
}

/// Both builds at today's prices: enough score gained, or enough saved without losing any.
fn is_worth_it(repriced: &AnswerRecord, today: &AnswerRecord, terms: &ChangeTerms) -> bool {
    let (Some(score_before), Some(score_after)) = (repriced.score_exact, today.score_exact) else {
        return true;
    };
    if score_after > score_before {
        let shown = |record: &AnswerRecord| record.score.unwrap_or(0.0);
        let gain = (shown(today) - shown(repriced)) / shown(repriced).max(f64::MIN_POSITIVE);
        return gain * 10_000.0 >= terms.least_score_hundredths as f64;
    }
    let saved = repriced.total_minor.unwrap_or(0) - today.total_minor.unwrap_or(0);
    score_after == score_before && saved > 0 && saved >= terms.least_saving.minor()
}

#[cfg(test)]
pub(super) mod tests {
    use super::*;
    use crate::catalogue::PartId;
    use crate::decide::record::{Considered, ProofRecord, ProofStatus};
    use crate::market::{RetailerId, RoleId, Sku};
    use crate::money::{Currency, Money};
    use std::collections::BTreeMap;

    pub(crate) fn record(parts: &[&str], total: i64, score: f64) -> AnswerRecord {
        let pick = |(at, part): (usize, &&str)| PickRecord {
            role: RoleId::new(format!("role {at}")),
            part: PartId::new(*part),
            name: format!("Part {part}"),
            quantity: 1,
            retailer: Some(RetailerId::new("shop")),
            sku: Some(Sku::new("1")),
            price_minor: Some(total / parts.len() as i64),
            price_currency: None,
            rebate_minor: 0,
            availability: Some("in_stock".to_owned()),
            lead_days: None,
            landed_minor: total / parts.len() as i64,
            link: None,
            seen_at: Some("2026-03-01T12:00:00Z".to_owned()),
        };
        AnswerRecord {
            brief: "b".to_owned(),
            at: "2026-03-01T12:00:00Z".to_owned(),
            currency: "EUR".to_owned(),
            budget_minor: 150_000,
            total_minor: (!parts.is_empty()).then_some(total),
            score: (!parts.is_empty()).then_some(score),
            score_exact: (!parts.is_empty()).then_some((score * 1_000.0) as i64),
            estimated_percent: None,
            proof: ProofRecord {
                status: ProofStatus::Optimal,
                bound: None,
                gap: None,
            },
            considered: Considered {
                parts: 0,
                offers: 0,
            },
            gain_percent_of_a_tenth: BTreeMap::new(),
            rates: BTreeMap::new(),
            picks: parts.iter().enumerate().map(pick).collect(),
            orders: Vec::new(),
            wishes: Vec::new(),
            cautions: Vec::new(),
            obstacles: Vec::new(),
            left_out: BTreeMap::new(),
        }
    }

    fn terms() -> ChangeTerms {
        ChangeTerms {
            least_score_hundredths: 100,
            least_saving: Money::from_minor(1_000, Currency::EUR),
        }
    }

    fn check(standing: (&[&str], i64, f64), today: (&[&str], i64, f64), expected: &str) {
        let before = record(standing.0, standing.1, standing.2);
        let after = record(today.0, today.1, today.2);
        let change = compare(Some(&before), Some(&before), &after, &terms());
        let name = match change {
            Change::First => "first",
            Change::None => "none",
            Change::TooSmall => "too small",
            Change::Build(_) => "build",
            Change::BecameImpossible => "impossible",
            Change::BecamePossible => "possible",
        };
        assert_eq!(name, expected);
    }

    #[test]
    fn a_gain_counts_from_the_brief_s_threshold_on() {
        check((&["a"], 100_000, 100.0), (&["b"], 100_000, 101.0), "build");
        check(
            (&["a"], 100_000, 100.0),
            (&["b"], 100_000, 100.99),
            "too small",
        );
        check((&["a"], 100_000, 100.0), (&["b"], 99_000, 100.0), "build");
        check(
            (&["a"], 100_000, 100.0),
            (&["b"], 99_001, 100.0),
            "too small",
        );
    }

    #[test]
    fn moving_prices_of_the_same_parts_are_no_change() {
        // Pitfall N09.
        check((&["a"], 19_990, 100.0), (&["a"], 19_989, 100.0), "none");
        check((&["a"], 19_990, 100.0), (&["a"], 9_000, 100.0), "none");
    }

    #[test]
    fn possible_and_impossible_are_told_once() {
        // Pitfall N12.
        check((&["a"], 100_000, 100.0), (&[], 0, 0.0), "impossible");
        check((&[], 0, 0.0), (&[], 0, 0.0), "none");
        check((&[], 0, 0.0), (&["a"], 100_000, 100.0), "possible");
    }

    #[test]
    fn a_build_that_can_no_longer_be_had_is_replaced_even_by_a_worse_one() {
        let before = record(&["a"], 100_000, 100.0);
        let after = record(&["b"], 110_000, 90.0);
        let change = compare(Some(&before), None, &after, &terms());
        assert!(matches!(
            change,
            Change::Build(BuildChange {
                cause: Cause::Unavailable,
                ..
            })
        ));
    }
}
