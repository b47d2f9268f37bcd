//! Amounts: an integer of minor units that never leaves its currency behind.

use super::Currency;
use std::cmp::Ordering;
use std::fmt;

/// An amount of money: minor units (cents) and the currency they belong to.
///
/// There is no `Ord`: amounts of two currencies have no order. Compare with
/// [`Money::partial_cmp`], which is `None` across currencies.
#[derive(Clone, Copy, PartialEq, Eq, Hash)]
pub struct Money {
    minor: i64,
    currency: Currency,
}

/// Why two amounts could not be combined.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum MoneyError {
    #[error("cannot combine {left} with {right}: convert one of them first")]
    CurrencyMismatch { left: Currency, right: Currency },
    #[error("an amount in {currency} is too large to count")]
    Overflow { currency: Currency },
}

impl Money {
    pub const fn from_minor(minor: i64, currency: Currency) -> Money {
        Money { minor, currency }
    }

    pub const fn zero(currency: Currency) -> Money {
        Money { minor: 0, currency }
    }

    /// The amount in minor units: 129990 for EUR 1299.90.
    pub const fn minor(&self) -> i64 {
        self.minor
    }

    pub const fn currency(&self) -> Currency {
        self.currency
    }

    /// # Errors
    /// [`MoneyError`] across currencies or beyond 64 bits.
    pub fn checked_add(self, other: Money) -> Result<Money, MoneyError> {
        self.combine(other, i64::checked_add)
    }

    /// # Errors
    /// [`MoneyError`] across currencies or beyond 64 bits.
    pub fn checked_sub(self, other: Money) -> Result<Money, MoneyError> {
        self.combine(other, i64::checked_sub)
    }

    /// The price of several of the same.
    ///
    /// # Errors
    /// [`MoneyError::Overflow`] beyond 64 bits.
    pub fn times(self, quantity: u32) -> Result<Money, MoneyError> {
        let minor = self.minor.checked_mul(i64::from(quantity));
        minor
            .map(|minor| Money { minor, ..self })
            .ok_or(MoneyError::Overflow {
                currency: self.currency,
            })
    }

    /// Adds `percent_hundredths` hundredths of a percent (1900 for 19 %), rounded half up.
    ///
    /// # Errors
    /// [`MoneyError::Overflow`] beyond 64 bits.
    pub fn plus_percent_half_up(self, percent_hundredths: u32) -> Result<Money, MoneyError> {
        let scaled = i128::from(self.minor) * i128::from(10_000 + i64::from(percent_hundredths));
        let rounded = div_half_up(scaled, 10_000);
        i64::try_from(rounded)
            .map(|minor| Money { minor, ..self })
            .map_err(|_| MoneyError::Overflow {
                currency: self.currency,
            })
    }

    /// The amount as a decimal without its currency: `1299.90`, `-0.05`, `1300` for JPY.
    pub fn decimal(&self) -> String {
        let exponent = self.currency.exponent() as usize;
        let digits = format!(
            "{:0width$}",
            self.minor.unsigned_abs(),
            width = exponent + 1
        );
        let (major, fraction) = digits.split_at(digits.len() - exponent);
        let sign = if self.minor < 0 { "-" } else { "" };
        let point = if exponent == 0 { "" } else { "." };
        format!("{sign}{major}{point}{fraction}")
    }

    fn combine(
        self,
        other: Money,
        operation: fn(i64, i64) -> Option<i64>,
    ) -> Result<Money, MoneyError> {
        if self.currency != other.currency {
            let (left, right) = (self.currency, other.currency);
            return Err(MoneyError::CurrencyMismatch { left, right });
        }
        operation(self.minor, other.minor)
            .map(|minor| Money { minor, ..self })
            .ok_or(MoneyError::Overflow {
                currency: self.currency,
            })
    }
}

/// Divides with halves going away from zero, as price lists round.
pub(crate) fn div_half_up(numerator: i128, denominator: i128) -> i128 {
    let magnitude = (2 * numerator.abs() + denominator) / (2 * denominator);
    if numerator < 0 { -magnitude } else { magnitude }
}

impl PartialOrd for Money {
    fn partial_cmp(&self, other: &Money) -> Option<Ordering> {
        (self.currency == other.currency).then(|| self.minor.cmp(&other.minor))
    }
}

/// Code first, with a space between thousands: `EUR 1 299.90`.
impl fmt::Display for Money {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let decimal = self.decimal();
        let (sign, unsigned) = match decimal.strip_prefix('-') {
            Some(rest) => ("-", rest),
            None => ("", decimal.as_str()),
        };
        let whole = unsigned.find('.').unwrap_or(unsigned.len());
        let (major, fraction) = unsigned.split_at(whole);
        let mut grouped = String::new();
        for (position, digit) in major.chars().enumerate() {
            if position > 0 && (major.len() - position).is_multiple_of(3) {
                grouped.push(' ');
            }
            grouped.push(digit);
        }
        f.pad(&format!("{} {sign}{grouped}{fraction}", self.currency))
    }
}

impl fmt::Debug for Money {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{self}")
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn eur(minor: i64) -> Money {
        Money::from_minor(minor, Currency::EUR)
    }

    #[test]
    fn three_times_19_99_is_59_97() {
        assert_eq!(eur(1999).times(3), Ok(eur(5997)));
    }

    #[test]
    fn currencies_do_not_mix() {
        let yen = Money::zero(Currency::parse("JPY").unwrap());
        assert_eq!(
            eur(1).checked_add(yen),
            Err(MoneyError::CurrencyMismatch {
                left: Currency::EUR,
                right: yen.currency()
            })
        );
        assert_eq!(eur(1).partial_cmp(&yen), None);
    }

    #[test]
    fn sums_beyond_64_bits_are_an_error() {
        assert_eq!(
            eur(i64::MAX).checked_add(eur(1)),
            Err(MoneyError::Overflow {
                currency: Currency::EUR
            })
        );
        assert!(eur(i64::MAX).times(2).is_err() && eur(i64::MAX).plus_percent_half_up(1).is_err());
    }

    #[test]
    fn an_amount_prints_with_the_decimals_of_its_currency() {
        let show =
            |minor, code| Money::from_minor(minor, Currency::parse(code).unwrap()).to_string();
        assert_eq!(show(129_990, "EUR"), "EUR 1 299.90");
        assert_eq!(show(-5, "EUR"), "EUR -0.05");
        assert_eq!(show(1_234_567, "JPY"), "JPY 1 234 567");
        assert_eq!(show(19_500, "KWD"), "KWD 19.500");
        assert_eq!(show(0, "USD"), "USD 0.00");
    }

    #[test]
    fn tax_is_added_half_up() {
        // Arithmetic: 7 x 0.99 net at 19 % is 6.93 x 1.19 = 8.2467.
        assert_eq!(eur(693).plus_percent_half_up(1900), Ok(eur(825)));
        assert_eq!(eur(50).plus_percent_half_up(100), Ok(eur(51)));
    }
}
