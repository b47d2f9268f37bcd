//! Tells that the published guide is no longer true: its total is off by more than so many percent, a
//! pick cannot be had any more, or another build scores so much more.

use super::{Judged, News, Trigger};
use crate::catalogue::table::Table;
use crate::decide::edition::{Drift, Edition};
use crate::decide::scene::{Doubt, Scene};
use crate::decide::shown::short_part;
use crate::money::Currency;
use serde::{Deserialize, Serialize};
use serde_json::{Value, json};
use std::collections::{BTreeMap, BTreeSet};

#[derive(Debug)]
struct GuideOutdated {
    /// Hundredths of a percent.
    total: i64,
    score: Option<i64>,
}

/// What was told of an edition. Keys are only ever added.
#[derive(Debug, Default, PartialEq, Serialize, Deserialize)]
struct Told {
    edition: u32,
    /// The total that was told last.
    total_minor: Option<i64>,
    gone: BTreeSet<String>,
    is_better: bool,
    /// The same of other countries.
    #[serde(default)]
    abroad: BTreeMap<String, Place>,
}

/// What was told of the picks in one country.
#[derive(Debug, Default, Clone, PartialEq, Serialize, Deserialize)]
struct Place {
    total_minor: Option<i64>,
    gone: BTreeSet<String>,
}

impl Place {
    /// There is something that was not told before.
    fn is_news(&self, before: &Place) -> bool {
        self.total_minor.is_some() && self.total_minor != before.total_minor
            || !self.gone.is_subset(&before.gone)
    }
}

pub(super) fn read(table: &mut Table<'_, '_>, _: Currency) -> Option<Box<dyn Trigger>> {
    let total = table.scaled("total_percent", 2);
    let score = table.scaled("score_percent", 2);
    let Some(total) = total else {
        let message = "a guide is off by some share of its total";
        let remedy = "write `total_percent`, such as \"3\"";
        table.document().fault(&table.span(), message, remedy);
        return None;
    };
    Some(Box::new(GuideOutdated {
        total: total.value,
        score: score.map(|at| at.value),
    }))
}

impl Trigger for GuideOutdated {
    fn key(&self) -> String {
        format!("guide_outdated:{}:{:?}", self.total, self.score)
    }

    fn judge(&self, scene: &Scene<'_>, before: &Value) -> Judged {
        let Some(edition) = &scene.edition else {
            return Judged::nothing(Value::Null);
        };
        let drift = &edition.drift;
        let told: Told = serde_json::from_value(before.clone()).unwrap_or_default();
        // A new edition begins anew.
        let told = match told.edition == edition.number {
            true => told,
            false => Told::default(),
        };
        let home = Place {
            total_minor: told.total_minor,
            gone: told.gone,
        };
        let now = self.place(drift, &home);
        let is_better = self
            .score
            .is_some_and(|least| drift.better_percent() * 100.0 >= least as f64);
        let mut is_news = now.is_news(&home) || is_better && !told.is_better;
        let mut abroad = BTreeMap::new();
        for there in &edition.abroad {
            let before = told.abroad.get(&there.country).cloned().unwrap_or_default();
            let now = self.place(&there.drift, &before);
            is_news |= now.is_news(&before);
            abroad.insert(there.country.clone(), now);
        }
        let now = Told {
            edition: edition.number,
            total_minor: now.total_minor,
            gone: now.gone,
            is_better,
            abroad,
        };
        Judged {
            news: is_news.then(|| news(scene, edition)),
            remember: json!(now),
        }
    }

    fn reads_edition(&self) -> bool {
        true
    }
}

impl GuideOutdated {
    /// What is told of the picks in one country, or was.
    fn place(&self, drift: &Drift, told: &Place) -> Place {
        Place {
            total_minor: self.total_to_tell(drift, told.total_minor),
            gone: drift.gone().map(|pick| pick.role.to_string()).collect(),
        }
    }

    /// The total that is told, or was: a further one only where it moved by as much again.
    fn total_to_tell(&self, drift: &Drift, told: Option<i64>) -> Option<i64> {
        let Some(now) = drift.total_now_minor else {
            return told;
        };
        if !drift.is_total_off(self.total) {
            return None;
        }
        let step = i128::from(self.total) * i128::from(drift.total_then_minor);
        let has_moved = |told: i64| (i128::from(now) - i128::from(told)).abs() * 10_000 > step;
        match told {
            Some(told) if !has_moved(told) => Some(told),
            _ => Some(now),
        }
    }
}

fn news(scene: &Scene<'_>, edition: &Edition) -> News {
    let mut lines = edition.lines(scene.currency, &scene.names);
    // Pitfall N11: a price that nobody confirmed may have moved.
    let known = |one: &&Doubt| !scene.doubts.contains(one);
    let doubts = edition.doubts.iter().filter(known);
    lines.extend(doubts.map(|doubt| doubt.sentence(&scene.names)));
    let (number, at) = (edition.number, &edition.at);
    let day = at.get(..10).unwrap_or(at);
    lines.insert(0, format!("Edition {number} of {day} is no longer true:"));
    lines.push("`rigtide diff` tells more; `rigtide refresh` writes the next edition.".to_owned());
    News::Fact {
        subject: format!("guide outdated: {}", what(edition)),
        text: lines.join("\n") + "\n",
        data: json!({
            "edition": number,
            "published": at,
            "drift": edition.drift,
            "abroad": edition.abroad,
        }),
    }
}

/// What is most wrong with it, in a subject line: at home before abroad.
fn what(edition: &Edition) -> String {
    if let Some(said) = off(&edition.drift) {
        return said;
    }
    let mut abroad = edition.abroad.iter();
    let said = match edition.drift.best {
        Some(_) => None,
        None => {
            abroad.find_map(|there| Some(format!("in {}, {}", there.country, off(&there.drift)?)))
        }
    };
    said.unwrap_or_else(|| "another build is better".to_owned())
}

fn off(drift: &Drift) -> Option<String> {
    let gone: Vec<String> = drift.gone().map(|pick| short_part(&pick.name)).collect();
    match (gone.as_slice(), drift.total_percent()) {
        ([], Some(percent)) if percent.abs() >= 0.05 => {
            Some(format!("its total is off by {percent:+.1} %"))
        }
        ([], _) => None,
        ([one], _) => Some(format!("{one} cannot be had any more")),
        (several, _) => Some(format!("{} picks cannot be had any more", several.len())),
    }
}
