//! What a brief asks to be told: one file a kind of trigger, one line of registration.

mod build_changed;
mod enters;
mod gain;
mod guide_outdated;
mod lowest;
mod pick_lost;
mod target;
mod total;

use super::hours::Hours;
use super::scene::Scene;
use crate::catalogue::PartId;
use crate::catalogue::table::{Table, nearest};
use crate::money::{Currency, Money};
use chrono::TimeDelta;
use serde_json::Value;
use std::fmt;

/// A kind of news that a brief can ask for.
///
/// Judging is pure: what a trigger has to know of the past it put into `before` itself.
pub trait Trigger: fmt::Debug + Send + Sync {
    /// Tells apart what this asks for from all else that a brief asks for.
    fn key(&self) -> String;

    /// Whether there is news, seen from `before`: what it was told to remember last, null at first.
    fn judge(&self, scene: &Scene<'_>, before: &Value) -> Judged;

    /// The part whose price it reads, whether or not that is in a build.
    fn part(&self) -> Option<&PartId> {
        None
    }

    /// How many days of the past of prices it reads: `Some(None)` for all.
    fn past(&self) -> Option<Option<i64>> {
        None
    }

    /// It reads the newest edition of the guide.
    fn reads_edition(&self) -> bool {
        false
    }

    /// News of the build itself, which the standing answer follows.
    fn is_of_the_build(&self) -> bool {
        false
    }
}

/// What a trigger found.
#[derive(Debug, Clone, PartialEq)]
pub struct Judged {
    pub news: Option<News>,
    /// For the next time, once the news is told or if there is none.
    pub remember: Value,
}

/// What there is to tell.
#[derive(Debug, Clone, PartialEq)]
pub enum News {
    /// The change of the scene; its bulletin is made of the two answers.
    Build,
    /// Something else.
    Fact {
        /// One line, without the brief's name.
        subject: String,
        /// Some lines.
        text: String,
        /// For programs: the key `fact` of the bulletin's data.
        data: Value,
    },
}

/// One thing that a brief asks to be told.
#[derive(Debug)]
pub struct Ask {
    /// The name of its kind.
    pub kind: &'static str,
    pub trigger: Box<dyn Trigger>,
    /// Who is told.
    pub channels: Vec<String>,
    /// The least time between two bulletins of it.
    pub pause: TimeDelta,
    /// When it goes out, where that is not left to each channel.
    pub hours: Option<Hours>,
}

type Read = fn(&mut Table<'_, '_>, Currency) -> Option<Box<dyn Trigger>>;

/// Every kind that a brief can ask for.
const KINDS: &[(&str, Read)] = &[
    ("build_changed", build_changed::read),
    ("gain", gain::read),
    ("pick_lost", pick_lost::read),
    ("enters", enters::read),
    ("target", target::read),
    ("lowest", lowest::read),
    ("total", total::read),
    ("guide_outdated", guide_outdated::read),
];

impl Ask {
    /// What a brief is told that asks for nothing in particular.
    pub fn usual(channels: &[String]) -> Ask {
        Ask {
            kind: "build_changed",
            trigger: build_changed::usual(),
            channels: channels.to_vec(),
            pause: TimeDelta::zero(),
            hours: None,
        }
    }

    /// Reads one `[[tell]]`. Where it names no channels, those of the brief are told.
    pub fn read(
        mut table: Table<'_, '_>,
        currency: Currency,
        usual_channels: &[String],
    ) -> Option<Ask> {
        let document = table.document();
        let when = table.required_text("when");
        let known = when.as_ref().and_then(|when| {
            let known = KINDS.iter().find(|(name, _)| *name == when.value);
            if known.is_none() {
                let names = KINDS.iter().map(|(name, _)| *name);
                let remedy = match nearest(&when.value, names.clone()) {
                    Some(near) => format!("did you mean \"{near}\"?"),
                    None => format!("write one of {}", names.collect::<Vec<_>>().join(", ")),
                };
                let message = format!("nothing is called \"{}\" that could be told", when.value);
                document.fault(&when.span, message, remedy);
            }
            known
        });
        let trigger = known.and_then(|(_, read)| read(&mut table, currency));
        let channels = table.texts("channels").map(|texts| texts.value);
        let pause = table.integer("pause_hours", 0..8_761);
        let hours = Hours::read(&mut table);
        if known.is_some() {
            table.finish();
        }
        let channels = channels.map(|all| all.into_iter().map(|one| one.value).collect());
        Some(Ask {
            kind: known?.0,
            trigger: trigger?,
            channels: channels.unwrap_or_else(|| usual_channels.to_vec()),
            pause: pause.map_or(TimeDelta::zero(), |at| TimeDelta::hours(at.value)),
            hours,
        })
    }
}

impl Judged {
    fn nothing(remember: Value) -> Judged {
        Judged {
            news: None,
            remember,
        }
    }
}

/// Reads a key that names a part. Whether the catalogue has it is no matter: a part that is taken out
/// and put back must not make a brief unreadable.
fn read_part(table: &mut Table<'_, '_>) -> Option<PartId> {
    table.required_text("part").map(|at| PartId::new(at.value))
}

/// The least price at which a part can be had for any role.
fn price_of<'s>(scene: &'s Scene<'_>, part: &PartId) -> Option<&'s Money> {
    let prices = scene.prices.iter();
    let prices = prices.filter(|((_, id), _)| id == part);
    prices
        .map(|(_, price)| price)
        .min_by_key(|price| price.minor())
}

/// The name of a part as the answers know it, else its id.
fn name_of(scene: &Scene<'_>, part: &PartId) -> String {
    let mut standing = scene.standing.iter().flat_map(|answer| &answer.picks);
    let known = scene.pick_of(part);
    let known = known.or_else(|| standing.find(|pick| pick.part == *part));
    known.map_or_else(|| part.to_string(), |pick| pick.name.clone())
}
