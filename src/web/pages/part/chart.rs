//! The chart of prices over time: a line for each offer and one for the lowest, gaps left out, lows
//! marked, entry prices across.

use super::super::frame::Look;
use super::super::plot::{self, Tick, across, dot, up};
use crate::chart::axis::{Axis, TimeAxis};
use crate::money::Currency;
use crate::web::view::{EntryLine, PastView, StepView, WareView};
use chrono::{DateTime, Utc};
use maud::{Markup, html};

/// Lines have so many colours of their own.
const COLOURS: usize = 6;
/// An entry price is drawn if it lies so near to what was asked, as a share of that.
const NEAR: f64 = 0.5;

struct Axes {
    money: Axis,
    time: TimeAxis,
    unit: f64,
}

impl Axes {
    fn x(&self, at: &str) -> f64 {
        across(instant(at).map_or(0.0, |at| self.time.share(at)))
    }

    fn y(&self, minor: i64) -> f64 {
        up(self.money.share(minor as f64 / self.unit))
    }
}

/// The chart with its switches; in words where there is nothing to draw.
pub fn figure(view: &PastView, ware: &WareView, number: usize, look: &Look) -> Markup {
    let Some(axes) = axes(view, ware) else {
        return html! { p { "No price is on record for this span." } };
    };
    let entries = near(view, ware);
    let lowest = lowest(&ware.steps);
    let body = html! {
        rect.mark-out height="1000" width="0" {}
        @for (place, offer) in ware.offers.iter().enumerate() {
            g.own.{ "line-" (1 + place % (COLOURS - 1)) } data-series=(place) { (line(&axes, &offer.steps)) }
        }
        g.own.line-0 data-series="lowest" {
            (line(&axes, &ware.steps))
            @for step in ware.steps.iter().filter(|step| had(step).is_some() && had(step) == lowest) {
                path.low d=(dot(axes.x(&step.from), axes.y(lowest.unwrap_or(0)))) {}
            }
        }
        @for entry in &entries { path.entry d=(format!("M0 {:.2}H1000", axes.y(entry.entry_minor))) {} }
    };
    let time = axes.time.ticks().into_iter().map(|at| Tick {
        share: axes.time.share(at),
        label: at.format("%Y-%m-%d").to_string(),
    });
    let money = axes.money.ticks().into_iter().map(|value| Tick {
        share: axes.money.share(value),
        label: look.figures.tick(value),
    });
    let title = words(view, ware);
    let (money, time): (Vec<Tick>, Vec<Tick>) = (money.collect(), time.collect());
    let span = format!(
        "{} {}",
        axes.time.from.to_rfc3339(),
        axes.time.until.to_rfc3339()
    );
    html! {
        figure.past data-span=(span) {
            (plot::plot(&title, &money, &time, &body, &html! {}))
            p.row.zoom data-script hidden {
                span.soft { "Draw across the chart for a closer look, or:" }
                @for (act, name) in [("closer", "Closer"), ("further", "Further"), ("earlier", "Earlier"), ("later", "Later"), ("whole", "Whole span")] {
                    button.small type="button" data-do=(act) { (name) }
                }
            }
            (switches(view, ware, number, !entries.is_empty()))
        }
    }
}

/// Each line with its colour, on and off.
fn switches(view: &PastView, ware: &WareView, number: usize, has_entry: bool) -> Markup {
    html! {
        fieldset.switches {
            legend { "Lines" }
            label.check.line-0 { (switch("lowest", number)) span.swatch {} "lowest of all" }
            @for (place, offer) in ware.offers.iter().enumerate() {
                label.check.{ "line-" (1 + place % (COLOURS - 1)) } {
                    (switch(&place.to_string(), number)) span.swatch {}
                    bdi { (name_of(view, &offer.retailer)) " " span.soft { (offer.sku) } }
                }
            }
        }
        ul.key {
            li { "dot: lowest" } li { "dashed: could not be ordered" } li { "no line: not read, or not on offer" }
            @if has_entry { li { "long dashes across: entry price" } }
        }
    }
}

