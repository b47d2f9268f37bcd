//! A brief with its best build: as it is written, or under a what-if.

pub mod around;
pub mod entries;
pub mod guide;
pub mod ladder;
mod picks;
pub mod saving;
mod supposed;

use super::figures::time;
use super::frame::{Look, Page, Place};
use super::words::{plain, segment, under};
use crate::web::view::{BesideView, BriefPage, LadderPage, WhatIf};
use maud::{Markup, html};

/// What a page of a brief is headed with.
pub struct Heading<'h> {
    pub brief: &'h str,
    pub name: &'h str,
    pub what_if: &'h WhatIf,
    /// Which of its pages it is.
    pub here: &'h str,
}

const PAGES: [(&str, &str); 4] = [
    ("", "Build"),
    ("/entries", "Entry prices"),
    ("/alternatives", "Alternatives"),
    ("/guide", "Guide"),
];

/// The brief's name and the way to its other pages, with the same what-if.
pub fn heading(heading: &Heading<'_>, below: &Markup) -> Markup {
    let Heading {
        brief,
        name,
        what_if,
        here,
    } = heading;
    html! {
        div.head {
            div {
                p.kicker { a href="/" { "Briefs" } " / " (brief) }
                h1 { (name) }
                p.kicker { (below) }
            }
            nav aria-label="Of this brief" {
                ul.tabs {
                    @for (page, title) in PAGES {
                        li { a.button.small href=(under(brief, page, what_if)) aria-current=[(page == *here).then_some("page")] { (title) } }
                    }
                    li { a.button.small href={ "/journal?brief=" (segment(brief)) } { "Journal" } }
                }
            }
        }
    }
}

/// The page. The ladder may be missing, with the reason why.
pub fn page(
    view: &BriefPage,
    ladder: Result<&LadderPage, &str>,
    told: Option<&str>,
    look: &Look,
) -> Page {
    let head = Heading {
        brief: &view.brief,
        name: &view.name,
        what_if: &view.what_if,
        here: "",
    };
    let below = html! { (view.country) " · " (view.currency) " · as of " (time(&view.at)) };
    let body = html! {
        (heading(&head, &below))
        @if told == Some("saved") { p.said role="status" { "Saved. The next answer counts it." } }
        div #supposed data-live { (supposed::strip(view)) }
        div #sum data-live { (sum(view, look)) }
        p #said.away-from-sight role="status" {}
        (ladder::section(view, ladder, look))
        section.sheet #picks data-live { (picks::section(view, look)) }
        div.pair.even {
            section.sheet #limits data-live { (around::limits(view, look)) }
            div #checks data-live { (around::checks(view, look)) }
        }
    };
    Page {
        title: view.name.clone(),
        place: Place::Briefs,
        scripts: &["ladder.js"],
        body,
    }
}

fn sum(view: &BriefPage, look: &Look) -> Markup {
    let figures = &look.figures;
    let currency = view.currency.as_str();
    html! {
        div.sheet {
            dl.sum {
                div { dt { "Score" } dd data-follow="score" {
                    @if let Some(score) = view.score { (figures.number(score, 1)) } @else { "–" }
                } }
                div { dt { "Total, " (currency) } dd data-follow="total" {
                    @if let Some(total) = view.total_minor { (figures.amount(total, currency)) } @else { "–" }
                } }
                div { dt { "Budget, " (currency) } dd data-follow="budget" { (figures.amount(view.budget_minor, currency)) } }
                div { dt { "Left, " (currency) } dd data-follow="left" {
                    @if let Some(total) = view.total_minor { (figures.amount(view.budget_minor - total, currency)) } @else { "–" }
                } }
                @if let Some(beside) = &view.as_written { div { dt { "Beside the brief as written" } dd { (difference(view, beside, look)) } } }
            }
            p.soft #in-words { (in_words(view, look)) }
            @if let Some(beside) = &view.as_written { (changes(beside, "Other than as written")) }
            @if view.as_written.is_none() {
                @if let Some(standing) = view.standing.as_ref().filter(|standing| !standing.changes.is_empty()) {
                    (changes(standing, "Other than the standing build"))
                }
            }
            (obstacles(view))
        }
    }
}

/// The state of the answer in one sentence, which is also read aloud when the budget was moved.
fn in_words(view: &BriefPage, look: &Look) -> Markup {
    let figures = &look.figures;
    html! {
        @match (view.score, view.proof.as_str()) {
            (Some(score), "optimal") => {
                "No build for " (figures.money(view.budget_minor, &view.currency)) " that fits scores more than "
                (figures.number(score, 1)) "."
            }
            (Some(_), _) => {
                "The search was cut off, so a better build may exist"
                @if let Some(bound) = view.bound { "; none scores more than " (figures.number(bound, 1)) }
                "."
            }
            (None, _) => { "Nothing fits a budget of " (figures.money(view.budget_minor, &view.currency)) "." }
        }
        @if view.score.is_some() {
            @if let Some(share) = view.estimated_percent.filter(|share| *share > 0.0) {
                " " (figures.percent(share, 0)) " of the score rests on estimates."
            }
        }
        " " (figures.count(view.parts_considered as i64)) " parts and " (figures.count(view.offers_considered as i64)) " offers were considered."
    }
}

fn difference(view: &BriefPage, beside: &BesideView, look: &Look) -> Markup {
    let figures = &look.figures;
    html! {
        @match (view.score.zip(view.total_minor), beside.score.zip(beside.total_minor)) {
            (Some((score, total)), Some((was, before))) => {
                (figures.change(score - was, 1)) " "
                small { "for " (figures.more(total - before, &view.currency)) }
            }
            (Some(_), None) => "fits at all",
            (None, _) => "nothing fits",
        }
    }
}

fn changes(beside: &BesideView, title: &str) -> Markup {
    html! {
        @if !beside.changes.is_empty() {
            details {
                summary { (title) " in " (beside.changes.len()) " of the roles" }
                ul.notes {
                    @for change in &beside.changes {
                        li {
                            strong { (plain(&change.role)) } ": "
                            (change.from_name.as_deref().unwrap_or("none")) " → "
                            (change.to_name.as_deref().unwrap_or("none"))
                        }
                    }
                }
            }
        }
    }
}

fn obstacles(view: &BriefPage) -> Markup {
    html! {
        @if !view.obstacles.is_empty() {
            ul.notes { @for obstacle in &view.obstacles { li.bad-word { (obstacle) } } }
        }
    }
}
