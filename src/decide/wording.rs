//! What a decision says: the data of bulletins of changes and of facts, without their texts.

use super::bulletin::{Bulletin, BulletinId};
use super::change::{BuildChange, Cause, Change};
use super::record::{PickRecord, shown_instant};
use super::scene::Scene;
use super::shown::{Line, Shown, money, scores, totals};
use crate::catalogue::PartId;
use serde::Deserialize as _;
use serde_json::{Value, json};

/// The bulletin for the change of a scene, or `None` when there is nothing to say. It has no text yet:
/// [`super::dress`] gives it one.
///
/// Figures before are those of the standing answer as it was last told, so that a saving is quoted
/// against what the reader knows.
pub fn change(scene: &Scene<'_>) -> Option<Bulletin> {
    let today = scene.today;
    let total = totals(None, today).after.unwrap_or_default();
    let score = scores(None, today).after.unwrap_or_default();
    let (kind, mut shown) = match &scene.change {
        Change::None | Change::TooSmall => return None,
        Change::First if today.has_build() => {
            let essence = format!("first build, {total}, score {score}");
            let headline = "This is the best build today, the first that is told for this brief.";
            let shown = Shown::new(scene, &essence, headline).with_build(scene);
            ("first_build", shown)
        }
        Change::BecamePossible => {
            let essence = format!("a build again, {total}, score {score}");
            let shown = Shown::new(scene, &essence, "There is a build again.").with_build(scene);
            ("became_possible", shown)
        }
        Change::First | Change::BecameImpossible => {
            let headline = "No set of parts satisfies the brief at today's prices.";
            let mut shown = Shown::new(scene, "no build fits now", headline);
            shown.why.clone_from(&today.obstacles);
            ("became_impossible", shown)
        }
        Change::Build(change) => ("build_changed", build_changed(scene, change)?),
    };
    shown.to_do = to_do(kind, scene);
    let (went_out, came_in) = match &scene.change {
        Change::Build(change) => (change.went_out.as_slice(), change.came_in.as_slice()),
        _ => Default::default(),
    };
    let id = BulletinId::derive(&today.brief, &today.to_json(), scene.at);
    let data = json!({ "went_out": went_out, "came_in": came_in });
    Some(made(id, kind, scene, &shown, data))
}

fn build_changed(scene: &Scene<'_>, change: &BuildChange) -> Option<Shown> {
    let standing = scene.standing?;
    let cost = totals(Some(standing), scene.today).change?;
    let gain = scores(Some(standing), scene.today).change?;
    let (word, headline) = match change.cause {
        Cause::Better => (
            "better build",
            "The best build changed: a better one can be had for the same brief.",
        ),
        Cause::Unavailable => (
            "build gone, next",
            "The best build changed: the one that was told last can no longer be had within the brief.",
        ),
    };
    let shown = Shown::new(scene, &format!("{word} {gain}, {cost}"), headline);
    let mut shown = shown.with_change(change, scene);
    if change.cause == Cause::Better {
        let budget = money(scene.today, scene.today.budget_minor);
        let gained = match gain.ends_with('%') {
            true => format!("{gain} of score"),
            false => "The same score".to_owned(),
        };
        let words = format!("{gained} for {cost}, within the budget of {budget}.");
        shown.why.insert(0, words);
    }
    Some(shown)
}

