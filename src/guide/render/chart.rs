//! The ladder as a step chart that takes its colours from the page.

use crate::chart::axis::Axis;
use crate::chart::svg::{escaped, plain};
use crate::guide::view::View;
use crate::money::Currency;
use std::fmt::Write as _;

const WIDTH: f64 = 720.0;
const HEIGHT: f64 = 300.0;
const LEFT: f64 = 52.0;
const RIGHT: f64 = 20.0;
const TOP: f64 = 24.0;
const BOTTOM: f64 = 46.0;

/// `None` for a ladder of fewer than two rungs, which has no shape.
pub fn ladder(view: &View) -> Option<String> {
    if view.ladder.len() < 2 {
        return None;
    }
    let exponent = Currency::parse(&view.currency).map_or(0, |currency| currency.exponent());
    let major = |minor: i64| minor as f64 / 10_f64.powi(exponent as i32);
    let money = Axis::around(view.ladder.iter().map(|rung| major(rung.total_minor)));
    let score = Axis::around(view.ladder.iter().map(|rung| rung.score));
    let across = |value: f64| x_of(&money, value);
    let up = |value: f64| y_of(&score, value);
    let mut svg = format!(
        "<svg viewBox=\"0 0 {WIDTH} {HEIGHT}\" role=\"img\" aria-labelledby=\"chart-title chart-desc\">\n\
         <title id=\"chart-title\">The best score for the money</title>\n<desc id=\"chart-desc\">{}</desc>\n",
        escaped(&description(view))
    );
    // Writing to a String does not fail.
    let _ = write!(svg, "{}", grid(&money, &score));
    let _ = writeln!(
        svg,
        "<text x=\"{:.1}\" y=\"{:.1}\" text-anchor=\"end\">total, {}</text><text x=\"{:.1}\" y=\"14\" text-anchor=\"end\">score</text>",
        WIDTH - RIGHT,
        HEIGHT - 8.0,
        escaped(&view.currency),
        LEFT - 8.0
    );
    let mut path = String::new();
    for rung in &view.ladder {
        let (x, y) = (across(major(rung.total_minor)), up(rung.score));
        let _ = match path.is_empty() {
            true => write!(path, "M{x:.1} {y:.1}"),
            false => write!(path, "H{x:.1}V{y:.1}"),
        };
    }
    let _ = writeln!(
        svg,
        "<path class=\"line\" d=\"{path}H{:.1}\"/>",
        WIDTH - RIGHT
    );
    let (x, y) = (across(major(view.total_minor)), up(view.score));
    let anchor = if x > WIDTH / 2.0 {
        ("end", -10.0)
    } else {
        ("start", 10.0)
    };
    let _ = writeln!(
        svg,
        "<circle class=\"here\" cx=\"{x:.1}\" cy=\"{y:.1}\" r=\"6\"/>\
         <text class=\"here\" x=\"{:.1}\" y=\"{:.1}\" text-anchor=\"{}\">this guide</text>\n</svg>",
        x + anchor.1,
        y - 10.0,
        anchor.0
    );
    Some(svg)
}

fn x_of(axis: &Axis, value: f64) -> f64 {
    LEFT + axis.share(value) * (WIDTH - LEFT - RIGHT)
}

fn y_of(axis: &Axis, value: f64) -> f64 {
    HEIGHT - BOTTOM - axis.share(value) * (HEIGHT - TOP - BOTTOM)
}

fn grid(money: &Axis, score: &Axis) -> String {
    let mut svg = String::new();
    // Writing to a String does not fail.
    for tick in money.ticks() {
        let x = x_of(money, tick);
        let _ = writeln!(
            svg,
            "<path class=\"grid\" d=\"M{x:.1} {TOP}V{:.1}\"/><text x=\"{x:.1}\" y=\"{:.1}\" text-anchor=\"middle\">{}</text>",
            HEIGHT - BOTTOM,
            HEIGHT - BOTTOM + 18.0,
            plain(tick)
        );
    }
    for tick in score.ticks() {
        let y = y_of(score, tick);
        let _ = writeln!(
            svg,
            "<path class=\"grid\" d=\"M{LEFT} {y:.1}H{:.1}\"/><text x=\"{:.1}\" y=\"{:.1}\" text-anchor=\"end\">{}</text>",
            WIDTH - RIGHT,
            LEFT - 8.0,
            y + 4.0,
            plain(tick)
        );
    }
    svg
}

fn description(view: &View) -> String {
    let rungs = view.ladder.iter();
    let rungs =
        rungs.map(|rung| format!("{} scores {:.1}", view.money(rung.total_minor), rung.score));
    rungs.collect::<Vec<_>>().join("; ")
}
