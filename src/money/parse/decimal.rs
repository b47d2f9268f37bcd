//! Exact decimals: what a number in a text says, before it is money.

use std::fmt;

/// A decimal number of at most eighteen digits, without sign.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Decimal {
    units: i64,
    places: u32,
}

const DIGITS_MAX: usize = 18;

impl Decimal {
    /// From the digits before and after the decimal mark; `None` when there are too many.
    pub(super) fn from_digits(whole: &str, fraction: &str) -> Option<Decimal> {
        let whole = whole.trim_start_matches('0');
        if whole.len() + fraction.len() > DIGITS_MAX {
            return None;
        }
        let mut digits = whole.bytes().chain(fraction.bytes());
        // Eighteen digits stay within 64 bits.
        let units = digits.try_fold(0, |units, digit| {
            let is_digit = digit.is_ascii_digit();
            is_digit.then(|| 10 * units + i64::from(digit - b'0'))
        })?;
        let places = u32::try_from(fraction.len()).ok()?;
        Some(Decimal { units, places })
    }

    /// Reads a plain decimal such as `9999.99`.
    pub fn parse(text: &str) -> Option<Decimal> {
        let (whole, fraction) = text.trim().split_once('.').unwrap_or((text.trim(), ""));
        let digits = |part: &str| part.bytes().all(|byte| byte.is_ascii_digit());
        let plain = !whole.is_empty() && digits(whole) && digits(fraction);
        plain.then(|| Decimal::from_digits(whole, fraction))?
    }

    /// The amount of so many minor units, without its sign.
    pub(super) fn of_minor(minor: i64, exponent: u32) -> Decimal {
        Decimal {
            units: minor.saturating_abs(),
            places: exponent,
        }
    }

    /// Digits after the decimal mark.
    pub(super) fn places(self) -> u32 {
        self.places
    }

    /// The same number without its zeros after the mark; `None` when others stand there.
    pub(super) fn whole_if_no_fraction(self) -> Option<Decimal> {
        let units = self.to_minor(0)?;
        Some(Decimal { units, places: 0 })
    }

    /// Reads a number of JSON that has an exponent, such as `1.299E3`.
    pub(super) fn parse_with_exponent(text: &str) -> Option<Decimal> {
        let (mantissa, exponent) = text.trim().split_once(['e', 'E'])?;
        let by: i32 = exponent.parse().ok()?;
        (-18..=18)
            .contains(&by)
            .then(|| Decimal::parse(mantissa)?.shifted(by))?
    }

    pub(super) fn is_zero(self) -> bool {
        self.units == 0
    }

    /// Moves the decimal mark to the right, as the exponent of a JSON number does.
    pub(super) fn shifted(self, by: i32) -> Option<Decimal> {
        let places = i64::from(self.places) - i64::from(by);
        if places > DIGITS_MAX as i64 {
            return None;
        }
        match u32::try_from(places) {
            Ok(places) => Some(Decimal { places, ..self }),
            Err(_) => {
                let factor = 10_i64.checked_pow(u32::try_from(-places).ok()?)?;
                let units = self.units.checked_mul(factor)?;
                Some(Decimal { units, places: 0 })
            }
        }
    }

    /// The number in units of `10^-exponent`; `None` when it is finer than that or too large.
    pub(super) fn to_minor(self, exponent: u32) -> Option<i64> {
        if self.places <= exponent {
            let factor = 10_i64.checked_pow(exponent - self.places)?;
            return self.units.checked_mul(factor);
        }
        let divisor = 10_i64.checked_pow(self.places - exponent)?;
        (self.units % divisor == 0).then(|| self.units / divisor)
    }

    /// The same, rounded half up where it is finer.
    pub(super) fn to_minor_half_up(self, exponent: u32) -> Option<i64> {
        if self.places <= exponent {
            return self.to_minor(exponent);
        }
        let divisor = 10_i128.checked_pow(self.places - exponent)?;
        i64::try_from((2 * i128::from(self.units) + divisor) / (2 * divisor)).ok()
    }

    /// True when both are the same number, however many zeros they end in.
    pub(super) fn equals(self, other: Decimal) -> bool {
        let scale = |value: Decimal, places: u32| {
            i128::from(value.units) * 10_i128.pow(places - value.places)
        };
        // Invariant: at most eighteen places, so the powers stay within 128 bits.
        let places = self.places.max(other.places);
        scale(self, places) == scale(other, places)
    }

    /// True when the whole part has at least `n` digits and every digit is a nine.
    pub(super) fn is_all_nines(self, n: usize) -> bool {
        if self.units % 10 != 9 {
            return false;
        }
        let digits = self.units.to_string();
        digits.bytes().all(|digit| digit == b'9') && digits.len() >= n + self.places as usize
    }
}

impl fmt::Display for Decimal {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let places = self.places as usize;
        let digits = format!("{:0width$}", self.units, width = places + 1);
        let (whole, fraction) = digits.split_at(digits.len() - places);
        let point = if places == 0 { "" } else { "." };
        f.pad(&format!("{whole}{point}{fraction}"))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn decimals_become_minor_units_exactly() {
        for (text, exponent, expected) in [
            ("19.99", 2, Some(1999)),
            ("19.9", 2, Some(1990)),
            ("19.990", 2, Some(1999)),
            ("19.995", 2, None),
            ("19", 0, Some(19)),
            ("19.500", 3, Some(19_500)),
            ("999999999999999999", 2, None),
            ("0.00", 2, Some(0)),
        ] {
            let decimal = Decimal::parse(text).unwrap();
            assert_eq!(decimal.to_minor(exponent), expected, "{text}");
            assert_eq!(decimal.to_string(), text);
        }
    }

    #[test]
    fn half_units_round_up() {
        // Python decimal, ROUND_HALF_UP: 0.125 to 0.13, 1.005 to 1.01.
        let check = |text, expected| {
            let decimal = Decimal::parse(text).unwrap();
            assert_eq!(decimal.to_minor_half_up(2), Some(expected), "{text}");
        };
        check("0.125", 13);
        check("1.005", 101);
        check("207.5630", 20756);
    }
}
