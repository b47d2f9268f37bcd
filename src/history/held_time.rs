//! Prices weighed by the time that they held, so that polling more often changes nothing.

use super::series::Series;
use crate::money::div_half_up;

/// How long each price could be had: pairs of minor units and milliseconds, cheapest first.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct HeldTime {
    by_price: Vec<(i64, i64)>,
    total_ms: i64,
}

impl HeldTime {
    pub fn of(series: &Series) -> HeldTime {
        let steps = series.steps().iter();
        let mut held: Vec<(i64, i64)> = steps
            .filter_map(|step| Some((step.state.to_be_had()?, step.ms())))
            .collect();
        held.sort_unstable();
        let mut by_price: Vec<(i64, i64)> = Vec::with_capacity(held.len());
        for (minor, ms) in held {
            match by_price.last_mut() {
                Some((last, total)) if *last == minor => *total += ms,
                _ => by_price.push((minor, ms)),
            }
        }
        let total_ms = by_price.iter().map(|(_, ms)| ms).sum();
        HeldTime { by_price, total_ms }
    }

    /// The time with a price that could be had, in milliseconds.
    pub fn total_ms(&self) -> i64 {
        self.total_ms
    }

    pub fn lowest(&self) -> Option<i64> {
        self.by_price.first().map(|(minor, _)| *minor)
    }

    pub fn highest(&self) -> Option<i64> {
        self.by_price.last().map(|(minor, _)| *minor)
    }

    /// The lowest price such that at least so many thousandths of the time had it or a lower one:
    /// the inverse of the distribution function (Hyndman and Fan 1996, definition 1, from memory),
    /// which always is a price that was asked. The median is at 500.
    pub fn quantile(&self, thousandths: u32) -> Option<i64> {
        let wanted = i128::from(self.total_ms) * i128::from(thousandths.min(1000));
        let mut until_here: i128 = 0;
        let found = self.by_price.iter().find(|(_, ms)| {
            until_here += i128::from(*ms) * 1000;
            until_here >= wanted
        });
        found.map(|(minor, _)| *minor)
    }

    /// The mean over the time held, in minor units rounded half up.
    pub fn mean(&self) -> Option<i64> {
        if self.total_ms == 0 {
            return None;
        }
        let weighed = self.by_price.iter();
        let sum: i128 = weighed
            .map(|(minor, ms)| i128::from(*minor) * i128::from(*ms))
            .sum();
        // A mean lies between the least and the greatest, so it fits as they do.
        i64::try_from(div_half_up(sum, i128::from(self.total_ms))).ok()
    }

    /// The time that a price of at most `minor` could be had, in milliseconds.
    pub fn at_or_below(&self, minor: i64) -> i64 {
        let cheap = self
            .by_price
            .iter()
            .take_while(|(price, _)| *price <= minor);
        cheap.map(|(_, ms)| ms).sum()
    }

    /// How widely the price moves: its standard deviation over the time held, in percent of its
    /// mean (the coefficient of variation). For showing only.
    pub fn spread_percent(&self) -> Option<f64> {
        let total = self.total_ms as f64;
        let sum = |value: &dyn Fn(f64) -> f64| -> f64 {
            let weighed = self.by_price.iter();
            weighed
                .map(|(minor, ms)| value(*minor as f64) * *ms as f64)
                .sum()
        };
        let mean = sum(&|price| price) / total;
        let variance = sum(&|price| (price - mean) * (price - mean)) / total;
        let percent = 100.0 * variance.sqrt() / mean;
        (mean > 0.0 && percent.is_finite()).then_some(percent)
    }
}
