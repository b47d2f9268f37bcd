//! What the SVG charts share: size, colours, and text that is safe in XML.

/// Size of a chart, in its own units.
pub(crate) const WIDTH: f64 = 720.0;
pub(crate) const HEIGHT: f64 = 420.0;
pub(crate) const LEFT: f64 = 64.0;
pub(crate) const RIGHT: f64 = 24.0;
pub(crate) const TOP: f64 = 40.0;
pub(crate) const BOTTOM: f64 = 52.0;

/// What a chart is about, and what stands beside it.
pub(crate) const STRONG: &str = "#1f5f5b";
pub(crate) const QUIET: &str = "#a5a39b";
pub(crate) const GRID: &str = "#e4e4e0";

/// The beginning of a chart: its size, its title, and what it shows in words for those who do not
/// see it.
pub(crate) fn opening(title: &str, description: &str) -> Vec<String> {
    let mut lines = vec![
        format!(
            "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 {WIDTH} {HEIGHT}\" role=\"img\" \
             font-family=\"sans-serif\" font-size=\"12\">"
        ),
        format!("<title>{}</title>", escaped(title)),
    ];
    if !description.is_empty() {
        lines.push(format!("<desc>{}</desc>", escaped(description)));
    }
    lines.push(format!(
        "<rect width=\"{WIDTH}\" height=\"{HEIGHT}\" fill=\"#fff\"/>"
    ));
    lines.push(text(LEFT, 22.0, "start", "#222", title));
    lines
}

/// A tick of the axis below, with its line.
pub(crate) fn tick_below(x: f64, label: &str) -> [String; 2] {
    let (top, bottom) = (TOP, HEIGHT - BOTTOM);
    [
        format!("<path d=\"M{x:.1} {top:.1}V{bottom:.1}\" stroke=\"{GRID}\"/>"),
        text(x, bottom + 16.0, "middle", "#555", label),
    ]
}

/// A tick of the axis on the left, with its line.
pub(crate) fn tick_left(y: f64, label: &str) -> [String; 2] {
    [
        format!(
            "<path d=\"M{LEFT:.1} {y:.1}H{:.1}\" stroke=\"{GRID}\"/>",
            WIDTH - RIGHT
        ),
        text(LEFT - 6.0, y + 4.0, "end", "#555", label),
    ]
}

pub(crate) fn text(x: f64, y: f64, anchor: &str, colour: &str, words: &str) -> String {
    format!(
        "<text x=\"{x:.1}\" y=\"{y:.1}\" text-anchor=\"{anchor}\" fill=\"{colour}\">{}</text>",
        escaped(words)
    )
}

/// A number with as many places as it needs, two at most.
pub(crate) fn plain(value: f64) -> String {
    let text = format!("{value:.2}");
    text.trim_end_matches('0').trim_end_matches('.').to_owned()
}

/// Text as it may stand in XML.
pub(crate) fn escaped(text: &str) -> String {
    // XML 1.0, section 2.2: these two are no characters of a document, escaped or not.
    let is_text = |one: &char| !one.is_control() && !matches!(one, '\u{fffe}' | '\u{ffff}');
    let text: String = text.chars().filter(is_text).collect();
    html_escape::encode_quoted_attribute(&text).into_owned()
}
