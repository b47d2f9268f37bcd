//! The ladder: for every budget, the best build.

use super::build::Build;
use super::question::{Question, QuestionFault};
use super::sweep::{Step, Wanted};
use crate::money::Money;
use crate::rates::{Score, ShownScore};

/// The best build for every budget of a range, each where it begins to be the best.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Ladder {
    /// From the cheapest on; costs and scores both rise.
    pub rungs: Vec<Rung>,
    /// Money beyond the last rung buys nothing, as opposed to the range having ended.
    pub is_whole: bool,
}

/// One rung: the best build from its cost up to the next rung's.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Rung {
    pub build: Build,
    /// What the step up to it costs more and scores more than the rung below; `None` for the first.
    pub step_up: Option<StepUp>,
    /// Beyond it, the same money buys markedly less than up to it.
    pub is_knee: bool,
}

/// A step up from one rung to the next.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct StepUp {
    pub cost: Money,
    /// Hundredths of a point.
    pub score: ShownScore,
}

/// A knee is where the slope of the ladder's hull falls to less than this share, as a fraction.
const KNEE: (i128, i128) = (1, 2);

/// Climbs from `from` to `to`, both included.
///
/// # Errors
/// [`QuestionFault`]
pub fn ladder(question: &Question<'_>, from: Money, to: Money) -> Result<Ladder, QuestionFault> {
    let most = question.dearest();
    let budget = to.minor().min(most);
    let keep = question.undominated();
    let mut rungs: Vec<Rung> = Vec::new();
    let steps = question.steps(budget, Wanted::LADDER)?;
    let points: Vec<(i64, Score)> = steps.iter().map(|step| (step.cost, step.score)).collect();
    // The rung that a budget of `from` stands on comes along, though it costs less.
    let first = points.partition_point(|(cost, _)| *cost <= from.minor());
    let steps: Vec<Step> = steps.into_iter().skip(first.saturating_sub(1)).collect();
    for step in question.settled(steps, keep)? {
        let (build, _) = question.build(&step.selection, budget)?;
        let step_up = rungs.last().map(|below| StepUp {
            cost: Money::from_minor(
                build.total.minor() - below.build.total.minor(),
                build.total.currency(),
            ),
            score: ShownScore(build.shown_score.0 - below.build.shown_score.0),
        });
        rungs.push(Rung {
            build,
            step_up,
            is_knee: false,
        });
    }
    let shown: Vec<(i64, i64)> = rungs
        .iter()
        .map(|rung| (rung.build.total.minor(), rung.build.shown_score.0))
        .collect();
    for knee in knees(&shown) {
        rungs[knee].is_knee = true;
    }
    Ok(Ladder {
        rungs,
        is_whole: budget == most,
    })
}

/// The rungs on the upper hull where its slope falls to less than [`KNEE`] of what it was.
fn knees(points: &[(i64, i64)]) -> Vec<usize> {
    let slope = |from: usize, to: usize| -> (i128, i128) {
        let (one, other) = (points[from], points[to]);
        (i128::from(other.1 - one.1), i128::from(other.0 - one.0))
    };
    // Costs rise, so the second of each pair is above zero.
    let is_below = |one: (i128, i128), other: (i128, i128)| one.0 * other.1 < other.0 * one.1;
    let mut hull: Vec<usize> = Vec::new();
    for point in 0..points.len() {
        while let [.., before, last] = hull.as_slice()
            && !is_below(slope(*last, point), slope(*before, *last))
        {
            hull.pop();
        }
        hull.push(point);
    }
    hull.windows(3)
        .filter(|three| {
            let (up, on) = (slope(three[0], three[1]), slope(three[1], three[2]));
            is_below((on.0 * KNEE.1, on.1), (up.0 * KNEE.0, up.1))
        })
        .map(|three| three[1])
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_knee_is_where_money_begins_to_buy_less_than_half() {
        // Slopes 10, then 8 (not yet half), then 2 (a knee), over a dent that the hull passes over.
        let points = [(100, 0), (110, 100), (115, 110), (120, 180), (130, 200)];
        assert_eq!(knees(&points), [3]);
        assert_eq!(knees(&points[..2]), Vec::<usize>::new());
        assert_eq!(knees(&[]), Vec::<usize>::new());
    }
}
