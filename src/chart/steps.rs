//! A chart of prices over time as steps, as text and as SVG.
//!
//! A price holds until it changes, so a line is level and then jumps; where nothing is known or
//! nothing was on offer there is no line at all. Prices at which one could not order are drawn
//! apart. The axis of prices does not begin at 0, for they move little compared to what they are.

use super::axis::{Axis, TimeAxis};
use super::svg::{
    BOTTOM, HEIGHT, LEFT, QUIET, RIGHT, STRONG, TOP, WIDTH, escaped, opening, plain, text,
    tick_below, tick_left,
};
use crate::history::{Series, State, Step, Stock};
use crate::money::Money;
use chrono::{DateTime, Utc};
use std::fmt::Write as _;

/// One series with its name.
#[derive(Debug, Clone)]
pub struct Line {
    pub name: String,
    pub series: Series,
}

/// A chart: the series that it is about, and those that stand beside it.
#[derive(Debug, Clone)]
pub struct StepChart {
    pub title: String,
    /// What it shows, in words.
    pub description: String,
    pub subject: Line,
    pub others: Vec<Line>,
}

/// Size of the text chart, in characters. Each row is two levels high.
const COLUMNS: usize = 64;
const ROWS: usize = 10;

/// How a slice of time is marked below the text chart.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
enum Mark {
    Lowest,
    Priced,
    NotOrderable,
    Absent,
    Unread,
    Before,
}

impl Mark {
    fn sign(self) -> char {
        match self {
            Mark::Lowest => '^',
            Mark::Priced => '-',
            Mark::NotOrderable => 'x',
            Mark::Absent => '.',
            Mark::Unread => '?',
            Mark::Before => ' ',
        }
    }
}

impl StepChart {
    /// The chart in characters; empty where no price was ever known.
    pub fn text(&self) -> Vec<String> {
        let Some((axis, time)) = self.axes(std::iter::once(&self.subject)) else {
            return Vec::new();
        };
        let lowest = self.lowest();
        let mut levels = vec![None; COLUMNS];
        let mut marks = vec![Mark::Before; COLUMNS];
        for step in shown(&self.subject.series) {
            let first = column(&time, step.from);
            // A step that ends where a column begins has no part in it.
            let last = column(&time, step.until);
            let is_cut =
                step.until > step.from && time.at(last as f64 / COLUMNS as f64) >= step.until;
            let last = last.saturating_sub(usize::from(is_cut)).max(first);
            for column in first..=last {
                marks[column] = marks[column].min(mark(step.state, lowest));
                if let Some(minor) = step.state.to_be_had() {
                    let level = self.level(&axis, minor);
                    let (low, high) = levels[column].unwrap_or((level, level));
                    levels[column] = Some((level.min(low), level.max(high)));
                }
            }
        }
        let mut lines = vec![self.title.clone()];
        let (most, least) = (plain(axis.most), plain(axis.least));
        let margin = most.len().max(least.len());
        for row in 0..ROWS {
            let label = match row {
                0 => most.as_str(),
                last if last == ROWS - 1 => least.as_str(),
                _ => "",
            };
            let blocks: String = levels.iter().map(|level| block(*level, row)).collect();
            lines.push(format!("{label:>margin$} |{}", blocks.trim_end()));
        }
        let signs: String = marks.iter().map(|mark| mark.sign()).collect();
        lines.push(format!("{:>margin$} +{}", "", signs.trim_end()));
        let (from, until) = (day(time.from), day(time.until));
        let room = COLUMNS.saturating_sub(from.len());
        lines.push(format!("{:>margin$}  {from}{until:>room$}", ""));
        lines.push(format!("{:>margin$}  {}", "", legend(&marks)));
        lines
    }

    /// The chart as an SVG document; without lines where no price was ever known.
    pub fn svg(&self) -> String {
        let mut lines = opening(&self.title, &self.description);
        let all = std::iter::once(&self.subject).chain(&self.others);
        if let Some((axis, time)) = self.axes(all) {
            self.draw(&axis, &time, &mut lines);
        }
        lines.push("</svg>".to_owned());
        lines
            .iter()
            .fold(String::new(), |svg, line| svg + line + "\n")
    }

    fn draw(&self, axis: &Axis, time: &TimeAxis, lines: &mut Vec<String>) {
        for tick in axis.ticks() {
            lines.extend(tick_left(up(axis, tick), &plain(tick)));
        }
        for tick in time.ticks() {
            lines.extend(tick_below(across(time, tick), &day(tick)));
        }
        let currency = self.subject.series.currency().to_string();
        lines.push(text(LEFT - 6.0, TOP - 8.0, "end", "#555", &currency));
        for line in &self.others {
            lines.extend(self.path(line, axis, time, QUIET, 1.0));
        }
        lines.extend(self.path(&self.subject, axis, time, STRONG, 2.0));
        if let Some(lowest) = self.lowest() {
            for step in shown(&self.subject.series) {
                if step.state.to_be_had() == Some(lowest) {
                    lines.push(self.low(&step, lowest, axis, time));
                }
            }
        }
        let legend = match self.others.len() {
            0 => String::new(),
            _ => format!("thick: {}; thin: each offer; ", self.subject.name),
        };
        let legend = format!(
            "{legend}ring: lowest; dashed: could not be ordered; no line: not known or not on offer"
        );
        lines.push(text(LEFT, HEIGHT - 14.0, "start", "#555", &legend));
    }

