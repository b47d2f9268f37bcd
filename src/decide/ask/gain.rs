//! Tells of a best build that scores so much more than the one that was told last, or costs so much
//! less. A build that can no longer be had, and one that can be had again, are told of always.

use super::{Judged, News, Trigger};
use crate::catalogue::table::Table;
use crate::decide::change::Change;
use crate::decide::scene::Scene;
use crate::money::{Currency, Money};
use serde_json::Value;

#[derive(Debug)]
struct Gain {
    /// Hundredths of a percent.
    score: Option<i64>,
    saving: Option<Money>,
}

pub(super) fn read(table: &mut Table<'_, '_>, currency: Currency) -> Option<Box<dyn Trigger>> {
    let score = table.scaled("score_percent", 2);
    let saving = table.money("saving", currency);
    if score.is_none() && saving.is_none() {
        let message = "a gain of nothing in particular";
        let remedy = "write `score_percent`, `saving` or both";
        table.document().fault(&table.span(), message, remedy);
        return None;
    }
    Some(Box::new(Gain {
        score: score.map(|at| at.value),
        saving: saving.map(|at| at.value),
    }))
}

impl Trigger for Gain {
    fn key(&self) -> String {
        let saving = self.saving.map(|saving| saving.to_string());
        format!("gain:{:?}:{saving:?}", self.score)
    }

    fn judge(&self, scene: &Scene<'_>, _: &Value) -> Judged {
        let is_news = match &scene.change {
            Change::None | Change::TooSmall => false,
            Change::First | Change::BecameImpossible | Change::BecamePossible => true,
            Change::Build(_) => scene
                .standing
                .is_none_or(|standing| self.is_gained(standing.score, standing.total_minor, scene)),
        };
        Judged {
            news: is_news.then_some(News::Build),
            remember: Value::Null,
        }
    }

    fn is_of_the_build(&self) -> bool {
        true
    }
}

impl Gain {
    /// Against what was told: pitfall N15.
    fn is_gained(&self, score: Option<f64>, total: Option<i64>, scene: &Scene<'_>) -> bool {
        let (before, after) = (score.unwrap_or(0.0), scene.today.score.unwrap_or(0.0));
        let gain = (after - before) / before.max(f64::MIN_POSITIVE) * 10_000.0;
        let saved = total.unwrap_or(0) - scene.today.total_minor.unwrap_or(0);
        let scores = self.score.is_some_and(|least| gain >= least as f64);
        let saves = |least: Money| after >= before && saved >= least.minor();
        scores || self.saving.is_some_and(saves)
    }
}
