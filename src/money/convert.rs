//! Conversion between currencies at a dated rate, and prices with and without tax.
//!
//! Both round once, half up, and say what they used.

use super::amount::div_half_up;
use super::{Currency, Money, MoneyError};
use chrono::NaiveDate;
use std::fmt;

/// What one unit of a currency buys of another, on a day.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Rate {
    from: Currency,
    to: Currency,
    /// The rate times ten to the power of `places`; above zero.
    scaled: i64,
    places: u32,
    day: NaiveDate,
}

/// An amount in another currency, with what it was made from.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Converted {
    pub amount: Money,
    pub original: Money,
    pub rate: Rate,
}

/// Why a rate cannot be used.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum RateError {
    #[error("rate \"{text}\" is not a plain decimal above zero of at most {digits} digits")]
    NotARate { text: String, digits: usize },
    #[error("a rate from {0} to itself is always 1")]
    SameCurrency(Currency),
}

const RATE_DIGITS_MAX: usize = 15;

impl Rate {
    /// Reads a rate from its decimal text: `1.0834` of `to` for one `from`.
    ///
    /// # Errors
    /// [`RateError`] when the text is no such decimal, or both currencies are the same.
    pub fn parse(
        from: Currency,
        to: Currency,
        text: &str,
        day: NaiveDate,
    ) -> Result<Rate, RateError> {
        if from == to {
            return Err(RateError::SameCurrency(from));
        }
        let not_a_rate = || RateError::NotARate {
            text: text.to_owned(),
            digits: RATE_DIGITS_MAX,
        };
        let (whole, fraction) = text.trim().split_once('.').unwrap_or((text.trim(), ""));
        let digits = format!("{whole}{fraction}");
        let plain = !whole.is_empty() && digits.bytes().all(|byte| byte.is_ascii_digit());
        if !plain || digits.len() > RATE_DIGITS_MAX {
            return Err(not_a_rate());
        }
        let scaled: i64 = digits.parse().map_err(|_| not_a_rate())?;
        let places = u32::try_from(fraction.len()).map_err(|_| not_a_rate())?;
        if scaled == 0 {
            return Err(not_a_rate());
        }
        Ok(Rate {
            from,
            to,
            scaled,
            places,
            day,
        })
    }

    pub fn from(&self) -> Currency {
        self.from
    }

    pub fn to(&self) -> Currency {
        self.to
    }

    /// The day for which the rate was stated.
    pub fn day(&self) -> NaiveDate {
        self.day
    }

    /// Converts an amount, rounded once, half up.
    ///
    /// # Errors
    /// [`MoneyError`] when the amount is in another currency or becomes too large.
    pub fn convert(&self, amount: Money) -> Result<Converted, MoneyError> {
        if amount.currency() != self.from {
            return Err(MoneyError::CurrencyMismatch {
                left: amount.currency(),
                right: self.from,
            });
        }
        let overflow = || MoneyError::Overflow { currency: self.to };
        // minor(to) = minor(from) x scaled / 10^places x 10^exp(to) / 10^exp(from).
        let powers = |power: u32| 10_i128.checked_pow(power).ok_or_else(overflow);
        let numerator = i128::from(amount.minor())
            .checked_mul(i128::from(self.scaled))
            .and_then(|product| product.checked_mul(i128::from(self.to.minor_per_major())))
            .ok_or_else(overflow)?;
        let denominator = powers(self.places + self.from.exponent())?;
        let rounded = halves_up(numerator, denominator).ok_or_else(overflow)?;
        let minor = i64::try_from(rounded).map_err(|_| overflow())?;
        Ok(Converted {
            amount: Money::from_minor(minor, self.to),
            original: amount,
            rate: self.clone(),
        })
    }
}

impl Money {
    /// The net of a gross price: gross x 100 / (100 + rate), rounded half up.
    ///
    /// `percent_hundredths` is the rate in hundredths of a percent: 1900 for 19 %. The tax is the
    /// difference, so that the parts add up; the gross cannot always be had back from the net.
    ///
    /// # Errors
    /// [`MoneyError::Overflow`] beyond 64 bits.
    pub fn without_percent_half_up(self, percent_hundredths: u32) -> Result<Money, MoneyError> {
        const WHOLE: i128 = 10_000;
        let numerator = i128::from(self.minor()) * WHOLE;
        let net = div_half_up(numerator, WHOLE + i128::from(percent_hundredths));
        let currency = self.currency();
        i64::try_from(net)
            .map(|minor| Money::from_minor(minor, currency))
            .map_err(|_| MoneyError::Overflow { currency })
    }
}

