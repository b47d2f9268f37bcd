//! What a bulletin shows to people: its sentences, and its figures as text. Templates are filled in
//! with it, and receivers of data get it with the data.

use super::change::BuildChange;
use super::names::Names;
use super::record::{AnswerRecord, PickRecord};
use super::scene::{DoubtReason, Scene};
use crate::money::{Currency, Money};
use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};
use std::collections::BTreeSet;

/// Of a brief's name, in a subject.
const NAME_MAX: usize = 20;
/// Of a part's, in a subject.
const PART_MAX: usize = 24;

/// Everything that is shown. Keys are only ever added.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Shown {
    /// One short line.
    pub subject: String,
    /// What happened, in a sentence.
    pub headline: String,
    /// More of it, a line each.
    pub news: Vec<String>,
    pub goes_out: Vec<Line>,
    pub comes_in: Vec<Line>,
    /// The parts that the news are about, where none goes out or comes in.
    pub parts: Vec<Line>,
    /// The whole build, where it is told for the first time.
    pub picks: Vec<Line>,
    /// What whole orders cost and save.
    pub orders: Vec<Amount>,
    pub total: Figures,
    pub score: Figures,
    pub rates: Vec<Reached>,
    pub why: Vec<String>,
    pub to_do: Vec<String>,
    /// Prices that may no longer hold.
    pub doubts: Vec<String>,
    /// When the prices of today's build were seen: the earliest and the latest.
    pub seen: Option<Seen>,
}

/// One part with what it costs and where.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Line {
    pub role: String,
    pub part: String,
    pub name: String,
    pub quantity: u32,
    /// Delivered; absent for what is there already.
    pub price: Option<String>,
    /// What it costs today, where that is another price; absent too where it cannot be had.
    pub price_now: Option<String>,
    /// Its id.
    pub retailer: Option<String>,
    /// Its name.
    #[serde(default)]
    pub shop: Option<String>,
    /// An http or https address.
    pub link: Option<String>,
    pub seen: Option<String>,
    /// Why it does not come at once.
    pub wait: Option<String>,
    /// What its past says of the price, such as "lowest in 214 days".
    pub price_fact: Option<String>,
}

/// A figure before and after.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Figures {
    pub before: Option<String>,
    pub after: Option<String>,
    pub change: Option<String>,
}

#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Amount {
    pub words: String,
    pub amount: String,
}

/// What the build does in one workload.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Reached {
    /// Its id.
    pub workload: String,
    #[serde(default)]
    pub name: Option<String>,
    /// With the unit.
    pub before: Option<String>,
    pub after: String,
    /// A role, or `cap`.
    pub limited_by: String,
    /// The same in words.
    #[serde(default)]
    pub limit: Option<String>,
    pub is_estimate: bool,
}

#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Seen {
    pub from: String,
    pub until: String,
}

impl Shown {
    /// What is shown of any news: the figures of both answers, and doubts.
    pub fn new(scene: &Scene<'_>, essence: &str, headline: impl Into<String>) -> Shown {
        let (standing, today) = (scene.standing, scene.today);
        let with_build = |record: &&AnswerRecord| record.has_build();
        Shown {
            subject: subject(scene.name, essence),
            headline: headline.into(),
            news: Vec::new(),
            goes_out: Vec::new(),
            comes_in: Vec::new(),
            parts: Vec::new(),
            picks: Vec::new(),
            orders: orders(today, &scene.names),
            total: totals(standing, today),
            score: scores(standing, today),
            rates: rates(standing.filter(with_build), today, &scene.names),
            why: Vec::new(),
            to_do: Vec::new(),
            doubts: {
                let doubts = scene.doubts.iter();
                doubts.map(|doubt| doubt.sentence(&scene.names)).collect()
            },
            seen: seen(today),
        }
    }

    /// With the whole build of today.
    pub fn with_build(mut self, scene: &Scene<'_>) -> Shown {
        let today = scene.today;
        let picks = today.picks.iter();
        let line = |pick| Line::new(pick, today, &scene.names);
        self.picks = picks.map(line).collect();
        self
    }

