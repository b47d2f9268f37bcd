//! What holds a pick where it is, for people and as JSON.

use crate::catalogue::{PartId, WorkloadId};
use crate::optimise::{Binding, BindingLimit, Bindings, HeldBy};
use crate::watch::asking::Asked;
use serde_json::{Value, json};

/// Lines for a person.
pub fn show(held: &Bindings, asked: &Asked) -> Vec<String> {
    let mut lines = vec!["what holds it there".to_owned()];
    let left = held.left;
    lines.push(match &held.next {
        None => format!("  budget: {left} left, and no money buys a better build"),
        Some(next) => format!(
            "  budget: {left} left; the next better build needs {} more than there is, scores {} and has \
             {} here",
            next.more,
            next.score,
            name(asked, &next.part)
        ),
    });
    let of = |wanted: fn(&HeldBy) -> bool| -> Vec<&str> {
        let workloads = held.workloads.iter().filter(|(_, by)| wanted(by));
        workloads.map(|(workload, _)| workload.as_str()).collect()
    };
    let limited = of(|by| *by == HeldBy::ThisRole);
    if !limited.is_empty() {
        lines.push(format!("  it limits {}", limited.join(", ")));
    }
    let capped = of(|by| *by == HeldBy::Cap);
    if !capped.is_empty() {
        lines.push(format!("  the brief caps {}", capped.join(", ")));
    }
    for (workload, by) in &held.workloads {
        if let HeldBy::Another { unused_hundredths } = by {
            let unused = *unused_hundredths as f64 / 100.0;
            lines.push(format!(
                "  another role limits {workload}, {unused:.1} % of this one stays unused"
            ));
        }
    }
    lines.extend(held.limits.iter().map(|binding| limit(binding, asked)));
    lines
}

fn limit(binding: &Binding, asked: &Asked) -> String {
    let what = match &binding.limit {
        BindingLimit::Need(need) => format!("the need \"{need}\""),
        BindingLimit::Floor(workload) => format!("the floor of {workload}"),
        BindingLimit::Rule { id, states } => format!("the rule {id} ({states})"),
    };
    let count = match binding.better_parts {
        1 => "1 better part".to_owned(),
        some if some < Binding::COUNTED_MAX => format!("{some} better parts"),
        some => format!("{some} better parts or more"),
    };
    format!(
        "  {what} keeps out {count}: {} would score {} for {}",
        name(asked, &binding.part),
        binding.score,
        binding.total
    )
}

fn name<'a>(asked: &'a Asked, part: &'a PartId) -> &'a str {
    let known = asked.settings.catalogue.parts.get(part);
    known.map_or(part.as_str(), |part| part.name.as_str())
}

/// The same for programs; see [`super`].
pub fn report(held: &Bindings) -> Value {
    let next = held.next.as_ref().map(|next| {
        json!({
            "more_minor": next.more.minor(),
            "score": next.score.points(),
            "part": next.part,
        })
    });
    json!({
        "budget_left_minor": held.left.minor(),
        "next_step": next,
        "workloads": held.workloads.iter().map(workload).collect::<Vec<Value>>(),
        "limits": held.limits.iter().map(limit_report).collect::<Vec<Value>>(),
    })
}

fn workload((workload, by): &(WorkloadId, HeldBy)) -> Value {
    let (by, unused) = match by {
        HeldBy::ThisRole => ("this_role", 0.0),
        HeldBy::Cap => ("cap", 0.0),
        HeldBy::Another { unused_hundredths } => {
            ("another_role", *unused_hundredths as f64 / 100.0)
        }
    };
    json!({ "workload": workload, "limited_by": by, "unused_percent": unused })
}

fn limit_report(binding: &Binding) -> Value {
    let (kind, name) = match &binding.limit {
        BindingLimit::Need(need) => ("need", need.to_string()),
        BindingLimit::Floor(workload) => ("floor", workload.to_string()),
        BindingLimit::Rule { id, .. } => ("rule", id.clone()),
    };
    json!({
        "kind": kind,
        "name": name,
        "part": binding.part,
        "score": binding.score.points(),
        "total_minor": binding.total.minor(),
        "better_parts": binding.better_parts,
        "is_all": binding.better_parts < Binding::COUNTED_MAX,
    })
}
