//! What stands around a build: what limits each workload, wishes, what was checked, cautions, power.

use super::super::frame::Look;
use super::super::words::{counted, plain};
use crate::web::view::{BriefPage, WorkloadView};
use maud::{Markup, html};

pub fn limits(view: &BriefPage, look: &Look) -> Markup {
    let figures = &look.figures;
    html! {
        h2 { "What limits it" }
        @if view.workloads.is_empty() { p.soft { "There is no build for anything to limit." } }
        @else {
            table.stack {
                thead {
                    tr {
                        th scope="col" { "Workload" } th.num scope="col" { "Weight" } th.num scope="col" { "Rate" } th scope="col" { "Limited by" }
                    }
                }
                tbody { @for workload in &view.workloads { (limit(workload, look)) } }
            }
        }
        @if !view.gain_percent_of_a_tenth.is_empty() {
            h3 { "What a tenth more would bring" }
            ul.notes {
                @for (role, gain) in &view.gain_percent_of_a_tenth {
                    li { (plain(role)) ": score " (figures.change(*gain, 1)) " %" }
                }
            }
        }
        @if !view.wishes.is_empty() {
            h3 { "Wishes" }
            ul.notes {
                @for wish in &view.wishes {
                    li {
                        @if wish.is_met { span.good-word { "met" } } @else { span.warn-word { "not met" } }
                        " " (plain(&wish.role)) ": " (wish.wish) ", worth " (figures.percent(wish.worth_percent, 1)) " of the score"
                    }
                }
            }
        }
    }
}

fn limit(workload: &WorkloadView, look: &Look) -> Markup {
    let figures = &look.figures;
    let unused = workload
        .unused_percent
        .iter()
        .filter(|(_, share)| **share >= 0.5);
    html! {
        tr {
            th scope="row" { (workload.name) }
            td.num data-of="Weight" { (figures.percent(workload.weight_percent, 0)) }
            td.num data-of="Rate" {
                span { (figures.number(workload.rate, 1)) " " (workload.unit) @if workload.is_estimate { small { "estimate" } } }
            }
            td data-of="Limited by" {
                span {
                    @if workload.limited_by == "cap" { "the brief's cap" } @else { (plain(&workload.limited_by)) }
                    @for (role, share) in unused { small { (figures.percent(*share, 0)) " of the " (plain(role)) " unused" } }
                }
            }
        }
    }
}

pub fn checks(view: &BriefPage, look: &Look) -> Markup {
    let figures = &look.figures;
    html! {
        @if !view.cautions.is_empty() {
            section.sheet {
                h2 { "Cautions" }
                ul.notes { @for caution in &view.cautions { li { span.warn-word { "Look: " } (caution) } } }
            }
        }
        section.sheet {
            h2 { @if view.picks.is_empty() { "Whether it fits" } @else { "It fits" } }
            @if let Some(power) = &view.power {
                p {
                    "Load " (figures.count(power.load_w)) " W, the supply has to give " (figures.count(power.needed_w)) " W"
                    @if let Some(rated) = power.rated_w { " and gives " strong { (figures.count(rated)) " W" } }
                    "."
                    @if !power.unknown.is_empty() { " Nobody states the draw of " (power.unknown.join(", ")) "." }
                }
            }
            @if view.picks.is_empty() { p.soft { "There is no build that could be checked." } }
            @else if view.notes.is_empty() { p.soft { "Nothing to say." } }
            @else {
                details open[view.notes.len() <= 6] {
                    summary { (counted(view.notes.len() as u64, "note", "notes")) " on what was checked" }
                    ul.notes { @for note in &view.notes { li { (note) } } }
                }
            }
            @if !view.left_out.is_empty() {
                details {
                    summary { (counted(view.left_out.values().sum(), "offer", "offers")) " left out" }
                    ul.notes { @for (reason, count) in &view.left_out { li { (figures.count(*count as i64)) " " (reason) } } }
                }
            }
        }
    }
}
