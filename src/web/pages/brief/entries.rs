//! What else could stand in a build: entry prices by role, the next best builds, and why a part is in or
//! out.

use super::super::frame::{Look, Page, Place};
use super::super::words::{differing, part_path, pieces, plain, segment, under};
use super::{Heading, heading};
use crate::web::view::{
    AlternativeView, Alternatives, BindingView, EntryPrices, EntryView, RoleEntries, RoleWhy,
    WhatIf, WhyBuild, WhyView,
};
use maud::{Markup, html};

/// At what price each part would be in a best build.
pub fn page(view: &EntryPrices, role: Option<&str>, what_if: &WhatIf, look: &Look) -> Page {
    let head = Heading {
        brief: &view.brief,
        name: "Entry prices",
        what_if,
        here: "/entries",
    };
    let below = html! { "The highest landed price at which a part would be in a best build, in " (view.currency) };
    let body = html! {
        (heading(&head, &below))
        @if let Some(role) = role {
            p { "Only " strong { (plain(role)) } ". " a href=(under(&view.brief, "/entries", what_if)) { "Every role" } }
        }
        @for role in &view.roles { (role_table(view, role, what_if, look)) }
    };
    Page {
        title: format!("Entry prices, {}", view.brief),
        place: Place::Briefs,
        scripts: &[],
        body,
    }
}

fn role_table(view: &EntryPrices, role: &RoleEntries, what_if: &WhatIf, look: &Look) -> Markup {
    html! {
        section.sheet {
            h2 { (plain(&role.role)) }
            table.stack {
                thead {
                    tr {
                        th scope="col" { "Part" } th.num scope="col" { "Landed now" } th.num scope="col" { "Entry price" }
                        th.num scope="col" { "Has to fall" } th scope="col" { "What if" }
                    }
                }
                tbody { @for part in &role.parts { (entry(view, &role.role, part, what_if, look)) } }
            }
        }
    }
}

fn entry(
    view: &EntryPrices,
    role: &str,
    part: &EntryView,
    what_if: &WhatIf,
    look: &Look,
) -> Markup {
    let figures = &look.figures;
    let mut pinned = what_if.clone();
    pinned.pins.insert(role.to_owned(), part.part.clone());
    let fall = part
        .landed_minor
        .zip(part.entry_minor)
        .map(|(landed, entry)| landed - entry);
    html! {
        tr.here[part.in_best] {
            th scope="row" { a href=(part_path(&part.part)) { (part.name) } @if part.in_best { " " span.tag.on { "in the best build" } } }
            td.num data-of="Landed now" {
                @if let Some(landed) = part.landed_minor { (figures.amount(landed, &view.currency)) } @else { span.soft { "not on offer" } }
            }
            td.num data-of="Entry price" {
                @if let Some(entry) = part.entry_minor { (figures.amount(entry, &view.currency)) } @else { span.soft { "not even for nothing" } }
            }
            td.num data-of="Has to fall" {
                @if let Some(fall) = fall.filter(|fall| *fall > 0 && !part.in_best) { (figures.amount(fall, &view.currency)) }
            }
            td {
                div.acts {
                    a.button.small href=(under(&view.brief, "", &pinned)) aria-label={ "Pin " (part.name) } { "Pin" }
                    a.button.small href=(under(&view.brief, &format!("/why/{}", segment(&part.part)), what_if)) aria-label={ "Why " (part.name) } { "Why" }
                }
            }
        }
    }
}

/// The next best builds, and the best on each other socket.
pub fn alternatives(view: &Alternatives, what_if: &WhatIf, look: &Look) -> Page {
    let figures = &look.figures;
    let head = Heading {
        brief: &view.brief,
        name: "Alternatives",
        what_if,
        here: "/alternatives",
    };
    let below = html! {
        @if let (Some(total), Some(score)) = (view.total_minor, view.score) {
            "The best build scores " (figures.number(score, 1)) " for " (figures.money(total, &view.currency))
        }
    };
    let body = html! {
        (heading(&head, &below))
        section.sheet {
            h2 { "The next best builds" }
            (builds(view, view.alternatives.iter().map(|one| (None, one)), look))
        }
        @if !view.platforms.is_empty() {
            section.sheet {
                h2 { "The best on each other socket" }
                @let platforms: Vec<(String, AlternativeView)> = view.platforms.iter().map(|one| (one.socket.clone(), AlternativeView {
                    total_minor: one.total_minor, score: one.score, differs: one.differs.clone(), picks: one.picks.clone(),
                })).collect();
                (builds(view, platforms.iter().map(|(socket, one)| (Some(socket.as_str()), one)), look))
            }
        }
    };
    Page {
        title: format!("Alternatives, {}", view.brief),
        place: Place::Briefs,
        scripts: &[],
        body,
    }
}

fn builds<'a>(
    view: &Alternatives,
    builds: impl Iterator<Item = (Option<&'a str>, &'a AlternativeView)> + Clone,
    look: &Look,
) -> Markup {
    let figures = &look.figures;
    let has_sockets = builds.clone().any(|(socket, _)| socket.is_some());
    let is_empty = builds.clone().next().is_none();
    html! {
        @if is_empty { p.soft { "There is no other build." } }
        table.stack {
            thead {
                tr {
                    @if has_sockets { th scope="col" { "Socket" } }
                    th.num scope="col" { "Score" } th.num scope="col" { "Total, " (view.currency) }
                    th.num scope="col" { "More or less" } th scope="col" { "Differs in" }
                }
            }
            tbody {
                @for (socket, build) in builds {
                    tr {
                        @if let Some(socket) = socket { th scope="row" { (socket) } }
                        td.num data-of="Score" { (figures.number(build.score, 1)) }
                        td.num data-of="Total" { (figures.amount(build.total_minor, &view.currency)) }
                        td.num data-of="More or less" {
                            @if let (Some(total), Some(score)) = (view.total_minor, view.score) {
                                span { (figures.more(build.total_minor - total, &view.currency)) small { (figures.change(build.score - score, 1)) " score" } }
                            }
                        }
                        td { (differing(&build.picks, &build.differs)) }
                    }
                }
            }
        }
    }
}

