//! Charts that the guide, the pages and the commands share, as characters and as SVG.
//!
//! Draws what it is given: may not look up, decide or word anything. [`scatter`] draws points with
//! names, [`steps`] a price over time; `axis` and `svg` are what they have in common.
#![deny(clippy::disallowed_methods, clippy::disallowed_types)]

pub(crate) mod axis;
pub mod scatter;
pub mod steps;
pub(crate) mod svg;

/// Several charts in one document, one below the other.
pub fn stacked(charts: &[String]) -> String {
    let (width, height) = (svg::WIDTH, svg::HEIGHT);
    let mut document = format!(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 {width} {}\">\n",
        height * charts.len() as f64
    );
    for (number, chart) in charts.iter().enumerate() {
        let top = height * number as f64;
        let placed = format!("<svg y=\"{top}\" width=\"{width}\" height=\"{height}\" ");
        document.push_str(&chart.replacen("<svg ", &placed, 1));
    }
    document.push_str("</svg>\n");
    document
}