    /// With what goes out and comes in.
    pub fn with_change(mut self, change: &BuildChange, scene: &Scene<'_>) -> Shown {
        let standing = scene.standing.unwrap_or(scene.today);
        let out = change.went_out.iter();
        self.goes_out = out
            .map(|pick| Line {
                price_now: now(pick, scene).filter(|now| *now != landed(pick, standing)),
                ..Line::new(pick, standing, &scene.names)
            })
            .collect();
        let comes = change.came_in.iter();
        let line = |pick| Line::new(pick, scene.today, &scene.names);
        self.comes_in = comes.map(line).collect();
        let moved = change.went_out.iter();
        self.why
            .extend(moved.filter_map(|pick| what_moved(pick, scene)));
        if self.why.is_empty() {
            let words = "What goes out costs what it did; what comes in became cheaper, or can be had \
                         again.";
            self.why.push(words.to_owned());
        }
        self
    }

    /// Reads what is shown back from a bulletin's data.
    pub fn of(data: &serde_json::Value) -> Option<Shown> {
        Shown::deserialize(data.get("shown")?).ok()
    }
}

impl Line {
    pub fn new(pick: &PickRecord, record: &AnswerRecord, names: &Names) -> Line {
        let retailer = pick.retailer.as_ref().map(ToString::to_string);
        let is_web = |link: &&String| {
            let link = link.to_ascii_lowercase();
            link.starts_with("https://") || link.starts_with("http://")
        };
        Line {
            role: pick.role.to_string(),
            part: pick.part.to_string(),
            name: pick.name.clone(),
            quantity: pick.quantity,
            price: pick.retailer.as_ref().map(|_| landed(pick, record)),
            price_now: None,
            shop: retailer.as_deref().map(|id| names.shop(id).to_owned()),
            retailer,
            link: pick.link.as_ref().filter(is_web).cloned(),
            seen: pick.seen_at.as_deref().map(instant),
            wait: pick.wait(),
            price_fact: None,
        }
    }
}

/// The brief's name, shortened, and what there is to say: about 50 characters.
pub fn subject(name: &str, essence: &str) -> String {
    format!("{}: {essence}", short_name(name))
}

/// A brief's name in a subject.
pub fn short_name(name: &str) -> String {
    shortened(name, NAME_MAX)
}

/// A part's name in a subject.
pub fn short_part(name: &str) -> String {
    shortened(name, PART_MAX)
}

fn shortened(text: &str, most: usize) -> String {
    if text.chars().count() <= most {
        return text.to_owned();
    }
    let kept: String = text.chars().take(most - 1).collect();
    // At the end of a word, where that leaves enough of it.
    let at_word = kept.rfind(' ').filter(|at| *at * 2 > kept.len());
    format!("{}…", kept[..at_word.unwrap_or(kept.len())].trim_end())
}

pub fn money(record: &AnswerRecord, minor: i64) -> String {
    match Currency::parse(&record.currency) {
        Ok(currency) => Money::from_minor(minor, currency).to_string(),
        Err(_) => minor.to_string(),
    }
}

fn landed(pick: &PickRecord, record: &AnswerRecord) -> String {
    money(record, pick.landed_minor)
}

/// What a pick's part costs today in its role.
fn now(pick: &PickRecord, scene: &Scene<'_>) -> Option<String> {
    let key = (pick.role.clone(), pick.part.clone());
    scene.prices.get(&key).map(ToString::to_string)
}

/// Why a pick does not stay, as far as its price tells. Pitfall N11: a price that nobody confirmed did
/// not rise.
fn what_moved(pick: &PickRecord, scene: &Scene<'_>) -> Option<String> {
    let PickRecord { name, retailer, .. } = pick;
    retailer.as_ref()?;
    let doubt = scene.doubts.iter().find(|doubt| doubt.part == pick.part);
    let was = Money::from_minor(pick.landed_minor, scene.currency).to_string();
    match (now(pick, scene), doubt.map(|doubt| doubt.why)) {
        (Some(now), _) if now == was => None,
        (Some(now), _) => Some(format!(
            "{name} costs {now} today; it was {was} when it was told."
        )),
        (None, Some(DoubtReason::Stale)) => {
            Some(format!("The shop of {name} has not been read lately."))
        }
        (None, _) => Some(format!("{name} cannot be had within the brief any more.")),
    }
}

