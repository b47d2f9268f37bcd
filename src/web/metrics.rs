//! Counters and gauges as text: OpenMetrics 1.0, sections 4 and 5
//! (prometheus/docs, OpenMetrics.md).
//!
//! The families come as values; nothing is counted here.

use std::fmt::Write as _;

/// The media type of what [`render`] writes.
pub const MEDIA_TYPE: &str = "application/openmetrics-text; version=1.0.0; charset=utf-8";

/// Samples of one name.
#[derive(Debug, Clone, PartialEq)]
pub struct Family {
    name: &'static str,
    kind: Kind,
    unit: Option<&'static str>,
    help: &'static str,
    samples: Vec<Sample>,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Kind {
    Counter,
    Gauge,
    Histogram,
    Info,
}

#[derive(Debug, Clone, PartialEq)]
struct Sample {
    suffix: &'static str,
    labels: Vec<(&'static str, String)>,
    value: String,
}

/// How often something took how long.
#[derive(Debug, Clone, PartialEq)]
pub struct Histogram {
    /// Upper bounds in seconds, rising, and how many took no longer; each counts the ones before.
    pub buckets: Vec<(f64, u64)>,
    pub count: u64,
    pub sum_seconds: f64,
}

impl Family {
    /// What only grows. `name` goes without its `_total`.
    pub fn counter(name: &'static str, help: &'static str) -> Family {
        Family::new(name, Kind::Counter, help)
    }

    /// What goes up and down.
    pub fn gauge(name: &'static str, help: &'static str) -> Family {
        Family::new(name, Kind::Gauge, help)
    }

    /// What does not change while the program runs.
    pub fn info(name: &'static str, help: &'static str, labels: &[(&'static str, &str)]) -> Family {
        let mut family = Family::new(name, Kind::Info, help);
        family.push("_info", labels, "1".to_owned());
        family
    }

    pub fn histogram(name: &'static str, help: &'static str, seen: &Histogram) -> Family {
        let mut family = Family::new(name, Kind::Histogram, help).in_unit("seconds");
        for (bound, count) in &seen.buckets {
            // The form for debugging keeps ".0", which a threshold is written with.
            let le = format!("{bound:?}");
            family.push("_bucket", &[("le", &le)], count.to_string());
        }
        family.push("_bucket", &[("le", "+Inf")], seen.count.to_string());
        family.push("_count", &[], seen.count.to_string());
        family.push("_sum", &[], seen.sum_seconds.to_string());
        family
    }

    fn new(name: &'static str, kind: Kind, help: &'static str) -> Family {
        Family {
            name,
            kind,
            unit: None,
            help,
            samples: Vec::new(),
        }
    }

    /// `unit` is how the name ends.
    pub fn in_unit(mut self, unit: &'static str) -> Family {
        debug_assert!(self.name.ends_with(&format!("_{unit}")), "{}", self.name);
        self.unit = Some(unit);
        self
    }

    /// Adds a whole number.
    pub fn with(mut self, labels: &[(&'static str, &str)], value: u64) -> Family {
        self.push(self.kind.suffix(), labels, value.to_string());
        self
    }

    /// Adds a real number.
    pub fn with_real(mut self, labels: &[(&'static str, &str)], value: f64) -> Family {
        self.push(self.kind.suffix(), labels, value.to_string());
        self
    }

    fn push(&mut self, suffix: &'static str, labels: &[(&'static str, &str)], value: String) {
        let labels = labels.iter();
        let labels = labels.map(|(name, value)| (*name, (*value).to_owned()));
        self.samples.push(Sample {
            suffix,
            labels: labels.collect(),
            value,
        });
    }
}

impl Kind {
    fn name(self) -> &'static str {
        match self {
            Kind::Counter => "counter",
            Kind::Gauge => "gauge",
            Kind::Histogram => "histogram",
            Kind::Info => "info",
        }
    }

    fn suffix(self) -> &'static str {
        match self {
            Kind::Counter => "_total",
            Kind::Gauge | Kind::Histogram => "",
            Kind::Info => "_info",
        }
    }
}

/// The whole exposition.
pub fn render(families: &[Family]) -> String {
    let mut text = String::new();
    for family in families {
        let name = family.name;
        // Writing to a text cannot fail.
        let _ = writeln!(text, "# TYPE {name} {}", family.kind.name());
        if let Some(unit) = family.unit {
            let _ = writeln!(text, "# UNIT {name} {unit}");
        }
        let _ = writeln!(text, "# HELP {name} {}", escaped(family.help));
        for Sample {
            suffix,
            labels,
            value,
        } in &family.samples
        {
            let labels = labels.iter();
            let labels = labels.map(|(name, value)| format!("{name}=\"{}\"", escaped(value)));
            let labels = labels.collect::<Vec<_>>().join(",");
            let braced = match labels.is_empty() {
                true => labels,
                false => format!("{{{labels}}}"),
            };
            let _ = writeln!(text, "{name}{suffix}{braced} {value}");
        }
    }
    text.push_str("# EOF\n");
    text
}

/// Section 5.2, `escaped-string`.
fn escaped(text: &str) -> String {
    let mut escaped = String::with_capacity(text.len());
    for character in text.chars() {
        match character {
            '\\' => escaped.push_str("\\\\"),
            '"' => escaped.push_str("\\\""),
            '\n' => escaped.push_str("\\n"),
            _ => escaped.push(character),
        }
    }
    escaped
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_kind_is_written_as_the_standard_has_it() {
        let seen = Histogram {
            buckets: vec![(0.1, 3), (1.0, 4)],
            count: 5,
            sum_seconds: 7.25,
        };
        let families = [
            Family::counter("polls", "Polls by feed.")
                .with(&[("feed", "a\"b\\c\nd"), ("status", "fresh")], 3),
            Family::gauge("file_bytes", "Room on disk.")
                .in_unit("bytes")
                .with(&[], 4096),
            Family::gauge("age_seconds", "Age.")
                .in_unit("seconds")
                .with_real(&[], 0.5),
            Family::histogram("poll_duration_seconds", "How long polls took.", &seen),
            Family::info("build", "The program.", &[("version", "1.2.3")]),
        ];
        insta::assert_snapshot!(render(&families), @r##"
        # TYPE polls counter
        # HELP polls Polls by feed.
        polls_total{feed="a\"b\\c\nd",status="fresh"} 3
        # TYPE file_bytes gauge
        # UNIT file_bytes bytes
        # HELP file_bytes Room on disk.
        file_bytes 4096
        # TYPE age_seconds gauge
        # UNIT age_seconds seconds
        # HELP age_seconds Age.
        age_seconds 0.5
        # TYPE poll_duration_seconds histogram
        # UNIT poll_duration_seconds seconds
        # HELP poll_duration_seconds How long polls took.
        poll_duration_seconds_bucket{le="0.1"} 3
        poll_duration_seconds_bucket{le="1.0"} 4
        poll_duration_seconds_bucket{le="+Inf"} 5
        poll_duration_seconds_count 5
        poll_duration_seconds_sum 7.25
        # TYPE build info
        # HELP build The program.
        build_info{version="1.2.3"} 1
        # EOF
        "##);
    }

    #[test]
    fn nothing_to_show_is_still_whole() {
        assert_eq!(render(&[]), "# EOF\n");
    }
}