    /// A series as one path for what could be had and one for what could not.
    fn path(
        &self,
        line: &Line,
        axis: &Axis,
        time: &TimeAxis,
        colour: &str,
        width: f64,
    ) -> Vec<String> {
        let (mut solid, mut dashed) = (String::new(), String::new());
        let mut before: Option<(DateTime<Utc>, bool)> = None;
        for step in line.series.steps() {
            let State::Asked(quote) = step.state else {
                continue;
            };
            let is_solid = quote.stock != Stock::NotOrderable;
            let path = if is_solid { &mut solid } else { &mut dashed };
            let (from, until) = (across(time, step.from), across(time, step.until));
            let y = up(axis, self.major(quote.minor));
            // Writing to a String does not fail.
            let _ = match before {
                Some((end, was_solid)) if end == step.from && was_solid == is_solid => {
                    write!(path, "V{y:.1}H{until:.1}")
                }
                _ => write!(path, "M{from:.1} {y:.1}H{until:.1}"),
            };
            before = Some((step.until, is_solid));
        }
        let drawn = [(solid, ""), (dashed, " stroke-dasharray=\"3 3\"")];
        let drawn = drawn.into_iter().filter(|(path, _)| !path.is_empty());
        drawn
            .map(|(path, dashes)| {
                format!(
                    "<path d=\"{path}\" fill=\"none\" stroke=\"{colour}\" stroke-width=\"{width}\"{dashes}>\
                     <title>{}</title></path>",
                    escaped(&line.name)
                )
            })
            .collect()
    }

    /// A ring where a low begins.
    fn low(&self, step: &Step, minor: i64, axis: &Axis, time: &TimeAxis) -> String {
        let price = Money::from_minor(minor, self.subject.series.currency());
        format!(
            "<circle cx=\"{:.1}\" cy=\"{:.1}\" r=\"4\" fill=\"#fff\" stroke=\"{STRONG}\" stroke-width=\"2\">\
             <title>{}</title></circle>",
            across(time, step.from),
            up(axis, self.major(minor)),
            escaped(&format!(
                "lowest: {price} from {} until {}",
                day(step.from),
                day(step.until)
            ))
        )
    }

    fn axes<'l>(&self, lines: impl Iterator<Item = &'l Line> + Clone) -> Option<(Axis, TimeAxis)> {
        let series = lines.map(|line| &line.series);
        let from = series.clone().filter_map(Series::begins).min()?;
        let until = series
            .clone()
            .filter_map(|series| Some(series.last()?.0))
            .max()?;
        let mut prices = series.flat_map(shown).filter_map(|step| match step.state {
            State::Asked(quote) => Some(self.major(quote.minor)),
            _ => None,
        });
        let first = prices.next()?;
        let axis = Axis::around(std::iter::once(first).chain(prices));
        Some((axis, TimeAxis { from, until }))
    }

    fn lowest(&self) -> Option<i64> {
        let had = shown(&self.subject.series).filter_map(|step| step.state.to_be_had());
        had.min()
    }

    /// For drawing only.
    fn major(&self, minor: i64) -> f64 {
        minor as f64 / 10_f64.powf(f64::from(self.subject.series.currency().exponent()))
    }

    /// The half row that a price lies in, counted from below.
    fn level(&self, axis: &Axis, minor: i64) -> usize {
        (axis.share(self.major(minor)) * (2 * ROWS - 1) as f64).round() as usize
    }
}

/// The steps, and the end of the record as an instant.
fn shown(series: &Series) -> impl Iterator<Item = Step> {
    let end = series.last().map(|(at, state)| Step {
        from: at,
        until: at,
        state,
    });
    series.steps().iter().copied().chain(end)
}

fn column(time: &TimeAxis, at: DateTime<Utc>) -> usize {
    ((time.share(at) * COLUMNS as f64) as usize).min(COLUMNS - 1)
}

fn mark(state: State, lowest: Option<i64>) -> Mark {
    match state {
        State::Asked(_) if lowest.is_some() && state.to_be_had() == lowest => Mark::Lowest,
        State::Asked(_) if state.to_be_had().is_some() => Mark::Priced,
        State::Asked(_) => Mark::NotOrderable,
        State::Absent => Mark::Absent,
        State::Unread => Mark::Unread,
    }
}

