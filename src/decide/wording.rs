//! What a change says to a person: subject and text of its bulletin.

use super::bulletin::{Bulletin, BulletinId};
use super::change::{BuildChange, Cause, Change};
use super::record::{AnswerRecord, PickRecord, shown_instant};
use crate::money::{Currency, Money};
use chrono::{DateTime, Utc};
use serde_json::json;
use std::fmt::Write as _;

/// The bulletin for a change, or `None` when there is nothing to say.
///
/// `name` is the brief's name. Figures before are those of the standing answer as it was last
/// told, so that a saving is quoted against what the reader knows.
pub fn bulletin(
    name: &str,
    change: &Change,
    standing: Option<&AnswerRecord>,
    today: &AnswerRecord,
    at: DateTime<Utc>,
) -> Option<Bulletin> {
    let (kind, subject, text) = match change {
        Change::None | Change::TooSmall => return None,
        Change::First if today.has_build() => {
            ("first_build", first_subject(name, today), first_text(today))
        }
        Change::BecamePossible => {
            let subject = format!("{name}: there is a build again");
            ("became_possible", subject, first_text(today))
        }
        Change::First | Change::BecameImpossible => {
            let subject = format!("{name}: no build fits now");
            ("became_impossible", subject, impossible_text(today))
        }
        Change::Build(change) => {
            let standing = standing?;
            (
                "build_changed",
                subject(name, standing, today),
                text(change, standing, today),
            )
        }
    };
    let data = json!({
        "kind": kind,
        "brief": today.brief,
        "at": shown_instant(at),
        "subject": subject,
        "went_out": match change { Change::Build(change) => json!(change.went_out), _ => json!([]) },
        "came_in": match change { Change::Build(change) => json!(change.came_in), _ => json!([]) },
        "before": standing,
        "after": today,
    });
    Some(Bulletin {
        id: BulletinId::derive(&today.brief, &today.to_json(), at),
        brief: today.brief.clone(),
        at,
        subject,
        text,
        data,
    })
}

fn money(record: &AnswerRecord, minor: i64) -> String {
    match Currency::parse(&record.currency) {
        Ok(currency) => Money::from_minor(minor, currency).to_string(),
        Err(_) => minor.to_string(),
    }
}

fn total(record: &AnswerRecord) -> String {
    record
        .total_minor
        .map_or_else(|| "no build".to_owned(), |minor| money(record, minor))
}

fn score(record: &AnswerRecord) -> f64 {
    record.score.unwrap_or(0.0)
}

/// A change of score in percent, with its sign.
fn gain(standing: &AnswerRecord, today: &AnswerRecord) -> String {
    let percent = 100.0 * (score(today) / score(standing).max(f64::MIN_POSITIVE) - 1.0);
    // A change that rounds to nothing has no sign.
    if percent.abs() < 0.05 {
        "same score".to_owned()
    } else {
        format!("{percent:+.1} % score")
    }
}

fn subject(name: &str, standing: &AnswerRecord, today: &AnswerRecord) -> String {
    let saved = standing.total_minor.unwrap_or(0) - today.total_minor.unwrap_or(0);
    let cost = match saved {
        0 => "same cost".to_owned(),
        saved if saved > 0 => format!("{} less", money(today, saved)),
        more => format!("{} more", money(today, -more)),
    };
    format!(
        "{name}: the best build changed, {}, {cost}",
        gain(standing, today)
    )
}

fn text(change: &BuildChange, standing: &AnswerRecord, today: &AnswerRecord) -> String {
    let mut text = String::new();
    let cause = match change.cause {
        Cause::Better => "A better build can be had for the same brief.",
        Cause::Unavailable => "The build that was told last can no longer be had within the brief.",
    };
    // Writing to a string cannot fail.
    let _ = writeln!(text, "{cause}\n");
    for (heading, picks, record) in [
        ("Goes out", &change.went_out, standing),
        ("Comes in", &change.came_in, today),
    ] {
        let _ = writeln!(text, "{heading}:");
        picks
            .iter()
            .for_each(|pick| text.push_str(&pick_line(pick, record)));
        text.push('\n');
    }
    text.push_str(&orders(today));
    let _ = writeln!(
        text,
        "Total   {} -> {}\nScore   {:.2} -> {:.2} ({})",
        total(standing),
        total(today),
        score(standing),
        score(today),
        gain(standing, today)
    );
    text.push_str(&reached(today));
    text
}

fn pick_line(pick: &PickRecord, record: &AnswerRecord) -> String {
    let mut line = match (&pick.retailer, &pick.seen_at) {
        (Some(retailer), Some(seen_at)) => format!(
            "  {}: {} at {retailer}, {} (seen {seen_at})\n",
            pick.role,
            pick.name,
            money(record, pick.landed_minor),
        ),
        _ => format!("  {}: {}, which is there already\n", pick.role, pick.name),
    };
    if let Some(link) = &pick.link {
        let _ = writeln!(line, "    {link}");
    }
    line
}

/// What whole orders cost and save, a line each.
fn orders(record: &AnswerRecord) -> String {
    let lines = record.order_lines().into_iter();
    lines
        .map(|(words, minor)| match minor {
            0 => format!("  {words}: free\n"),
            minor => format!("  {words}: {}\n", money(record, minor)),
        })
        .collect()
}

fn reached(record: &AnswerRecord) -> String {
    let mut text = String::new();
    for (workload, rate) in &record.rates {
        let estimate = if rate.is_estimate {
            ", an estimate"
        } else {
            ""
        };
        let _ = writeln!(
            text,
            "{workload}: {:.1} {}, limited by {}{estimate}",
            rate.rate, rate.unit, rate.limited_by
        );
    }
    text
}

fn first_subject(name: &str, today: &AnswerRecord) -> String {
    format!(
        "{name}: best build {}, score {:.2}",
        total(today),
        score(today)
    )
}

fn first_text(today: &AnswerRecord) -> String {
    let mut text = String::from("The best build today:\n");
    today
        .picks
        .iter()
        .for_each(|pick| text.push_str(&pick_line(pick, today)));
    text.push_str(&orders(today));
    let _ = writeln!(
        text,
        "\nTotal   {}\nScore   {:.2}",
        total(today),
        score(today)
    );
    text.push_str(&reached(today));
    text
}

fn impossible_text(today: &AnswerRecord) -> String {
    let mut text = String::from("No set of parts satisfies the brief at today's prices:\n");
    today.obstacles.iter().for_each(|obstacle| {
        let _ = writeln!(text, "  {obstacle}");
    });
    text
}
