//! Axes of charts: from a value to its share of the axis, and where its ticks stand.

use chrono::{DateTime, Datelike, Days, Months, NaiveTime, TimeDelta, Utc};

/// Ticks of a time axis, at most.
const TIME_TICKS: usize = 6;

/// An axis of numbers whose ends are round.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Axis {
    pub least: f64,
    pub most: f64,
    step: f64,
}

/// An axis of time.
#[derive(Debug, Clone, Copy)]
pub(crate) struct TimeAxis {
    pub from: DateTime<Utc>,
    pub until: DateTime<Utc>,
}

impl Axis {
    /// An axis from 0 that holds the values, with some five round steps.
    pub fn from_zero(values: impl Iterator<Item = f64>) -> Axis {
        let most = values.fold(0.0, f64::max).max(f64::MIN_POSITIVE);
        let step = round_step(most / 5.0);
        Axis {
            least: 0.0,
            most: (most / step).ceil() * step,
            step,
        }
    }

    /// An axis around the values, for what moves little compared to what it is.
    pub fn around(values: impl Iterator<Item = f64>) -> Axis {
        let bounds = values.fold(None, |bounds: Option<(f64, f64)>, value| {
            let (low, high) = bounds.unwrap_or((value, value));
            Some((low.min(value), high.max(value)))
        });
        let (low, high) = bounds.unwrap_or((0.0, 0.0));
        // A price that never moved still needs room, a tenth of itself.
        let room = (high - low).max(low.abs() / 10.0).max(f64::MIN_POSITIVE);
        let step = round_step(room / 4.0);
        Axis {
            least: (low / step).floor() * step,
            most: ((high / step).floor() + 1.0) * step,
            step,
        }
    }

    pub fn share(&self, value: f64) -> f64 {
        ((value - self.least) / (self.most - self.least)).clamp(0.0, 1.0)
    }

    pub fn ticks(&self) -> Vec<f64> {
        let number = ((self.most - self.least) / self.step).round() as u32;
        (0..=number)
            .map(|tick| self.least + f64::from(tick) * self.step)
            .collect()
    }
}

/// The next of 1, 2, 2.5, 5 and 10 times a power of ten.
fn round_step(rough: f64) -> f64 {
    let power = 10_f64.powf(rough.log10().floor());
    let rounds = [1.0, 2.0, 2.5, 5.0, 10.0].map(|round| round * power);
    rounds
        .into_iter()
        .find(|step| *step >= rough)
        .unwrap_or(rough)
}

impl TimeAxis {
    pub fn share(&self, at: DateTime<Utc>) -> f64 {
        let whole = (self.until - self.from).num_milliseconds();
        let part = (at - self.from).num_milliseconds();
        if whole <= 0 {
            return 0.0;
        }
        (part as f64 / whole as f64).clamp(0.0, 1.0)
    }

    /// The instant at a share of the axis.
    pub fn at(&self, share: f64) -> DateTime<Utc> {
        let whole = (self.until - self.from).num_milliseconds() as f64;
        let part = TimeDelta::try_milliseconds((whole * share) as i64);
        part.and_then(|part| self.from.checked_add_signed(part))
            .unwrap_or(self.until)
    }

    /// Days or first days of months on which ticks stand, in UTC: six at most.
    pub fn ticks(&self) -> Vec<DateTime<Utc>> {
        let days = (self.until - self.from).num_days();
        if days <= 70 {
            let mut step = [1, 2, 7, 14].into_iter();
            let step = step.find(|step| days / step < TIME_TICKS as i64);
            return self.every(
                |at| at.checked_add_days(Days::new(step.unwrap_or(14) as u64)),
                false,
            );
        }
        let months = days / 30;
        let step = [1, 2, 3, 6, 12, 24, 60, 120, 600];
        let step = step
            .into_iter()
            .find(|step| months / step < TIME_TICKS as i64);
        let step = step.unwrap_or(6000) as u32;
        self.every(|at| at.checked_add_months(Months::new(step)), true)
    }

    fn every(
        &self,
        next: impl Fn(DateTime<Utc>) -> Option<DateTime<Utc>>,
        is_monthly: bool,
    ) -> Vec<DateTime<Utc>> {
        let day = self.from.date_naive();
        let first = if is_monthly {
            day.with_day(1)
        } else {
            Some(day)
        };
        let mut at = first.map(|day| day.and_time(NaiveTime::MIN).and_utc());
        let mut ticks = Vec::new();
        while let Some(tick) = at.filter(|at| *at <= self.until && ticks.len() < 2 * TIME_TICKS) {
            if tick >= self.from {
                ticks.push(tick);
            }
            at = next(tick);
        }
        if ticks.is_empty() {
            ticks.push(self.from);
        }
        ticks
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_axis_around_values_holds_them_between_round_ends() {
        let axis = Axis::around([101.0, 137.0].into_iter());
        assert_eq!((axis.least, axis.most), (100.0, 140.0));
        assert_eq!(axis.ticks(), [100.0, 110.0, 120.0, 130.0, 140.0]);
        let flat = Axis::around([100.0].into_iter());
        assert!(flat.least <= 100.0 && flat.most > 100.0);
        let nothing = Axis::around(std::iter::empty());
        assert!(nothing.share(0.0).is_finite());
    }

    #[test]
    fn a_time_axis_has_a_handful_of_round_days() {
        for days in [1, 3, 9, 30, 69, 71, 200, 365, 4000, 40_000] {
            let from: DateTime<Utc> = "2026-01-17T10:00:00Z".parse().unwrap();
            let until = from + TimeDelta::days(days);
            let ticks = TimeAxis { from, until }.ticks();
            assert!((1..=7).contains(&ticks.len()), "{days}: {ticks:?}");
            assert!(ticks.iter().all(|tick| from <= *tick && *tick <= until));
        }
    }
}
