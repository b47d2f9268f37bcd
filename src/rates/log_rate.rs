//! Rates as integers: natural logarithms, rounded once to millionths.

/// The natural logarithm of a rate in thousandths of its unit, in millionths.
///
/// Products of rates become sums of these, and integers make equal mean equal on every machine;
/// the logarithm comes from a software implementation for the same reason.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct LogRate(i64);

/// Millionths in one natural logarithm.
const MICRO: f64 = 1_000_000.0;

impl LogRate {
    /// From a rate in thousandths of its unit; `None` unless it is above zero.
    pub fn from_milli(milli: i64) -> Option<LogRate> {
        // At most 2^63, so the result is at most 43.7 million.
        (milli > 0).then(|| LogRate((libm::log(milli as f64) * MICRO).round() as i64))
    }

    /// Millionths of the natural logarithm of the rate in thousandths.
    pub fn micro(self) -> i64 {
        self.0
    }

    pub fn from_micro(micro: i64) -> LogRate {
        LogRate(micro)
    }
}

/// The ratio that a difference of log-rates stands for, times 100.
pub fn percent_of_log(micro: f64) -> f64 {
    100.0 * libm::exp(micro / MICRO)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn logarithms_round_once_to_millionths() {
        // ln 1000 = 6.907755279 and ln 144500 = 11.881034736 (from memory; handbook values).
        assert_eq!(
            LogRate::from_milli(1_000).map(LogRate::micro),
            Some(6_907_755)
        );
        assert_eq!(LogRate::from_milli(1).map(LogRate::micro), Some(0));
        assert_eq!(LogRate::from_milli(0), None);
        assert_eq!(LogRate::from_milli(-5), None);
    }
}
