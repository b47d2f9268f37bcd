//! The ladder as a chart with the budget on it, its step-ups, and every rung in a table.
//!
//! Without a script it is a picture and a form. The rungs come along in a data attribute, so that the
//! build follows a budget that is dragged without asking anybody.

use super::super::figures::Figures;
use super::super::frame::Look;
use super::super::plot::{self, Tick, across, dot, up};
use super::super::words::{brief_path, plain, under};
use crate::chart::axis::Axis;
use crate::money::Currency;
use crate::web::view::{BriefPage, LadderPage, RungView};
use maud::{Markup, html};
use serde_json::{Value, json};

/// So many step-ups stand beside the chart.
const STEPS: usize = 4;

pub fn section(view: &BriefPage, ladder: Result<&LadderPage, &str>, look: &Look) -> Markup {
    html! {
        div.pair {
            section.sheet #ladder data-live {
                header { h2 { "The ladder" } p.soft { "For every budget, the best build" } }
                @match ladder {
                    Ok(ladder) => (drawn(view, ladder, look)),
                    Err(why) => p.said.warn { (why) },
                }
                (budget(view))
            }
            section.sheet #step-ups data-live {
                header { h2 { "Step-ups" } p.soft { "What more money buys from here" } }
                @if let Ok(ladder) = ladder { (steps(view.budget_minor, ladder, look)) }
            }
        }
    }
}

/// Where the budget and the rungs lie.
struct Axes {
    money: Axis,
    score: Axis,
    exponent: i32,
}

impl Axes {
    fn of(view: &BriefPage, ladder: &LadderPage) -> Axes {
        let exponent = Currency::parse(&ladder.currency).map_or(0, |currency| currency.exponent());
        let exponent = i32::try_from(exponent).unwrap_or(0);
        let major = |minor: i64| minor as f64 / 10_f64.powi(exponent);
        let totals = ladder.rungs.iter().map(|rung| rung.total_minor);
        Axes {
            money: Axis::around(totals.chain([view.budget_minor]).map(major)),
            score: Axis::around(ladder.rungs.iter().map(|rung| rung.score)),
            exponent,
        }
    }

    fn x(&self, minor: i64) -> f64 {
        across(self.money.share(minor as f64 / 10_f64.powi(self.exponent)))
    }

    fn y(&self, score: f64) -> f64 {
        up(self.score.share(score))
    }

    fn dot(&self, rung: &RungView) -> String {
        dot(self.x(rung.total_minor), self.y(rung.score))
    }

    fn minor(&self, major: f64) -> i64 {
        (major * 10_f64.powi(self.exponent)).round() as i64
    }
}

fn drawn(view: &BriefPage, ladder: &LadderPage, look: &Look) -> Markup {
    let (Some(first), Some(last)) = (ladder.rungs.first(), ladder.rungs.last()) else {
        return html! { p { "No budget buys a build that fits." } };
    };
    let axes = Axes::of(view, ladder);
    let figures = &look.figures;
    let ticks = |axis: &Axis| -> Vec<Tick> {
        let ticks = axis.ticks().into_iter();
        let tick = |value| Tick {
            share: axis.share(value),
            label: figures.tick(value),
        };
        ticks.map(tick).collect()
    };
    let here = view.budget_minor;
    let bought = ladder.rungs.iter().rfind(|rung| rung.total_minor <= here);
    let body = html! {
        rect.reach height="1000" width=(format!("{:.2}", axes.x(here))) {}
        path.line d=(line(&axes, ladder)) {}
        @for rung in &ladder.rungs { path.dot.knee[rung.knee] d=(axes.dot(rung)) {} }
        path.rule d=(format!("M{:.2} 0V1000", axes.x(here))) {}
        path.here d=(bought.map_or(String::new(), |rung| axes.dot(rung))) {}
        path.here.in d=(bought.map_or(String::new(), |rung| axes.dot(rung))) {}
    };
    let (least, most) = (axes.minor(axes.money.least), axes.minor(axes.money.most));
    let title = format!(
        "The ladder: {} rungs from {} {}, which scores {:.1}, to {} {}, which scores {:.1}",
        ladder.rungs.len(),
        ladder.currency,
        Figures::plain(first.total_minor, &ladder.currency),
        first.score,
        ladder.currency,
        Figures::plain(last.total_minor, &ladder.currency),
        last.score
    );
    let slide = html! {
        input.slide type="range" hidden min=(least) max=(most) step=(axes.minor(1.0).max(1)) value=(here)
            aria-label={ "Budget, " (ladder.currency) } aria-valuetext={ (ladder.currency) " " (Figures::plain(here, &ladder.currency)) };
    };
    html! {
        figure.ladder data-rungs=(data(&axes, ladder, least, most)) {
            (plot::plot(&title, &ticks(&axes.score), &ticks(&axes.money), &body, &slide))
            ul.key {
                li { "up: score; across: total, " (ladder.currency) }
                li { "large dot: a knee, where the next step buys less" }
                @if !ladder.whole { li { "The ladder was cut off; more money may buy more." } }
            }
        }
        (table(view, ladder, look))
    }
}

/// From rung to rung: level until the next can be paid.
fn line(axes: &Axes, ladder: &LadderPage) -> String {
    let mut path = String::new();
    for rung in &ladder.rungs {
        let (x, y) = (axes.x(rung.total_minor), axes.y(rung.score));
        path += &match path.is_empty() {
            true => format!("M{x:.2} {y:.2}"),
            false => format!("H{x:.2}V{y:.2}"),
        };
    }
    path + "H1000"
}

