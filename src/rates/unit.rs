//! Units of results, and how a result becomes a rate.
//!
//! A rate is work per unit of time: more is better. Durations turn round: a job of 90 s is 40 jobs
//! an hour, a frame of 20 ms is 50 frames a second.

use std::fmt;

/// The unit of a result.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ResultUnit {
    text: String,
    reading: Reading,
}

/// How values in a unit become rates.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Reading {
    /// Work per time, such as frames/s: as it is.
    Rate,
    /// A score that a test makes up: as it is.
    Points,
    /// Less is better: so many of it pass in an hour, or in a second for times of frames.
    Duration { a_period: u32, of_frames: bool },
}

/// Text that is no unit of a result.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("\"{0}\" is no unit of a result")]
pub struct NotAUnit(pub String);

/// Durations: how many of them make the period that their rates count in, and whether that is the
/// second of frame times rather than the hour of jobs.
const DURATIONS: [(&str, u32, bool); 6] = [
    ("ms", 1_000, true),
    ("s", 3_600, false),
    ("sec", 3_600, false),
    ("seconds", 3_600, false),
    ("min", 60, false),
    ("h", 1, false),
];

impl ResultUnit {
    /// What is said of the units that can be read.
    pub const KNOWN: &str = "frames/s, points, jobs/h, MB/s or any other count per s, min or h; \
        ms, s, min, h for durations";

    /// # Errors
    /// [`NotAUnit`]
    pub fn parse(text: &str) -> Result<ResultUnit, NotAUnit> {
        let text = text.trim();
        let folded = text.to_lowercase();
        let duration = DURATIONS.iter().find(|(name, ..)| *name == folded);
        let reading = match (duration, folded.as_str()) {
            (Some((_, a_period, of_frames)), _) => Reading::Duration {
                a_period: *a_period,
                of_frames: *of_frames,
            },
            (None, "fps") => return ResultUnit::parse("frames/s"),
            (None, "points" | "pts") => Reading::Points,
            (None, rate) if is_rate(rate) => Reading::Rate,
            _ => return Err(NotAUnit(text.to_owned())),
        };
        let text = text.to_owned();
        Ok(ResultUnit { text, reading })
    }

    /// The rate that a value stands for, as a natural logarithm. The value is above zero.
    pub fn log_rate(&self, value: f64) -> f64 {
        match self.reading {
            Reading::Rate | Reading::Points => libm::log(value),
            Reading::Duration { a_period, .. } => libm::log(f64::from(a_period) / value),
        }
    }

    /// The mean of several runs of one test, given as logarithms of their rates: of rates the
    /// harmonic one, for the runs did equal work; of points the geometric one.
    pub fn log_mean(&self, logs: &[f64]) -> f64 {
        let number = logs.len() as f64;
        match self.reading {
            Reading::Points => logs.iter().sum::<f64>() / number,
            Reading::Rate | Reading::Duration { .. } => {
                let time: f64 = logs.iter().map(|log| libm::exp(-log)).sum();
                libm::log(number / time)
            }
        }
    }

    /// True where rates of the two can be compared in one test.
    pub fn is_comparable(&self, other: &ResultUnit) -> bool {
        match (self.reading, other.reading) {
            (Reading::Rate, Reading::Rate) => self.text.to_lowercase() == other.text.to_lowercase(),
            (Reading::Points, Reading::Points) => true,
            (
                Reading::Duration { of_frames: one, .. },
                Reading::Duration {
                    of_frames: other, ..
                },
            ) => one == other,
            _ => false,
        }
    }
}

/// A count per time, such as `frames/s`.
fn is_rate(folded: &str) -> bool {
    folded.split_once('/').is_some_and(|(work, time)| {
        !work.trim().is_empty() && matches!(time.trim(), "s" | "min" | "h")
    })
}

impl fmt::Display for ResultUnit {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.text)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn mean(unit: &str, values: &[f64]) -> f64 {
        let unit = ResultUnit::parse(unit).unwrap();
        let logs: Vec<f64> = values.iter().map(|value| unit.log_rate(*value)).collect();
        unit.log_mean(&logs).exp()
    }

    #[test]
    fn frames_over_equal_work_average_harmonically() {
        // Arithmetic: 2/(1/60 + 1/30) = 40; 4/(3/144 + 1/16) = 48. The arithmetic means would be
        // 45 and 112.
        assert!((mean("frames/s", &[60.0, 30.0]) - 40.0).abs() < 1e-9);
        assert!((mean("fps", &[144.0, 144.0, 144.0, 16.0]) - 48.0).abs() < 1e-9);
        // 99 frames of 10 ms and one of 110 ms take 11 ms in the mean: 90.9 frames/s.
        let mut frames = vec![10.0; 99];
        frames.push(110.0);
        let per_second = mean("ms", &frames);
        assert!((per_second - 1_000.0 / 11.0).abs() < 1e-9, "{per_second}");
    }

    #[test]
    fn durations_turn_round_and_points_average_geometrically() {
        assert!((mean("s", &[90.0]) - 40.0).abs() < 1e-9);
        assert!((mean("min", &[30.0]) - 2.0).abs() < 1e-9);
        assert!((mean("points", &[4_000.0, 9_000.0]) - 6_000.0).abs() < 1e-6);
    }

    #[test]
    fn units_that_mean_nothing_are_refused() {
        for text in ["", "W", "°C", "frames", "/s", "frames/day"] {
            assert!(ResultUnit::parse(text).is_err(), "{text}");
        }
        let of = |text| ResultUnit::parse(text).unwrap();
        assert!(of("FPS").is_comparable(&of("frames/s")));
        assert!(!of("points").is_comparable(&of("frames/s")));
        assert!(of("min").is_comparable(&of("s")) && !of("ms").is_comparable(&of("s")));
    }
}
