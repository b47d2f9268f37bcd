//! The mapping of a feed, tried: records as they stood and as they were read.

use super::super::frame::{Look, Page, Place};
use super::super::words::{feed_path, from_outside, part_path, plain};
use crate::web::view::{TrialRecordView, TrialView};
use maud::{Markup, html};
use serde_json::Value;

/// So many records are laid out; the API has all.
const SHOWN: usize = 50;

pub fn page(view: &TrialView, look: &Look) -> Page {
    let counts = &view.counts;
    let body = html! {
        div.head {
            div {
                p.kicker { a href="/feeds" { "Feeds" } " / " a href=(feed_path(&view.feed)) { (view.feed) } }
                h1 { "The mapping, tried" }
                p.kicker { "Nothing of this is stored" }
            }
        }
        @if let Some(error) = &view.error { p.said.bad { (error) } }
        section.sheet {
            dl.sum {
                @for (name, count) in [("Records", counts.records), ("Accepted", counts.accepted), ("Held", counts.held), ("Refused", counts.refused), ("Parts", counts.matched)] {
                    div { dt { (name) } dd { (look.figures.count(count as i64)) } }
                }
            }
            @if !counts.reasons.is_empty() {
                ul.notes {
                    @for (reason, count) in &counts.reasons {
                        li { strong { (look.figures.count(*count as i64)) " × " (plain(reason)) }
                            @if let Some(example) = view.examples.get(reason) { div.long.soft { (from_outside(example)) } } }
                    }
                }
            }
            @for note in &view.notes { p.soft { (note) } }
        }
        section.sheet {
            h2 { "Records" }
            @for record in view.records.iter().take(SHOWN) { (record_view(record, look)) }
            @if view.records.len() > SHOWN { p.soft { "The first " (SHOWN) " of " (view.records.len()) "." } }
        }
    };
    Page {
        title: format!("Trial of {}", view.feed),
        place: Place::Feeds,
        scripts: &[],
        body,
    }
}

fn record_view(record: &TrialRecordView, look: &Look) -> Markup {
    let verdict = match record.verdict.as_str() {
        "accepted" => "good-word",
        "held" => "warn-word",
        _ => "bad-word",
    };
    html! {
        details {
            summary {
                span.soft { (record.index) ". " } span class=(verdict) { (plain(&record.verdict)) } " "
                (from_outside(&short(record.title.as_deref().unwrap_or("no title"))))
                @if let (Some(price), Some(currency)) = (record.price_minor, &record.currency) { ", " (look.figures.money(price, currency)) }
            }
            @if let Some(reason) = &record.reason { p.said.warn { (reason) } }
            div.sides {
                div { h3 { "As it stood" } table { tbody {
                    @for (name, value) in &record.raw { tr { th scope="row" { (name) } td { div.long { (from_outside(&text(value))) } } } }
                } } }
                div { h3 { "As it was read" } table { tbody { (read(record, look)) } } }
            }
            @for note in &record.notes { p.soft { (note) } }
        }
    }
}

fn read(record: &TrialRecordView, look: &Look) -> Markup {
    let texts = [
        ("title", &record.title),
        ("sku", &record.sku),
        ("gtin", &record.gtin),
        ("mpn", &record.mpn),
        ("price as written", &record.price_text),
        ("availability", &record.availability),
        ("condition", &record.condition),
        ("seller", &record.seller),
    ];
    let amounts = [
        ("price", record.price_minor),
        ("delivery", record.shipping_minor),
    ];
    html! {
        @for (name, value) in texts { @if let Some(value) = value {
            tr { th scope="row" { (name) } td { div.long { (from_outside(value)) } } }
        } }
        @for (name, value) in amounts { @if let (Some(value), Some(currency)) = (value, &record.currency) {
            tr { th scope="row" { (name) } td { (look.figures.money(value, currency)) } }
        } }
        @if let Some(part) = &record.part { tr { th scope="row" { "part" } td { a href=(part_path(part)) { (part) } } } }
    }
}

fn text(value: &Value) -> String {
    match value {
        Value::String(text) => text.clone(),
        Value::Array(values) => values.iter().map(text).collect::<Vec<_>>().join(" | "),
        other => other.to_string(),
    }
}

fn short(text: &str) -> String {
    match text.char_indices().nth(100) {
        Some((end, _)) => format!("{}…", &text[..end]),
        None => text.to_owned(),
    }
}