pub fn totals(standing: Option<&AnswerRecord>, today: &AnswerRecord) -> Figures {
    let before = standing.and_then(|record| record.total_minor);
    let shown = |minor| money(today, minor);
    Figures {
        before: before.map(shown),
        after: today.total_minor.map(shown),
        change: before
            .zip(today.total_minor)
            .map(|(before, after)| match after - before {
                0 => "same cost".to_owned(),
                more if more > 0 => format!("{} more", shown(more)),
                less => format!("{} less", shown(-less)),
            }),
    }
}

pub fn scores(standing: Option<&AnswerRecord>, today: &AnswerRecord) -> Figures {
    let before = standing.and_then(|record| record.score);
    let shown = |score: f64| format!("{score:.2}");
    Figures {
        before: before.map(shown),
        after: today.score.map(shown),
        change: before.zip(today.score).map(|(before, after)| {
            let percent = 100.0 * (after / before.max(f64::MIN_POSITIVE) - 1.0);
            // A change that rounds to nothing has no sign.
            match percent.abs() < 0.05 {
                true => "same score".to_owned(),
                false => format!("{percent:+.1} %"),
            }
        }),
    }
}

fn rates(standing: Option<&AnswerRecord>, today: &AnswerRecord, names: &Names) -> Vec<Reached> {
    let rates = today.rates.iter();
    rates
        .map(|(workload, rate)| {
            let shown = |value: f64| format!("{value:.1} {}", rate.unit);
            let before = standing.and_then(|record| record.rates.get(workload));
            Reached {
                workload: workload.clone(),
                name: Some(names.workload(workload).to_owned()),
                before: before.map(|before| shown(before.rate)),
                after: shown(rate.rate),
                limited_by: rate.limited_by.clone(),
                limit: Some(limit_words(&rate.limited_by)),
                is_estimate: rate.is_estimate,
            }
        })
        .collect()
}

fn limit_words(limited_by: &str) -> String {
    match limited_by {
        "cap" => "the brief's cap".to_owned(),
        role => role.to_owned(),
    }
}

fn orders(record: &AnswerRecord, names: &Names) -> Vec<Amount> {
    let lines = record.order_lines(names).into_iter();
    lines
        .map(|(words, minor)| Amount {
            words,
            amount: match minor {
                0 => "free".to_owned(),
                minor => money(record, minor),
            },
        })
        .collect()
}

fn seen(record: &AnswerRecord) -> Option<Seen> {
    let seen = record
        .picks
        .iter()
        .filter_map(|pick| pick.seen_at.as_deref());
    // All are written in UTC to the second, so that their order is that of their texts.
    let seen: BTreeSet<&str> = seen.collect();
    Some(Seen {
        from: instant(seen.first()?),
        until: instant(seen.last()?),
    })
}

/// An instant as people read it, in UTC to the minute.
pub fn instant(rfc3339: &str) -> String {
    let read = DateTime::parse_from_rfc3339(rfc3339);
    read.map_or_else(
        |_| rfc3339.to_owned(),
        |at| {
            at.with_timezone(&Utc)
                .format("%Y-%m-%d %H:%M UTC")
                .to_string()
        },
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_are_cut_at_the_end_of_a_word_where_that_leaves_enough() {
        for (name, expected) in [
            ("Desk", "Desk: x"),
            ("Twenty characters ok", "Twenty characters ok: x"),
            ("A quiet desk for games and photos", "A quiet desk for…: x"),
            ("Silbenreicheskompositum", "Silbenreicheskompos…: x"),
        ] {
            assert_eq!(subject(name, "x"), expected);
        }
    }

    #[test]
    fn instants_are_shown_in_utc_to_the_minute() {
        assert_eq!(instant("2026-03-01T12:07:59Z"), "2026-03-01 12:07 UTC");
        assert_eq!(instant("2026-03-01T00:30:00+02:00"), "2026-02-28 22:30 UTC");
        assert_eq!(instant("yesterday"), "yesterday");
    }
}
