//! What draws say of the best build.
//!
//! In `--json` it stands beside the answer, under `robust`:
//!
//! ```text
//! { draws, seed, without_build, score { low, high },
//!   picks     [{ role, part, stays }],                     in how many draws
//!   near_ties [{ wins, score, total_minor, picks [{ role, part }] }] }
//! ```

use crate::cli::screen::{Screen, Set, Tone, columns};
use crate::decide::AnswerRecord;
use crate::money::{Currency, Money};
use crate::optimise::{NearTie, Robustness};
use serde_json::{Value, json};

/// What the draws say, as JSON.
pub fn report(robust: &Robustness) -> Value {
    let picks = robust.stays.iter();
    let picks: Vec<Value> = picks
        .map(|(role, part, stays)| json!({ "role": role, "part": part, "stays": stays }))
        .collect();
    let ties = robust.near_ties.iter().map(|tie| {
        let picks = tie.picks.iter();
        let picks: Vec<Value> = picks
            .map(|(role, part)| json!({ "role": role, "part": part }))
            .collect();
        json!({
            "wins": tie.wins,
            "score": tie.score.points(),
            "total_minor": tie.total.minor(),
            "picks": picks,
        })
    });
    json!({
        "draws": robust.draws.number,
        "seed": robust.draws.seed,
        "without_build": robust.without_build,
        "score": { "low": robust.score_low.points(), "high": robust.score_high.points() },
        "picks": picks,
        "near_ties": ties.collect::<Vec<Value>>(),
    })
}

/// What the draws say, for a person.
pub fn show(robust: &Robustness, record: &AnswerRecord, screen: &Screen) -> Vec<String> {
    let draws = robust.draws.number;
    let title = format!("drawn {draws} times from the uncertainty of the rates");
    let mut lines = vec![String::new(), screen.tone(Tone::Strong, &title)];
    lines.push(format!(
        "score between {} and {} in 19 of 20 draws",
        robust.score_low, robust.score_high
    ));
    let rows = robust.stays.iter().map(|(role, part, stays)| {
        vec![
            role.to_string(),
            part.to_string(),
            format!("stays in {stays} of {draws}"),
        ]
    });
    let rows: Vec<Vec<String>> = rows.collect();
    lines.extend(columns(&rows, &[Set::Left, Set::Left, Set::Right]));
    if robust.without_build > 0 {
        lines.push(format!(
            "nothing fits in {} of {draws} draws",
            robust.without_build
        ));
    }
    for tie in &robust.near_ties {
        lines.push(near_tie(tie, draws, record));
    }
    if robust.near_ties.is_empty() {
        lines.push(
            "no other build wins in a draw of twenty: the evidence tells it from all others"
                .to_owned(),
        );
    }
    lines
}

fn near_tie(tie: &NearTie, draws: usize, record: &AnswerRecord) -> String {
    let picks = tie.picks.iter();
    let picks: Vec<String> = picks.map(|(role, part)| format!("{role} {part}")).collect();
    let score = tie.score.points() - record.score.unwrap_or(0.0);
    let difference = tie.total.minor() - record.total_minor.unwrap_or(0);
    let amount = Currency::parse(&record.currency)
        .map(|currency| Money::from_minor(difference.abs(), currency).to_string())
        .unwrap_or_default();
    let cost = match difference {
        0 => "at the same price".to_owned(),
        dearer if dearer > 0 => format!("{amount} dearer"),
        _ => format!("{amount} cheaper"),
    };
    format!(
        "near-tie: {} wins in {} of {draws}, score {score:+.2}, {cost}",
        picks.join(", "),
        tie.wins
    )
}
