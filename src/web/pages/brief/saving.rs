//! What saving a what-if would write, before it is written.

use super::super::frame::{Look, Page, Place, word};
use super::super::words::under;
use super::{Heading, heading};
use crate::web::view::{Proposal, WhatIf};
use maud::{Markup, html};

pub fn page(view: &Proposal, what_if: &WhatIf, look: &Look) -> Page {
    let head = Heading {
        brief: &view.brief,
        name: "Save into the brief",
        what_if,
        here: "/save",
    };
    let below = html! { "What changes in " span.code { (view.file) } };
    let body = html! {
        (heading(&head, &below))
        section.sheet {
            @if view.diff.is_empty() { p { "Nothing changes: the brief says this already." } }
            @else { (diff(&view.diff)) }
            @if !view.not_saved.is_empty() {
                h3 { "Not saved, since a brief cannot say it" }
                ul.notes { @for words in &view.not_saved { li { (words) } } }
            }
            form.row method="post" action=(under(&view.brief, "/save", what_if)) {
                (word(look))
                input type="hidden" name="digest" value=(view.digest);
                @if !view.diff.is_empty() { button.main { "Save" } }
                a.button href=(under(&view.brief, "", what_if)) { "Back" }
            }
        }
    };
    Page {
        title: format!("Save, {}", view.brief),
        place: Place::Briefs,
        scripts: &[],
        body,
    }
}

/// A unified diff, line by line.
fn diff(text: &str) -> Markup {
    html! {
        pre.diff tabindex="0" role="region" aria-label="Differences" {
            @for line in text.lines() {
                @match line.as_bytes().first() {
                    // The names of the file, before and after.
                    _ if line.starts_with("--- ") || line.starts_with("+++ ") => span.soft { (line) },
                    Some(b'-') => span.gone { (line) },
                    Some(b'+') => span.new { (line) },
                    _ => span { (line) },
                }
            }
        }
    }
}
