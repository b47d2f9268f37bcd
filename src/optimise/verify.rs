//! The independent check of a finished build, in integers.
//!
//! Knows nothing of the model or the solver: it reads the picks, looks the parts up again and
//! judges budget, roles, needs, floors and every fit rule from the catalogue. A build that fails
//! is a fault of ours and is never shown.

use super::build::Build;
use crate::catalogue::{Catalogue, Part};
use crate::fit::{Finding, Seat, is_blocking};
use crate::market::Brief;
use crate::money::Money;
use crate::rates::LogRate;

/// What is wrong with a build that was about to be shown.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum VerifyFault {
    #[error("the picks do not fill the roles of the brief one by one")]
    Roles,
    #[error("the part \"{0}\" is not in the catalogue or not of the role's kind")]
    Part(String),
    #[error("the part \"{0}\" misses a need of its role")]
    Need(String),
    #[error("the picks cost {actual}, not {stated}")]
    Total { actual: Money, stated: Money },
    #[error("the build costs {total}, more than the budget of {budget}")]
    Budget { total: Money, budget: Money },
    #[error("the amounts cannot be added up")]
    Amounts,
    #[error("the score is {actual}, not {stated}")]
    Score { actual: i64, stated: i64 },
    #[error("the workload \"{0}\" stays below its floor")]
    Floor(String),
    #[error("the rule {rule} is broken: {reason}")]
    Rule { rule: String, reason: String },
}

/// Checks a build and returns what a person should know of it: cautions and unproven rules.
///
/// # Errors
/// [`VerifyFault`] for the first thing that is wrong.
pub fn verify(
    build: &Build,
    brief: &Brief,
    catalogue: &Catalogue,
) -> Result<Vec<Finding>, VerifyFault> {
    let parts = seated(build, brief, catalogue)?;
    check_cost(build, brief)?;
    check_score(build, brief, &parts)?;
    let seats: Vec<Seat<'_>> = build
        .picks
        .iter()
        .zip(&parts)
        .map(|(pick, part)| Seat {
            role: pick.role.as_str(),
            part,
            quantity: pick.quantity,
        })
        .collect();
    let findings = brief.rules.check(&seats, &brief.terms);
    match findings
        .iter()
        .find(|finding| is_blocking(finding, &brief.terms))
    {
        Some(broken) => Err(VerifyFault::Rule {
            rule: broken.rule.clone(),
            reason: broken.reason.clone(),
        }),
        None => Ok(findings),
    }
}

fn seated<'c>(
    build: &Build,
    brief: &Brief,
    catalogue: &'c Catalogue,
) -> Result<Vec<&'c Part>, VerifyFault> {
    if build.picks.len() != brief.roles.len() {
        return Err(VerifyFault::Roles);
    }
    let mut parts = Vec::new();
    for (pick, role) in build.picks.iter().zip(&brief.roles) {
        if pick.role != role.id || pick.quantity != role.quantity {
            return Err(VerifyFault::Roles);
        }
        let part = catalogue
            .parts
            .get(&pick.part)
            .filter(|part| part.kind == role.kind);
        let part = part.ok_or_else(|| VerifyFault::Part(pick.part.to_string()))?;
        let is_pinned = role.pin.as_ref().is_none_or(|pin| *pin == part.id);
        let is_banned = !brief.bans.admit_part(part) || !brief.bans.admit_retailer(&pick.retailer);
        if !is_pinned || is_banned || !role.needs.iter().all(|need| need.is_met_by(part)) {
            return Err(VerifyFault::Need(pick.part.to_string()));
        }
        parts.push(part);
    }
    Ok(parts)
}

fn check_cost(build: &Build, brief: &Brief) -> Result<(), VerifyFault> {
    let mut actual = Money::zero(brief.budget.currency());
    for pick in &build.picks {
        actual = actual
            .checked_add(pick.landed)
            .map_err(|_| VerifyFault::Amounts)?;
    }
    if actual != build.total {
        return Err(VerifyFault::Total {
            actual,
            stated: build.total,
        });
    }
    if actual.minor() > brief.budget.minor() {
        return Err(VerifyFault::Budget {
            total: actual,
            budget: brief.budget,
        });
    }
    Ok(())
}

fn check_score(build: &Build, brief: &Brief, parts: &[&Part]) -> Result<(), VerifyFault> {
    let mut actual = 0;
    for weighted in &brief.objective.workloads {
        let mut lowest: Option<i64> = None;
        for part in parts
            .iter()
            .filter(|part| weighted.limited_by.contains(&part.kind))
        {
            let rate = part.rates.get(&weighted.workload);
            let milli = rate
                .ok_or_else(|| VerifyFault::Part(part.id.to_string()))?
                .milli;
            lowest = Some(lowest.map_or(milli, |lowest| lowest.min(milli)));
        }
        let Some(lowest) = lowest else { continue };
        if weighted.floor_milli.is_some_and(|floor| lowest < floor) {
            return Err(VerifyFault::Floor(weighted.workload.to_string()));
        }
        let counted = weighted.cap_milli.map_or(lowest, |cap| cap.min(lowest));
        actual += weighted.weight * LogRate::from_milli(counted).map_or(0, LogRate::micro);
    }
    if actual == build.score.0 {
        return Ok(());
    }
    Err(VerifyFault::Score {
        actual,
        stated: build.score.0,
    })
}
