//! The next best builds, and the best on each other socket.
//!
//! In `--json` they stand beside the answer: `alternatives [{ total_minor, score, differs [], picks }]`
//! and `platforms [{ socket, total_minor, score, differs [], picks }]`.

use crate::cli::commands::ladder::picks;
use crate::cli::report::Failure;
use crate::cli::screen::{Screen, Tone, harmless};
use crate::decide::AnswerRecord;
use crate::optimise::{Alternative, Question, alternatives, best_per_platform};
use anyhow::Context as _;
use serde_json::{Value, json};

pub struct Others {
    next: Vec<Alternative>,
    platforms: Vec<(String, Alternative)>,
}

impl Others {
    pub fn find(question: &Question<'_>, number: usize) -> Result<Others, Failure> {
        Ok(Others {
            next: alternatives(question, number).context("cannot find the next best builds")?,
            platforms: best_per_platform(question).context("cannot compare the platforms")?,
        })
    }

    pub fn report_into(&self, whole: &mut Value) {
        let of = |one: &Alternative| {
            json!({
                "total_minor": one.build.total.minor(),
                "score": one.build.shown_score.points(),
                "differs": one.differs,
                "picks": picks(&one.build),
            })
        };
        whole["alternatives"] = self.next.iter().map(of).collect();
        let platforms = self.platforms.iter();
        whole["platforms"] = platforms
            .map(|(socket, one)| {
                let mut value = of(one);
                value["socket"] = json!(socket);
                value
            })
            .collect();
    }

    pub fn show(&self, best: &AnswerRecord, screen: &Screen) -> Vec<String> {
        let mut lines = vec![String::new(), screen.tone(Tone::Strong, "the next best")];
        lines.extend(self.next.iter().map(|one| line(one, best)));
        if self.next.is_empty() {
            lines.push("no other build fits".to_owned());
        }
        for (socket, one) in &self.platforms {
            lines.push(format!("on {}: {}", harmless(socket), line(one, best)));
        }
        lines
    }
}

/// Score and total beside the best, and what differs.
fn line(one: &Alternative, best: &AnswerRecord) -> String {
    let score = one.build.shown_score.points() - best.score.unwrap_or(0.0);
    let differs = one
        .build
        .picks
        .iter()
        .filter(|pick| one.differs.contains(&pick.role));
    let differs: Vec<String> = differs
        .map(|pick| format!("{} {}", pick.role, harmless(&pick.name)))
        .collect();
    format!(
        "score {} ({score:+.2}) for {}: {}",
        one.build.shown_score,
        one.build.total,
        differs.join(", ")
    )
}
