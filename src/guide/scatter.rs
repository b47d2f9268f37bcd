//! A chart of points with names: what a rate costs, as text and as SVG.
//!
//! Points that nothing beats at their price or below are on the frontier, and a step line joins
//! them. Numbers are linear, for a price twice as high is to look twice as far away.

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
/// Size of the SVG chart, in its own units.
const WIDTH: f64 = 720.0;
const HEIGHT: f64 = 420.0;
const LEFT: f64 = 64.0;
const RIGHT: f64 = 24.0;
const TOP: f64 = 40.0;
const BOTTOM: f64 = 52.0;

/// From a value to its share of an axis that begins at 0.
struct Axis {
    most: f64,
    step: f64,
}

impl Axis {
    /// An axis that holds the values, with some five round steps.
    fn of(values: impl Iterator<Item = f64>) -> Axis {
        let most = values.fold(0.0, f64::max).max(f64::MIN_POSITIVE);
        let rough = most / 5.0;
        let power = 10_f64.powf(rough.log10().floor());
        let rounds = [1.0, 2.0, 2.5, 5.0, 10.0].map(|round| round * power);
        let step = rounds.into_iter().find(|step| *step >= rough);
        let step = step.unwrap_or(rough);
        Axis {
            most: (most / step).ceil() * step,
            step,
        }
    }

    fn share(&self, value: f64) -> f64 {
        (value / self.most).clamp(0.0, 1.0)
    }

    fn ticks(&self) -> Vec<f64> {
        let number = (self.most / self.step).round() as u32;
        (0..=number)
            .map(|tick| f64::from(tick) * self.step)
            .collect()
    }
}

impl Scatter {
    fn axes(&self) -> (Axis, Axis) {
        (
            Axis::of(self.points.iter().map(|point| point.x)),
            Axis::of(self.points.iter().map(|point| point.y + point.error)),
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
        put(format!(
            "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 {WIDTH} {HEIGHT}\" role=\"img\" \
             font-family=\"sans-serif\" font-size=\"12\">"
        ));
        put(format!("<title>{}</title>", escaped(&self.title)));
        put(format!(
            "<rect width=\"{WIDTH}\" height=\"{HEIGHT}\" fill=\"#fff\"/>"
        ));
        put(text(LEFT, 22.0, "start", "#222", &self.title));
        for tick in x_axis.ticks() {
            let x = across(tick);
            let (top, bottom) = (TOP, HEIGHT - BOTTOM);
            put(format!(
                "<path d=\"M{x:.1} {top:.1}V{bottom:.1}\" stroke=\"#e4e4e0\"/>"
            ));
            put(text(x, bottom + 16.0, "middle", "#555", &plain(tick)));
        }
        for tick in y_axis.ticks() {
            let y = up(tick);
            put(format!(
                "<path d=\"M{LEFT:.1} {y:.1}H{:.1}\" stroke=\"#e4e4e0\"/>",
                WIDTH - RIGHT
            ));
            put(text(LEFT - 6.0, y + 4.0, "end", "#555", &plain(tick)));
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
                true => "#1f5f5b",
                false => "#a5a39b",
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
        format!("<path d=\"{path}\" fill=\"none\" stroke=\"#1f5f5b\" stroke-width=\"1.5\"/>")
    }
}

fn text(x: f64, y: f64, anchor: &str, colour: &str, words: &str) -> String {
    format!(
        "<text x=\"{x:.1}\" y=\"{y:.1}\" text-anchor=\"{anchor}\" fill=\"{colour}\">{}</text>",
        escaped(words)
    )
}

/// A number with as many places as it needs, two at most.
fn plain(value: f64) -> String {
    let text = format!("{value:.2}");
    text.trim_end_matches('0').trim_end_matches('.').to_owned()
}

/// Text as it may stand in XML.
fn escaped(text: &str) -> String {
    let text: String = text.chars().filter(|one| !one.is_control()).collect();
    html_escape::encode_quoted_attribute(&text).into_owned()
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