/// The bulletin for something else than the build, by the kind and the key of what asked for it.
pub fn fact(
    brief: &str,
    (kind, key): (&str, &str),
    news: (String, String, Value),
    scene: &Scene<'_>,
) -> Bulletin {
    let (subject, text, fact) = news;
    let lines = text.lines().map(str::trim_end);
    let mut lines: Vec<String> = lines
        .filter(|line| !line.is_empty())
        .map(str::to_owned)
        .collect();
    let headline = match lines.as_slice() {
        _ if kind == "pick_lost" => {
            "Picks of the build became dearer or cannot be had any more.".to_owned()
        }
        [only] if only.ends_with('.') => lines.remove(0),
        _ => format!("{}.", capital(&subject)),
    };
    let mut shown = Shown::new(scene, &subject, headline);
    shown.news = lines;
    let standing = scene.standing.unwrap_or(scene.today);
    let (lost, replacing) = lost(&fact);
    let named = named(&fact, scene);
    let line = |pick: &PickRecord, record| Line::new(pick, record, &scene.names);
    shown.goes_out = lost.iter().map(|pick| line(pick, standing)).collect();
    shown.comes_in = replacing
        .iter()
        .map(|pick| line(pick, scene.today))
        .collect();
    shown.parts = named.iter().map(|pick| line(pick, scene.today)).collect();
    shown.to_do = to_do(kind, scene);
    // The prices alone may be the same as in another bulletin of this instant.
    let what = format!("{key}\n{fact}");
    let id = BulletinId::derive(brief, &what, scene.at);
    let data = json!({ "went_out": lost, "came_in": replacing, "parts": named, "fact": fact });
    made(id, kind, scene, &shown, data)
}

fn capital(text: &str) -> String {
    let mut letters = text.chars();
    match letters.next() {
        Some(first) => first.to_uppercase().chain(letters).collect(),
        None => String::new(),
    }
}

/// The picks that a fact says are lost, and what takes their place.
fn lost(fact: &Value) -> (Vec<PickRecord>, Vec<PickRecord>) {
    let lost = fact["lost"].as_array().map_or(&[][..], Vec::as_slice);
    let picks = |key: &str| {
        let picks = lost
            .iter()
            .filter_map(|one| PickRecord::deserialize(&one[key]).ok());
        picks.collect()
    };
    (picks("pick"), picks("replacement"))
}

/// The parts that a fact names, as they can be had.
fn named(fact: &Value, scene: &Scene<'_>) -> Vec<PickRecord> {
    let several = fact["lowest"].as_array().map_or(&[][..], Vec::as_slice);
    let ids = std::iter::once(fact).chain(several);
    let ids = ids.filter_map(|one| one["part"].as_str());
    ids.filter_map(|id| scene.pick_of(&PartId::new(id)).cloned())
        .collect()
}

fn to_do(kind: &str, scene: &Scene<'_>) -> Vec<String> {
    let brief = &scene.today.brief;
    let check =
        "Check the prices at the shops by the links: they may have moved since they were seen.";
    let anew = format!("Write the guide anew: rigtide guide {brief}");
    let said: &[&str] = match kind {
        "first_build" | "became_possible" => &[check, "Publish it: rigtide guide "],
        "became_impossible" => &[
            "Raise the budget, give up a wish, or wait for prices.",
            "Try which of these helps, without writing anything: rigtide what-if ",
        ],
        "build_changed" => &[check, &anew, "See the whole build: rigtide best "],
        "guide_outdated" => &["Write the next edition: rigtide refresh "],
        "pick_lost" => &[
            "Put what comes in in its place, or say on the page that it cannot be had for the price told.",
            &anew,
        ],
        "target" | "lowest" => &[
            "Check the price at the shop by the link: it may not hold for long.",
            "See the whole build: rigtide best ",
        ],
        _ => &[&anew],
    };
    let ends_with_brief = |words: &&str| words.ends_with(' ');
    let said = said.iter().map(|words| match ends_with_brief(words) {
        true => format!("{words}{brief}"),
        false => (*words).to_owned(),
    });
    said.collect()
}

fn made(id: BulletinId, kind: &str, scene: &Scene<'_>, shown: &Shown, more: Value) -> Bulletin {
    let mut data = json!({
        "kind": kind,
        "brief": scene.today.brief,
        "name": scene.name,
        "at": shown_instant(scene.at),
        "subject": shown.subject,
        "before": scene.standing,
        "after": scene.today,
        "shown": shown,
    });
    if let (Some(data), Value::Object(more)) = (data.as_object_mut(), more) {
        data.extend(more);
        if !scene.doubts.is_empty() {
            data.insert("doubts".to_owned(), json!(scene.doubts));
        }
    }
    Bulletin {
        id,
        brief: scene.today.brief.clone(),
        at: scene.at,
        subject: shown.subject.clone(),
        text: String::new(),
        data,
    }
}
