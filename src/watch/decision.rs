//! Decides for every brief whether today's answer matters, and commits answer, journal entry and
//! bulletins as one.

use super::answer::answer;
use super::settings::Settings;
use crate::decide::{AnswerRecord, Bulletin, Change, bulletin, compare};
use crate::ledger::{Decision, JournalEntry, Ledger, LedgerError};
use crate::market::Brief;
use crate::optimise::{BestFault, Effort};
use chrono::{DateTime, Utc};
use serde_json::json;

/// Why a brief could not be decided.
#[derive(Debug, thiserror::Error)]
pub enum DecisionFault {
    #[error("the brief \"{brief}\" could not be answered")]
    Best { brief: String, source: BestFault },
    #[error(transparent)]
    Ledger(#[from] LedgerError),
}

/// Answers every brief and stores what changed. Returns the bulletins that went to the outbox.
///
/// A brief that cannot be answered keeps its standing answer and does not hold up the others;
/// the faults come back beside the bulletins.
///
/// # Errors
/// [`LedgerError`] when the ledger fails; what was decided before stands.
pub fn decide_briefs(
    settings: &Settings,
    ledger: &mut Ledger,
    at: DateTime<Utc>,
    effort: Effort,
) -> Result<(Vec<Bulletin>, Vec<DecisionFault>), LedgerError> {
    let listed = ledger.read().listed(None)?;
    let (mut told, mut faults) = (Vec::new(), Vec::new());
    for brief in &settings.briefs {
        let stored = ledger.read().last_answer(brief.id.as_str())?;
        let standing = stored.and_then(|stored| AnswerRecord::from_json(&stored.answer_json));
        let parts = standing
            .as_ref()
            .map(AnswerRecord::standing)
            .unwrap_or_default();
        let today = match answer(settings, brief, &listed, &parts, at, effort) {
            Ok(today) => today,
            Err(source) => {
                let fault = DecisionFault::Best {
                    brief: brief.id.to_string(),
                    source,
                };
                let text = error_chain(&fault);
                ledger.note(&[entry(brief, at, "answer_failed", text, json!({}))])?;
                faults.push(fault);
                continue;
            }
        };
        let change = compare(
            standing.as_ref(),
            today.repriced.as_ref(),
            &today.best,
            &brief.change,
        );
        if let Some(bulletin) = bulletin(&brief.name, &change, standing.as_ref(), &today.best, at) {
            ledger.record_decision(&decision(brief, &change, &today.best, &bulletin, at))?;
            told.push(bulletin);
        }
    }
    Ok((told, faults))
}

fn decision(
    brief: &Brief,
    change: &Change,
    today: &AnswerRecord,
    bulletin: &Bulletin,
    at: DateTime<Utc>,
) -> Decision {
    let kind = match change {
        Change::First => "first_build",
        Change::BecamePossible => "became_possible",
        Change::BecameImpossible => "became_impossible",
        Change::None | Change::TooSmall | Change::Build(_) => "build_changed",
    };
    let data = json!({ "bulletin": bulletin.id.as_str() });
    Decision {
        brief: brief.id.to_string(),
        at,
        fingerprint: fingerprint(today),
        answer_json: today.to_json(),
        journal: vec![entry(brief, at, kind, bulletin.subject.clone(), data)],
        bulletins: brief
            .channels
            .iter()
            .map(|name| (name.clone(), bulletin.clone()))
            .collect(),
    }
}

/// Equal for two answers with the same parts.
fn fingerprint(today: &AnswerRecord) -> String {
    let picks = today
        .picks
        .iter()
        .map(|pick| format!("{}={}", pick.role, pick.part));
    picks.collect::<Vec<_>>().join(";")
}

fn entry(
    brief: &Brief,
    at: DateTime<Utc>,
    kind: &str,
    text: String,
    data: serde_json::Value,
) -> JournalEntry {
    let brief = Some(brief.id.to_string());
    JournalEntry {
        at,
        kind: kind.to_owned(),
        feed: None,
        brief,
        part: None,
        text,
        data,
    }
}

/// An error and what caused it, in one line.
pub fn error_chain(error: &dyn std::error::Error) -> String {
    let mut text = error.to_string();
    let mut source = error.source();
    while let Some(cause) = source {
        text.push_str(": ");
        text.push_str(&cause.to_string());
        source = cause.source();
    }
    text
}
