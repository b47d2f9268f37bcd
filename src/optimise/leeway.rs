//! What holds a build back, and what more of each role would bring.

use crate::catalogue::Part;
use crate::market::{Role, RoleId};
use crate::rates::{LogRate, Objective, Score, ShownScore, Weighted};

/// What a role's part could do in a workload beyond what the build does.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Spare {
    pub role: RoleId,
    /// How much of the part's own rate stays unused, in hundredths of a percent.
    pub unused_hundredths: i64,
}

/// What the score would gain if a role's part were a tenth faster in every workload.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Gain {
    pub role: RoleId,
    /// Hundredths of a percent of the score.
    pub score_hundredths: i64,
}

/// Roles with the parts in them.
pub type Seats<'s> = [(&'s Role, &'s Part)];

/// A tenth more, as a fraction.
const MORE: (i64, i64) = (11, 10);

/// The rates of a workload's limiting roles, in thousandths.
fn limiting<'s>(
    weighted: &'s Weighted,
    seats: &'s Seats<'_>,
) -> impl Iterator<Item = (&'s RoleId, i64)> {
    seats.iter().filter_map(|(role, part)| {
        let rate = part.rates.get(&weighted.workload)?;
        weighted
            .is_limited_by(role.kind)
            .then_some((&role.id, rate.milli))
    })
}

/// What counts in a workload, where one role's rate is a tenth higher.
fn counted(weighted: &Weighted, seats: &Seats<'_>, faster: Option<&RoleId>) -> Option<i64> {
    let rates = limiting(weighted, seats).map(|(role, milli)| match faster == Some(role) {
        true => milli * MORE.0 / MORE.1,
        false => milli,
    });
    let lowest = rates.min()?;
    Some(weighted.cap_milli.map_or(lowest, |cap| cap.min(lowest)))
}

/// The score of parts in their roles.
pub fn score_of(objective: &Objective, seats: &Seats<'_>, faster: Option<&RoleId>) -> Score {
    let of = |weighted: &Weighted| {
        let log = LogRate::from_milli(counted(weighted, seats, faster)?)?;
        Some(weighted.weight * log.micro())
    };
    Score(objective.workloads.iter().filter_map(of).sum())
}

/// What the limiting roles of a workload leave unused.
pub fn spare(weighted: &Weighted, seats: &Seats<'_>) -> Vec<Spare> {
    let Some(counted) = counted(weighted, seats, None) else {
        return Vec::new();
    };
    limiting(weighted, seats)
        .map(|(role, milli)| Spare {
            role: role.clone(),
            unused_hundredths: 10_000 - 10_000 * counted / milli.max(1),
        })
        .collect()
}

/// What a tenth more of each role would bring, for every role that limits some workload.
pub fn gains(objective: &Objective, seats: &Seats<'_>) -> Vec<Gain> {
    let now = ShownScore::of(objective, score_of(objective, seats, None));
    let limits = |role: &Role| {
        objective
            .workloads
            .iter()
            .any(|one| one.is_limited_by(role.kind))
    };
    seats
        .iter()
        .filter(|(role, _)| limits(role))
        .map(|(role, _)| {
            let then = score_of(objective, seats, Some(&role.id));
            let then = ShownScore::of(objective, then);
            Gain {
                role: role.id.clone(),
                score_hundredths: 10_000 * (then.0 - now.0) / now.0.max(1),
            }
        })
        .collect()
}
