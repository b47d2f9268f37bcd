//! The first page: each brief with the build that stands, and the feeds in one line.

use super::figures::time;
use super::frame::{Look, Page, Place};
use super::words::{brief_path, counted, feed_path, part_path, pieces, plain};
use crate::web::view::{BriefLine, FeedsInShort, Overview};
use maud::{Markup, html};

pub fn page(view: &Overview, look: &Look) -> Page {
    let body = html! {
        div.head {
            div { h1 { "Briefs" } p.kicker { "As of " (time(&view.at)) } }
        }
        div #feeds-line data-live { (feeds(view, look)) }
        div #briefs data-live {
            @for brief in &view.briefs { (line(brief, look)) }
            @if view.briefs.is_empty() {
                p.said { "No brief is written yet. Put one into the folder " code { "briefs" } "; " code { "rigtide init" } " writes an example." }
            }
        }
    };
    Page {
        title: "Briefs".to_owned(),
        place: Place::Briefs,
        scripts: &[],
        body,
    }
}

/// How the feeds fare, in one line.
fn feeds(view: &Overview, look: &Look) -> Markup {
    let FeedsInShort {
        feeds,
        failing,
        last_poll,
        next_poll,
        offers,
        matched,
    } = &view.feeds;
    let is_well = failing.is_empty() && view.outbox.dead == 0;
    let figures = &look.figures;
    html! {
        p.said.warn[!is_well] {
            a href="/feeds" { (counted(*feeds, "feed", "feeds")) }
            @if failing.is_empty() { ", all well" } @else {
                ", " strong.warn-word { (failing.len()) " failing" } " ("
                @for (number, feed) in failing.iter().take(3).enumerate() {
                    @if number > 0 { ", " }
                    a href=(feed_path(feed)) { (feed) }
                }
                @if failing.len() > 3 { " and more" }
                ")"
            }
            ". "
            (figures.count(*matched as i64)) " of " (figures.count(*offers as i64)) " offers are parts"
            @if let Some(at) = last_poll { ", last poll " (time(at)) }
            @if let Some(at) = next_poll { ", next " (time(at)) }
            ". "
            @if view.held > 0 { a href="/feeds#held" { (counted(view.held, "price waits", "prices wait")) " for confirmation" } ". " }
            @if view.outbox.dead > 0 { a href="/outbox" { (counted(view.outbox.dead, "bulletin", "bulletins")) " could not be delivered" } "." }
        }
    }
}

fn line(brief: &BriefLine, look: &Look) -> Markup {
    let figures = &look.figures;
    let left = brief.total_minor.map(|total| brief.budget_minor - total);
    let currency = brief.currency.as_str();
    html! {
        section.sheet {
            header {
                h2 { a href=(brief_path(&brief.brief)) { (brief.name) } }
                p.kicker { (brief.brief) " · " (brief.country) }
            }
            @match (brief.score, brief.total_minor) {
                (Some(score), Some(total)) => {
                    div.pair {
                        div {
                            dl.sum {
                                div { dt { "Score" } dd { (figures.number(score, 1)) } }
                                div { dt { "Total" } dd { (figures.money(total, currency)) } }
                                div { dt { "Budget" } dd { (figures.money(brief.budget_minor, currency)) } }
                                @if let Some(left) = left { div { dt { "Left" } dd { (figures.money(left, currency)) } } }
                            }
                            @if let Some(share) = share(total, brief.budget_minor) { p { (bar(share)) } }
                            p.soft {
                                @match brief.proof.as_deref() {
                                    Some("optimal") => "No build within the budget scores higher.",
                                    Some("bounded") => "The search was cut off; a better build may exist.",
                                    _ => "",
                                }
                                @if let Some(since) = &brief.since { " It stands since " (time(since)) "." }
                            }
                            (told(brief, look))
                            (last_change(brief))
                        }
                        (picks(brief, look))
                    }
                }
                _ => {
                    @if brief.obstacles.is_empty() { p { "No answer yet: it comes with the next poll." } }
                    @else {
                        p.bad-word { "Nothing fits a budget of " (figures.money(brief.budget_minor, currency)) "." }
                        ul.notes { @for obstacle in &brief.obstacles { li { (obstacle) } } }
                    }
                    (told(brief, look))
                    (last_change(brief))
                }
            }
        }
    }
}

/// What was told last, where today's answer is another.
fn told(brief: &BriefLine, look: &Look) -> Markup {
    let Some(told) = &brief.told else {
        return html! {};
    };
    let figures = &look.figures;
    let total = told
        .total_minor
        .map(|total| figures.money(total, &brief.currency));
    html! {
        p.soft {
            @match (&total, told.is_same_build) {
                (Some(total), true) => { "The same build cost " (total) " when you were told of it, " (time(&told.at)) "." }
                (Some(total), false) => {
                    "Not told, or not yet. Told last, " (time(&told.at)) ": " (total)
                    @if let Some(score) = told.score { ", score " (figures.number(score, 1)) }
                    "."
                }
                (None, true) => {}
                (None, false) => { "Not told, or not yet. Told last, " (time(&told.at)) ": nothing fits." }
            }
        }
    }
}

fn last_change(brief: &BriefLine) -> Markup {
    html! {
        @if let Some(change) = &brief.last_change {
            p { strong { "Last change" } ", " (time(&change.at)) ": " (change.text) }
        }
    }
}

fn picks(brief: &BriefLine, look: &Look) -> Markup {
    html! {
        table {
            caption { "The picks, landed prices in " (brief.currency) }
            tbody {
                @for pick in &brief.picks {
                    tr {
                        th scope="row" { (plain(&pick.role)) }
                        td { a href=(part_path(&pick.part)) { (pieces(pick.quantity, &pick.name)) } }
                        td.num { (look.figures.amount(pick.landed_minor, &brief.currency)) }
                    }
                }
            }
        }
    }
}

/// The total's share of the budget.
fn share(total: i64, budget: i64) -> Option<f64> {
    (budget > 0).then(|| (total as f64 / budget as f64).clamp(0.0, 1.0))
}

fn bar(share: f64) -> Markup {
    let words = format!("{:.0} % of the budget is spent", 100.0 * share);
    html! {
        svg.bar.whole viewBox="0 0 100 4" preserveAspectRatio="none" role="img" aria-label=(words) {
            rect width="100" height="4" {}
            rect.in width=(format!("{:.1}", 100.0 * share)) height="4" {}
        }
    }
}