/// What a row shows of a column whose prices lie between two levels.
fn block(levels: Option<(usize, usize)>, row: usize) -> char {
    let Some((low, high)) = levels else {
        return ' ';
    };
    let lower = 2 * (ROWS - 1 - row);
    let holds = |level: usize| low <= level && level <= high;
    match (holds(lower + 1), holds(lower)) {
        (true, true) => '█',
        (true, false) => '▀',
        (false, true) => '▄',
        (false, false) => ' ',
    }
}

/// The signs that occur, explained.
fn legend(marks: &[Mark]) -> String {
    let words = [
        (Mark::Lowest, "lowest"),
        (Mark::NotOrderable, "could not be ordered"),
        (Mark::Absent, "not on offer"),
        (Mark::Unread, "not read"),
    ];
    let used = words.iter().filter(|(mark, _)| marks.contains(mark));
    let used: Vec<String> = used
        .map(|(mark, words)| format!("{} {words}", mark.sign()))
        .collect();
    used.join(", ")
}

fn across(time: &TimeAxis, at: DateTime<Utc>) -> f64 {
    LEFT + time.share(at) * (WIDTH - LEFT - RIGHT)
}

fn up(axis: &Axis, value: f64) -> f64 {
    HEIGHT - BOTTOM - axis.share(value) * (HEIGHT - TOP - BOTTOM)
}

fn day(at: DateTime<Utc>) -> String {
    at.format("%Y-%m-%d").to_string()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::history::{Asked, Reading};
    use crate::money::Currency;
    use chrono::TimeDelta;

    fn at(day: i64) -> DateTime<Utc> {
        "2026-01-01T00:00:00Z".parse::<DateTime<Utc>>().unwrap() + TimeDelta::days(day)
    }

    /// Read daily but from day 30 to 39: 500, sold out at 450, then 400, then off the shelf.
    fn chart() -> StepChart {
        let asked = |from, until, minor, stock| Asked {
            from: at(from),
            until: at(until),
            gone_since: None,
            minor,
            stock,
        };
        let readings: Vec<Reading> = (0..=90)
            .filter(|day| !(30..40).contains(day))
            .map(|day| Reading {
                at: at(day),
                is_complete: true,
            })
            .collect();
        let asked = [
            asked(0, 19, 50_000, Stock::Orderable),
            asked(20, 49, 45_000, Stock::NotOrderable),
            asked(50, 69, 40_000, Stock::Orderable),
        ];
        let series = Series::of_offer(Currency::EUR, &asked, &readings, at(90));
        StepChart {
            title: "tern <7>".to_owned(),
            description: "from & to".to_owned(),
            subject: Line {
                name: "lowest \"of\" all".to_owned(),
                series: series.clone(),
            },
            others: vec![Line {
                name: "northlight\u{ffff}\u{1b}".to_owned(),
                series,
            }],
        }
    }

    #[test]
    fn the_text_chart_shows_steps_and_leaves_gaps_out() {
        insta::assert_snapshot!(chart().text().join("\n"));
    }

    #[test]
    fn the_svg_is_well_formed_and_says_in_words_what_it_shows() {
        let svg = chart().svg();
        let mut reader = quick_xml::Reader::from_str(&svg);
        loop {
            match reader.read_event() {
                Ok(quick_xml::events::Event::Eof) => break,
                Ok(_) => {}
                Err(error) => panic!("{error} in {svg}"),
            }
        }
        assert!(svg.contains("<title>tern &lt;7&gt;</title>\n<desc>from &amp; to</desc>"));
        assert!(!svg.contains(['\u{ffff}', '\u{1b}']));
    }

    #[test]
    fn a_gap_in_the_record_is_a_gap_in_the_line() {
        // Days 0, 20, 32, 40, 50, 70 of 90 on an axis of 632 units from 64 on.
        let svg = chart().svg();
        assert!(
            svg.contains("d=\"M64.0 "),
            "the first price starts at the left: {svg}"
        );
        let x = |day: f64| format!("{:.1}", 64.0 + day / 90.0 * 632.0);
        // Until the third day after the last reading, and from the next reading on.
        assert!(svg.contains(&format!("H{}M{} ", x(32.0), x(40.0))), "{svg}");
        assert!(svg.contains("stroke-dasharray"));
        assert!(svg.contains("lowest: EUR 400.00 from 2026-02-20 until 2026-03-12"));
    }

    #[test]
    fn nothing_known_is_no_chart_and_one_instant_is_one() {
        let mut empty = chart();
        empty.others.clear();
        empty.subject.series = Series::of_offer(Currency::EUR, &[], &[], at(0));
        assert_eq!(empty.text(), Vec::<String>::new());
        assert!(empty.svg().ends_with("</svg>\n"));
        let asked = [Asked {
            from: at(0),
            until: at(0),
            gone_since: None,
            minor: 0,
            stock: Stock::Untold,
        }];
        empty.subject.series = Series::of_offer(Currency::EUR, &asked, &[], at(0));
        assert!(empty.text().iter().any(|line| line.contains('^')));
        assert!(empty.svg().contains("<circle"));
    }
}
