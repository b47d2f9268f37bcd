//! A chart of points with names: what a rate costs, as text and as SVG.
//!
//! Points that nothing beats at their price or below are on the frontier, and a step line joins
//! them. Numbers are linear, for a price twice as high is to look twice as far away.

use super::axis::Axis;
use super::svg::{
    BOTTOM, HEIGHT, LEFT, QUIET, RIGHT, STRONG, TOP, WIDTH, escaped, opening, plain, text,
    tick_below, tick_left,
};
use std::fmt::Write as _;

/// One point of a chart.
#[derive(Debug, Clone, PartialEq)]
pub struct Point {
    pub name: String,
    pub x: f64,
    pub y: f64,
    /// Standard error of `y`, in its unit.
    pub error: f64,
    pub is_on_frontier: bool,
}

/// A chart: points and what the axes say.
#[derive(Debug, Clone, PartialEq)]
pub struct Scatter {
    pub title: String,
    pub x_label: String,
    pub y_label: String,
    pub points: Vec<Point>,
}

/// Size of the text chart, in characters.
const COLUMNS: usize = 64;
const ROWS: usize = 14;

impl Scatter {
    fn axes(&self) -> (Axis, Axis) {
        (
            Axis::from_zero(self.points.iter().map(|point| point.x)),
            Axis::from_zero(self.points.iter().map(|point| point.y + point.error)),
        )
    }

    /// The chart in characters: `#` on the frontier, `.` below it.
    pub fn text(&self) -> Vec<String> {
        let (x_axis, y_axis) = self.axes();
        let mut grid = vec![vec![' '; COLUMNS]; ROWS];
        let below = self.points.iter().filter(|point| !point.is_on_frontier);
        let above = self.points.iter().filter(|point| point.is_on_frontier);
        // The frontier is drawn last, so that it is never hidden.
        for point in below.chain(above) {
            let column = (x_axis.share(point.x) * (COLUMNS - 1) as f64).round() as usize;
            let row = ((1.0 - y_axis.share(point.y)) * (ROWS - 1) as f64).round() as usize;
            grid[row][column] = match point.is_on_frontier {
                true => '#',
                false => '.',
            };
        }
        let most = plain(y_axis.most);
        let margin = most.len();
        let mut lines = vec![format!("{} ({})", self.title, self.y_label)];
        for (number, row) in grid.iter().enumerate() {
            let label = match number {
                0 => most.as_str(),
                last if last == ROWS - 1 => "0",
                _ => "",
            };
            let row: String = row.iter().collect();
            lines.push(format!("{label:>margin$} |{}", row.trim_end()));
        }
        lines.push(format!("{:>margin$} +{}", "", "-".repeat(COLUMNS)));
        let end = plain(x_axis.most);
        let room = COLUMNS.saturating_sub(end.len() + 1);
        lines.push(format!("{:>margin$}  0{:>room$}{end}", "", ""));
        lines.push(format!("{:>margin$}  {}", "", self.x_label));
        lines
    }

    /// The chart as an SVG document.
    pub fn svg(&self) -> String {
        let (x_axis, y_axis) = self.axes();
        let across = |value: f64| LEFT + x_axis.share(value) * (WIDTH - LEFT - RIGHT);
        let up = |value: f64| HEIGHT - BOTTOM - y_axis.share(value) * (HEIGHT - TOP - BOTTOM);
        let mut svg = String::new();
        let mut put = |line: String| {
            // Writing to a String does not fail.
            let _ = writeln!(svg, "{line}");
        };
        opening(&self.title, "").into_iter().for_each(&mut put);
        for tick in x_axis.ticks() {
            tick_below(across(tick), &plain(tick))
                .into_iter()
                .for_each(&mut put);
        }
        for tick in y_axis.ticks() {
            tick_left(up(tick), &plain(tick))
                .into_iter()
                .for_each(&mut put);
        }
        put(text(
            (LEFT + WIDTH - RIGHT) / 2.0,
            HEIGHT - 14.0,
            "middle",
            "#555",
            &self.x_label,
        ));
        put(text(LEFT - 6.0, TOP - 8.0, "end", "#555", &self.y_label));
        put(self.frontier(across, up));
        for point in &self.points {
            let (x, low, high) = (
                across(point.x),
                up(point.y - point.error),
                up(point.y + point.error),
            );
            let colour = match point.is_on_frontier {
                true => STRONG,
                false => QUIET,
            };
            put(format!(
                "<path d=\"M{x:.1} {low:.1}V{high:.1}\" stroke=\"{colour}\"/>"
            ));
            put(format!(
                "<circle cx=\"{x:.1}\" cy=\"{:.1}\" r=\"3.5\" fill=\"{colour}\"><title>{}</title></circle>",
                up(point.y),
                escaped(&format!(
                    "{}: {} at {}",
                    point.name,
                    plain(point.y),
                    plain(point.x)
                ))
            ));
        }
        put("</svg>".to_owned());
        svg
    }

    /// The best that each price buys, as steps.
    fn frontier(&self, across: impl Fn(f64) -> f64, up: impl Fn(f64) -> f64) -> String {
        let mut on: Vec<&Point> = self
            .points
            .iter()
            .filter(|point| point.is_on_frontier)
            .collect();
        on.sort_by(|one, other| one.x.total_cmp(&other.x));
        let mut path = String::new();
        for (number, point) in on.iter().enumerate() {
            let (x, y) = (across(point.x), up(point.y));
            let _ = match number {
                0 => write!(path, "M{x:.1} {y:.1}"),
                _ => write!(path, "H{x:.1}V{y:.1}"),
            };
        }
        format!("<path d=\"{path}\" fill=\"none\" stroke=\"{STRONG}\" stroke-width=\"1.5\"/>")
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn chart() -> Scatter {
        let point = |name: &str, x, y, is_on_frontier| Point {
            name: name.to_owned(),
            x,
            y,
            error: 2.0,
            is_on_frontier,
        };
        Scatter {
            title: "graphics <cards>".to_owned(),
            x_label: "EUR".to_owned(),
            y_label: "frames/s".to_owned(),
            points: vec![
                point("a", 200.0, 60.0, true),
                point("b", 350.0, 55.0, false),
                point("c", 480.0, 96.0, true),
            ],
        }
    }

    #[test]
    fn the_text_chart_marks_the_frontier() {
        let lines = chart().text();
        assert_eq!(lines.join("\n").matches('#').count(), 2);
        assert!(
            lines.iter().any(|line| line.starts_with("100 |")),
            "{lines:#?}"
        );
        assert!(lines.iter().all(|line| line.chars().count() <= 80));
    }

    #[test]
    fn the_svg_is_well_formed_and_escapes_what_comes_from_outside() {
        let svg = chart().svg();
        let mut reader = quick_xml::Reader::from_str(&svg);
        loop {
            match reader.read_event() {
                Ok(quick_xml::events::Event::Eof) => break,
                Ok(_) => {}
                Err(error) => panic!("{error} in {svg}"),
            }
        }
        assert!(svg.contains("graphics &lt;cards&gt;") && !svg.contains("<cards>"));
    }
}