/// What people call a retailer; one that the settings name no more has its id.
pub(super) fn name_of<'v>(view: &'v PastView, retailer: &'v str) -> &'v str {
    let name = view.retailer_names.get(retailer);
    name.map_or(retailer, String::as_str)
}

fn switch(line: &str, number: usize) -> Markup {
    html! { input type="checkbox" checked data-line=(line) name={ "line-" (number) } value=(line) data-script hidden autocomplete="off"; }
}

/// A series as one path for what could be had and one for what could not.
fn line(axes: &Axes, steps: &[StepView]) -> Markup {
    let (mut solid, mut dashed) = (String::new(), String::new());
    let mut before: Option<(&str, bool)> = None;
    for step in steps {
        let Some(price) = step.price_minor.filter(|_| step.state == "asked") else {
            continue;
        };
        let is_solid = step.orderable != Some(false);
        let path = if is_solid { &mut solid } else { &mut dashed };
        let (from, until, y) = (axes.x(&step.from), axes.x(&step.until), axes.y(price));
        *path += &match before {
            Some((end, was_solid)) if end == step.from && was_solid == is_solid => {
                format!("V{y:.2}H{until:.2}")
            }
            _ => format!("M{from:.2} {y:.2}H{until:.2}"),
        };
        before = Some((&step.until, is_solid));
    }
    html! {
        @if !solid.is_empty() { path.line d=(solid) {} }
        @if !dashed.is_empty() { path.line.sold d=(dashed) {} }
    }
}

fn axes(view: &PastView, ware: &WareView) -> Option<Axes> {
    let exponent = Currency::parse(&ware.currency).ok()?.exponent();
    let unit = 10_f64.powi(i32::try_from(exponent).ok()?);
    let steps = || {
        ware.offers
            .iter()
            .flat_map(|offer| &offer.steps)
            .chain(&ware.steps)
    };
    let from = steps().filter_map(|step| instant(&step.from)).min()?;
    let until = steps().filter_map(|step| instant(&step.until)).max()?;
    let prices: Vec<i64> = steps().filter_map(|step| step.price_minor).collect();
    prices.first()?;
    let entries = near(view, ware);
    let all = prices
        .into_iter()
        .chain(entries.iter().map(|entry| entry.entry_minor));
    Some(Axes {
        money: Axis::around(all.map(|minor| minor as f64 / unit)),
        time: TimeAxis { from, until },
        unit,
    })
}

/// The entry prices that fit onto the chart.
fn near<'v>(view: &'v PastView, ware: &WareView) -> Vec<&'v EntryLine> {
    let prices = || ware.steps.iter().filter_map(|step| step.price_minor);
    let (Some(low), Some(high)) = (prices().min(), prices().max()) else {
        return Vec::new();
    };
    let (low, high) = (low as f64 * (1.0 - NEAR), high as f64 * (1.0 + NEAR));
    let entries = view.entry_prices.iter().filter(|entry| {
        entry.currency == ware.currency && (low..=high).contains(&(entry.entry_minor as f64))
    });
    entries.collect()
}

/// What the part could be had for.
fn had(step: &StepView) -> Option<i64> {
    step.price_minor
        .filter(|_| step.state == "asked" && step.orderable != Some(false))
}

fn lowest(steps: &[StepView]) -> Option<i64> {
    steps.iter().filter_map(had).min()
}

fn instant(at: &str) -> Option<DateTime<Utc>> {
    at.parse().ok()
}

/// The chart in words.
fn words(view: &PastView, ware: &WareView) -> String {
    let day = |at: &str| at.get(..10).unwrap_or(at).to_owned();
    let mut words = format!(
        "Prices of {} at {} offers, {}",
        view.name,
        ware.offers.len(),
        ware.currency
    );
    if let Some(facts) = &ware.facts {
        words += &format!(
            ", from {} until {}",
            day(&facts.record.from),
            day(&facts.record.until)
        );
        if let (Some(lowest), Some(highest)) = (&facts.lowest, &facts.highest) {
            let plain = |minor| super::super::figures::Figures::plain(minor, &ware.currency);
            words += &format!(
                ", between {} and {}",
                plain(lowest.price_minor),
                plain(highest.price_minor)
            );
        }
    }
    words
}