/// The rungs for the script. Parts and retailers are told once and then by number.
fn data(axes: &Axes, ladder: &LadderPage, least: i64, most: i64) -> String {
    let mut parts: Vec<(&str, &str)> = Vec::new();
    let mut names: Vec<&str> = Vec::new();
    let mut rungs = Vec::new();
    for rung in &ladder.rungs {
        let mut picks = Vec::new();
        for pick in &rung.picks {
            let part = number(&mut parts, (pick.part.as_str(), pick.name.as_str()));
            let role = number(&mut names, pick.role.as_str());
            let retailer = pick
                .retailer
                .as_deref()
                .map(|name| number(&mut names, name));
            picks.push(json!([
                role,
                part,
                pick.quantity,
                retailer,
                pick.landed_minor
            ]));
        }
        rungs.push(json!({
            "total_minor": rung.total_minor, "score": rung.score, "dot": axes.dot(rung), "picks": picks,
        }));
    }
    let data: Value = json!({
        "currency": ladder.currency, "exponent": axes.exponent, "least": least, "most": most,
        "whole": ladder.whole, "parts": parts, "names": names, "rungs": rungs,
    });
    data.to_string()
}

fn number<T: PartialEq>(known: &mut Vec<T>, one: T) -> usize {
    let place = known.iter().position(|other| *other == one);
    place.unwrap_or_else(|| {
        known.push(one);
        known.len() - 1
    })
}

/// The budget as a form, which works without a script.
fn budget(view: &BriefPage) -> Markup {
    let others = view.what_if.pairs();
    let others = others.iter().filter(|(name, _)| *name != "budget");
    html! {
        form.row.budget action=(brief_path(&view.brief)) method="get" {
            @for (name, value) in others { input type="hidden" name=(name) value=(value); }
            label for="budget" { "Budget, " (view.currency) }
            input.amount #budget name="budget" type="number" min="0" step="any" inputmode="decimal" required
                value=(Figures::plain(view.budget_minor, &view.currency));
            button { "Look" }
            @if view.budget_minor != view.written_budget_minor {
                span.soft { "as written: " (Figures::plain(view.written_budget_minor, &view.currency)) }
            }
        }
    }
}

/// Where nothing can be had for the budget, what a build costs beyond it, and its whole score.
fn steps(budget_minor: i64, ladder: &LadderPage, look: &Look) -> Markup {
    let figures = &look.figures;
    let next = ladder.bought.map_or(0, |bought| bought + 1);
    let from = ladder.bought.and_then(|bought| ladder.rungs.get(bought));
    let cost = from.map_or(budget_minor, |rung| rung.total_minor);
    let score = |rung: &RungView| match from {
        Some(from) => figures.change(rung.score - from.score, 1),
        None => figures.number(rung.score, 1),
    };
    let above: Vec<&RungView> = ladder.rungs.iter().skip(next).take(STEPS).collect();
    html! {
        table #steps {
            thead {
                tr { th.num scope="col" { "More, " (ladder.currency) } th.num scope="col" { "Score" } th scope="col" { "Brings" } }
            }
            tbody {
                @for rung in &above {
                    tr {
                        th.num scope="row" { (figures.more(rung.total_minor - cost, &ladder.currency)) }
                        td.num { (score(rung)) }
                        td { (brings(from, rung)) }
                    }
                }
                @if above.is_empty() { tr { td colspan="3" { "Nothing more to be had for any money." } } }
            }
        }
    }
}

/// The parts of a rung that another has not.
fn brings(from: Option<&RungView>, rung: &RungView) -> String {
    let had = |role: &str, part: &str| {
        let picks = from.iter().flat_map(|rung| &rung.picks);
        picks
            .into_iter()
            .any(|pick| pick.role == role && pick.part == part)
    };
    let new = rung
        .picks
        .iter()
        .filter(|pick| !had(&pick.role, &pick.part));
    let names: Vec<&str> = new.map(|pick| pick.name.as_str()).collect();
    match names.len() {
        0..=4 => names.join(", "),
        many => format!("{} and {} more", names[..3].join(", "), many - 3),
    }
}

fn table(view: &BriefPage, ladder: &LadderPage, look: &Look) -> Markup {
    let figures = &look.figures;
    html! {
        details {
            summary { "All " (ladder.rungs.len()) " rungs" }
            table.stack {
                thead {
                    tr {
                        th.num scope="col" { "Total, " (ladder.currency) } th.num scope="col" { "Score" }
                        th.num scope="col" { "Step-up" } th scope="col" { "Changes" }
                    }
                }
                tbody {
                    @for (number, rung) in ladder.rungs.iter().enumerate() {
                        @let mut what_if = view.what_if.clone();
                        @let () = what_if.budget = Some(Figures::plain(rung.total_minor, &ladder.currency));
                        tr.here[ladder.bought == Some(number)] {
                            th.num scope="row" { a href=(under(&view.brief, "", &what_if)) { (figures.amount(rung.total_minor, &ladder.currency)) } }
                            td.num data-of="Score" { span { (figures.number(rung.score, 1)) @if rung.knee { " " span.tag.on { "knee" } } } }
                            td.num data-of="Step-up" {
                                @if let Some(step) = &rung.step_up {
                                    span { (figures.change(step.score, 1)) " for " (figures.more(step.cost_minor, &ladder.currency)) }
                                }
                            }
                            td { (roles(rung)) }
                        }
                    }
                }
            }
        }
    }
}

fn roles(rung: &RungView) -> String {
    let roles = rung.changes.iter().map(|change| plain(&change.role));
    roles.collect::<Vec<_>>().join(", ")
}
