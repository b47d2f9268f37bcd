//! What a bulletin on a brief's present answer would say. Nothing is sent or stored.

use super::answer::answer;
use super::decision::{DecisionFault, Ground, dress_with_past};
use super::price_past::Readings;
use super::settings::Settings;
use crate::decide::{AnswerRecord, Bulletin, Change, Scene, Telling, change};
use crate::ledger::Reader;
use crate::market::{Brief, market, retailers_on};
use crate::optimise::Effort;
use chrono::{DateTime, Utc};

/// A bulletin that was not told.
#[derive(Debug)]
pub struct Preview {
    pub bulletin: Bulletin,
    /// The best build is another than was told last, by as much as the brief asks for. Where it is not,
    /// the bulletin is that of a first build.
    pub is_change: bool,
}

/// Answers a brief and words the news.
///
/// # Errors
/// [`DecisionFault`]
pub fn preview(
    settings: &Settings,
    reader: &Reader,
    brief: &Brief,
    at: DateTime<Utc>,
    effort: Effort,
) -> Result<Preview, DecisionFault> {
    let listed = reader.listed(None)?;
    let stored = reader.last_answer(brief.id.as_str())?;
    let standing = stored.and_then(|stored| AnswerRecord::from_json(&stored.answer_json));
    let parts = standing.as_ref().map(AnswerRecord::standing);
    let today = answer(
        settings,
        brief,
        &listed,
        &parts.unwrap_or_default(),
        at,
        effort,
    );
    let today = today.map_err(|source| DecisionFault::Best {
        brief: brief.id.to_string(),
        source,
    })?;
    let held = reader.list_held()?.into_iter();
    let held = held.map(|one| (one.retailer.to_string(), one.sku.to_string()));
    let usual = Telling::usual(&brief.channels);
    let telling = settings.telling.get(&brief.id).unwrap_or(&usual);
    let retailers = retailers_on(&settings.retailers, at.date_naive());
    let market = market(brief, &settings.catalogue, &retailers, &listed);
    let ground = Ground {
        reader,
        held: &held.collect(),
        at,
    };
    let scene = ground.scene(brief, telling, (&market, &today), standing.as_ref())?;
    let as_first = Scene {
        change: Change::First,
        standing: None,
        ..scene.clone()
    };
    let (mut bulletin, is_change) = match change(&scene) {
        Some(bulletin) => (bulletin, true),
        // Of a first answer there is always something to say.
        None => match change(&as_first) {
            Some(bulletin) => (bulletin, false),
            None => return Err(DecisionFault::NothingToSay),
        },
    };
    dress_with_past(settings, reader, &mut Readings::default(), &mut bulletin)?;
    Ok(Preview {
        bulletin,
        is_change,
    })
}