impl fmt::Display for Rate {
    /// `USD 1 = EUR 0.9137 on 2026-11-20`.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let places = self.places as usize;
        let digits = format!("{:0width$}", self.scaled, width = places + 1);
        let (whole, fraction) = digits.split_at(digits.len() - places);
        let point = if fraction.is_empty() { "" } else { "." };
        let (from, to, day) = (self.from, self.to, self.day);
        write!(f, "{from} 1 = {to} {whole}{point}{fraction} on {day}")
    }
}

/// As [`div_half_up`], or `None` where doubling the numerator would not fit.
fn halves_up(numerator: i128, denominator: i128) -> Option<i128> {
    let fits = numerator.unsigned_abs() < (i128::MAX as u128) / 4;
    fits.then(|| div_half_up(numerator, denominator))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn money(minor: i64, code: &str) -> Money {
        Money::from_minor(minor, Currency::parse(code).unwrap())
    }

    fn rate(from: &str, to: &str, text: &str) -> Result<Rate, RateError> {
        let day = NaiveDate::from_ymd_opt(2026, 6, 1).unwrap();
        let currency = |code| Currency::parse(code).unwrap();
        Rate::parse(currency(from), currency(to), text, day)
    }

    #[test]
    fn a_conversion_rounds_once_and_half_up() {
        // Arithmetic: 1299.00 x 0.9141 = 1187.4159; 0.05 x 0.5 = 0.025; 19800 x 0.0061 = 120.78;
        // 19.500 x 3.0001 = 58.50195.
        for (from, to, text, minor, expected) in [
            ("USD", "EUR", "0.9141", 129_900, 118_742),
            ("USD", "EUR", "0.5", 5, 3),
            ("JPY", "EUR", "0.0061", 19_800, 12_078),
            ("KWD", "EUR", "3.0001", 19_500, 5850),
            ("EUR", "KWD", "0.3333", 5850, 19_498),
            ("EUR", "JPY", "163.5", 100, 164),
        ] {
            let converted = rate(from, to, text)
                .unwrap()
                .convert(money(minor, from))
                .unwrap();
            assert_eq!(converted.amount, money(expected, to), "{from} {to} {text}");
            assert_eq!(converted.original, money(minor, from));
        }
    }

    #[test]
    fn another_currency_or_too_much_is_an_error() {
        let dollars = rate("USD", "EUR", "0.9").unwrap();
        assert!(dollars.convert(money(1, "GBP")).is_err());
        let steep = rate("USD", "EUR", "999999999999999").unwrap();
        assert!(steep.convert(money(i64::MAX, "USD")).is_err());
    }

    #[test]
    fn a_rate_is_a_plain_decimal_above_zero() {
        for text in [
            "",
            "0",
            "0.000",
            "-1",
            "1,08",
            "1e3",
            ".5",
            "NaN",
            "1234567890123456",
        ] {
            assert!(rate("USD", "EUR", text).is_err(), "{text}");
        }
        assert!(rate("EUR", "EUR", "1").is_err());
        assert!(rate("USD", "EUR", "1.").is_ok());
    }

    #[test]
    fn net_and_gross_follow_the_worked_examples() {
        // Worked examples of value added tax, net = gross x 100 / (100 + rate), half up, and the
        // gross that the rounded net gives again. Two do not come back: keep what the shop states.
        for (code, percent, gross, net, again) in [
            ("EUR", 1900, 119_000, 100_000, 119_000),
            ("EUR", 1900, 49_900, 41_933, 49_900),
            ("EUR", 1900, 99, 83, 99),
            ("EUR", 2000, 59_999, 49_999, 59_999),
            ("EUR", 2000, 10_000, 8333, 10_000),
            ("GBP", 2000, 3, 3, 4),
            ("SEK", 2500, 899_000, 719_200, 899_000),
            ("HUF", 2700, 10_000, 7874, 10_000),
            ("CHF", 810, 104_905, 97_044, 104_905),
            ("EUR", 2550, 79_990, 63_737, 79_990),
            ("EUR", 1700, 100, 85, 99),
            ("PLN", 2300, 499_900, 406_423, 499_900),
        ] {
            let computed = money(gross, code).without_percent_half_up(percent).unwrap();
            assert_eq!(computed, money(net, code), "{gross} at {percent}");
            assert_eq!(
                computed.plus_percent_half_up(percent),
                Ok(money(again, code))
            );
        }
    }
}
