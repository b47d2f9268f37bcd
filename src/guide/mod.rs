//! The guide: what readers see.
//!
//! The charts that commands draw, and the guide itself: [`view`] is what it says, [`render`] the forms
//! it is published in, [`assembly`] how the parts are put together, [`edition`] what was published. May not fetch, store or decide anything; of the crate it
//! uses the pure modules alone.

pub mod assembly;
mod axis;
pub mod edition;
pub mod render;
pub mod scatter;
pub mod steps;
mod svg;
pub mod upgrades;
pub mod view;

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
