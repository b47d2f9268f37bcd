//! What the charts of the pages share: axes in plain pixels beside a plot that stretches.
//!
//! Text keeps its size at every width since it is placed in percent; the plot is [`SIZE`] wide and high
//! whatever room it has, and its lines keep their width. Colours come from the stylesheet.

use maud::{Markup, html};

/// The plot's own units, both ways.
pub const SIZE: f64 = 1000.0;

/// A place on an axis, as a share of it, and what stands there.
pub struct Tick {
    pub share: f64,
    pub label: String,
}

/// A plot with its axes. `title` says in words what it shows.
pub fn plot(title: &str, left: &[Tick], below: &[Tick], body: &Markup, after: &Markup) -> Markup {
    html! {
        div.plot {
            svg.left aria-hidden="true" {
                @for tick in left {
                    text x="100%" dx="-8" y=(percent(1.0 - tick.share)) dy="4" text-anchor="end" { (tick.label) }
                }
            }
            svg.area viewBox={ "0 0 " (SIZE) " " (SIZE) } preserveAspectRatio="none" role="img" aria-label=(title) {
                path.grid d=(levels(left)) {}
                path.grid.time d=(uprights(below)) {}
                (body)
            }
            svg.below aria-hidden="true" {
                @for (number, tick) in below.iter().enumerate() {
                    text.odd[number % 2 == 1] x=(percent(tick.share)) y="16" text-anchor="middle" { (tick.label) }
                }
            }
            (after)
        }
    }
}

/// Where a share of the width lies.
pub fn across(share: f64) -> f64 {
    SIZE * share
}

/// Where a share of the height lies.
pub fn up(share: f64) -> f64 {
    SIZE * (1.0 - share)
}

/// A round dot that stays round however the plot stretches: a line of no length with round ends.
pub fn dot(across: f64, up: f64) -> String {
    format!("M{across:.2} {up:.2}h.01")
}

fn levels(ticks: &[Tick]) -> String {
    let lines = ticks
        .iter()
        .map(|tick| format!("M0 {:.2}H{SIZE}", up(tick.share)));
    lines.collect()
}

fn uprights(ticks: &[Tick]) -> String {
    let lines = ticks
        .iter()
        .map(|tick| format!("M{:.2} 0V{SIZE}", across(tick.share)));
    lines.collect()
}

fn percent(share: f64) -> String {
    format!("{:.2}%", 100.0 * share)
}