/// Why a part is in the best build or not.
pub fn why(view: &WhyView, what_if: &WhatIf, look: &Look) -> Page {
    let title = format!("Why {}", view.name);
    let head = Heading {
        brief: &view.brief,
        name: &title,
        what_if,
        here: "/why",
    };
    let below = html! { a href=(part_path(&view.part)) { "The part" } };
    let body = html! {
        (heading(&head, &below))
        @for role in &view.roles { (role_why(view, role, look)) }
        @if !view.left_out.is_empty() {
            section.sheet { h2 { "Offers that are not considered" } ul.notes { @for reason in &view.left_out { li { (reason) } } } }
        }
    };
    Page {
        title: title.clone(),
        place: Place::Briefs,
        scripts: &[],
        body,
    }
}

fn role_why(view: &WhyView, role: &RoleWhy, look: &Look) -> Markup {
    let figures = &look.figures;
    let verdict = match role.verdict.as_str() {
        "picked" => "It is in the best build.",
        "beaten" => "Another part does better for the money.",
        "kept_out" => "The brief or a fit rule keeps it out.",
        "not_offered" => "Nobody offers it.",
        _ => "",
    };
    html! {
        section.sheet {
            header { h2 { "As " (plain(&role.role)) } span.tag.on[role.verdict == "picked"] { (plain(&role.verdict)) } }
            p { (verdict) }
            dl.sum {
                @if let Some(landed) = role.landed_minor { div { dt { "Landed now" } dd { (figures.money(landed, &view.currency)) } } }
                @if let Some(entry) = role.entry_minor { div { dt { "Entry price" } dd { (figures.money(entry, &view.currency)) } } }
                @for (name, build) in [(if role.verdict == "picked" { "Best without it" } else { "Best with it" }, &role.other), ("Best", &role.best)] {
                    @if let Some(build) = build {
                        div { dt { (name) } dd { (figures.number(build.score, 1)) " " small { "for " (figures.money(build.total_minor, &view.currency)) } } }
                    }
                }
            }
            @if let Some(other) = &role.other { (other_build(other, view, role, look)) }
            @if !role.kept_out.is_empty() { ul.notes { @for reason in &role.kept_out { li { (reason) } } } }
            @if let Some(binding) = &role.binding { (holds(binding, view, look)) }
        }
    }
}

/// The best build with a part that is none of its picks, or without one that is, beside the best.
fn other_build(other: &WhyBuild, view: &WhyView, role: &RoleWhy, look: &Look) -> Markup {
    let name = match role.verdict.as_str() {
        "picked" => "The best build without it",
        _ => "The best build with it",
    };
    let gone = view.best_picks.iter();
    let gone = gone.filter(|best| !other.picks.iter().any(|pick| pick.role == best.role));
    html! {
        h3 { (name) }
        table.stack {
            thead {
                tr {
                    th scope="col" { "Role" } th scope="col" { "Part" } th scope="col" { "Instead of" }
                    th.num scope="col" { "Landed, " (view.currency) }
                }
            }
            tbody {
                @for pick in &other.picks {
                    @let best = view.best_picks.iter().find(|best| best.role == pick.role);
                    @let is_same = best.is_some_and(|best| (&best.part, best.quantity) == (&pick.part, pick.quantity));
                    tr.here[!is_same] {
                        th scope="row" { (plain(&pick.role)) }
                        td { a href=(part_path(&pick.part)) { (pieces(pick.quantity, &pick.name)) } }
                        td data-of="Instead of" {
                            @if !is_same { (best.map_or("nothing".to_owned(), |best| pieces(best.quantity, &best.name))) }
                        }
                        td.num data-of="Landed" { (look.figures.amount(pick.landed_minor, &view.currency)) }
                    }
                }
                @for best in gone {
                    tr.here {
                        th scope="row" { (plain(&best.role)) }
                        td { "nothing" }
                        td data-of="Instead of" { (pieces(best.quantity, &best.name)) }
                        td.num {}
                    }
                }
            }
        }
    }
}

/// What holds a pick where it is.
fn holds(binding: &BindingView, view: &WhyView, look: &Look) -> Markup {
    let figures = &look.figures;
    html! {
        h3 { "What holds it where it is" }
        ul.notes {
            li {
                (figures.money(binding.budget_left_minor, &view.currency)) " are left of the budget"
                @if let Some(next) = &binding.next_step {
                    "; with " (figures.money(next.more_minor, &view.currency)) " more, "
                    a href=(part_path(&next.part)) { (next.part) } " comes and the score is " (figures.number(next.score, 1))
                }
                "."
            }
            @for hold in &binding.workloads {
                li {
                    (plain(&hold.workload)) ": "
                    @match hold.limited_by.as_str() {
                        "this_role" => "this part limits it",
                        "cap" => "the brief's cap limits it",
                        _ => "another role limits it",
                    }
                    @if hold.unused_percent >= 0.5 { ", " (figures.percent(hold.unused_percent, 0)) " of this part unused" }
                }
            }
            @for limit in &binding.limits {
                li {
                    "Without " (limit.name) " (" (plain(&limit.kind)) ") it would be "
                    a href=(part_path(&limit.part)) { (limit.part) } ", score " (figures.number(limit.score, 1))
                    " for " (figures.money(limit.total_minor, &view.currency)) "."
                }
            }
        }
    }
}
