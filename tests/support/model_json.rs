//! A problem as JSON, for solvers outside: `tests/reference/models.py` reads it.

use rigtide::optimise::{Joint, Pairing, Problem};
use serde_json::{Value, json};

/// Everything that the problem asks; which choice stands today plays no part in score and cost.
pub fn model_json(problem: &Problem) -> Value {
    let groups = problem
        .groups
        .iter()
        .map(|group| -> Vec<i64> { group.iter().map(|choice| choice.cost).collect() });
    let bottlenecks = problem.bottlenecks.iter();
    let balances = problem.balances.iter();
    json!({
        "groups": groups.collect::<Vec<_>>(),
        "bottlenecks": bottlenecks
            .map(|one| json!({ "weight": one.weight, "limits": one.limits }))
            .collect::<Vec<_>>(),
        "balances": balances
            .map(|one| json!({ "shares": one.shares, "at_most": one.at_most }))
            .collect::<Vec<_>>(),
        "pairings": problem.pairings.iter().map(pairing).collect::<Vec<_>>(),
        "joints": problem.joints.iter().map(joint).collect::<Vec<_>>(),
        "budget": problem.budget,
    })
}

fn pairing(pairing: &Pairing) -> Value {
    json!({
        "left": pairing.left,
        "right": pairing.right,
        "classes": pairing.classes,
        "fits": pairing.fits.iter().map(|row| marks(row)).collect::<Vec<_>>(),
    })
}

fn joint(joint: &Joint) -> Value {
    json!({
        "groups": joint.groups,
        "classes": joint.classes,
        "sizes": joint.sizes,
        "fits": marks(&joint.fits),
    })
}

/// One character for each mark.
fn marks(marks: &[bool]) -> String {
    let digit = |mark: &bool| if *mark { '1' } else { '0' };
    marks.iter().map(digit).collect()
}
