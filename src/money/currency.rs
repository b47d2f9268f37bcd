//! Currencies by their ISO 4217 code, with the number of decimals of their minor unit.

use std::collections::BTreeMap;
use std::fmt;
use std::sync::LazyLock;

/// A currency of ISO 4217 that has a minor unit.
///
/// Metals, bond units and test codes have none and cannot be made.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Currency([u8; 3]);

/// What was written where a currency code belongs.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("unknown currency \"{0}\": expected a code of ISO 4217 such as EUR")]
pub struct UnknownCurrency(pub String);

// Source: ISO 4217 list one of 2026-01-01. Codes by their number of decimals.
const WITHOUT_DECIMALS: &str =
    "BIF CLP DJF GNF ISK JPY KMF KRW PYG RWF UGX UYI VND VUV XAF XOF XPF";
const TWO_DECIMALS: &str = "AED AFN ALL AMD AOA ARS AUD AWG AZN BAM BBD BDT BMD BND BOB BOV BRL BSD BTN BWP BYN \
    BZD CAD CDF CHE CHF CHW CNY COP COU CRC CUP CVE CZK DKK DOP DZD EGP ERN ETB EUR FJD \
    FKP GBP GEL GHS GIP GMD GTQ GYD HKD HNL HTG HUF IDR ILS INR IRR JMD KES KGS KHR KPW \
    KYD KZT LAK LBP LKR LRD LSL MAD MDL MGA MKD MMK MNT MOP MRU MUR MVR MWK MXN MXV MYR \
    MZN NAD NGN NIO NOK NPR NZD PAB PEN PGK PHP PKR PLN QAR RON RSD RUB SAR SBD SCR SDG \
    SEK SGD SHP SLE SOS SRD SSP STN SVC SYP SZL THB TJS TMT TOP TRY TTD TWD TZS UAH USD \
    USN UYU UZS VED VES WST XAD XCD XCG YER ZAR ZMW ZWG";
const THREE_DECIMALS: &str = "BHD IQD JOD KWD LYD OMR TND";
const FOUR_DECIMALS: &str = "CLF UYW";

impl Currency {
    pub const EUR: Currency = Currency(*b"EUR");

    /// Reads a three-letter code; case and surrounding blanks do not matter.
    ///
    /// # Errors
    /// [`UnknownCurrency`] when the list has no such code or the code has no minor unit.
    pub fn parse(code: &str) -> Result<Currency, UnknownCurrency> {
        let folded = code.trim().to_ascii_uppercase();
        let known = <[u8; 3]>::try_from(folded.as_bytes()).ok().map(Currency);
        known
            .filter(|currency| currency.listed_exponent().is_some())
            .ok_or_else(|| UnknownCurrency(code.trim().to_owned()))
    }

    /// The three-letter code.
    pub fn code(&self) -> &str {
        // Invariant: `parse` and the constants admit ASCII letters only.
        std::str::from_utf8(&self.0).unwrap_or("???")
    }

    /// Decimals of the minor unit: 0 for JPY, 2 for EUR, 3 for KWD, 4 for CLF.
    pub fn exponent(&self) -> u32 {
        self.listed_exponent().unwrap_or(2)
    }

    /// Minor units in one major unit: 100 for EUR.
    pub fn minor_per_major(&self) -> i64 {
        10_i64.pow(self.exponent())
    }

    /// Every currency that can be made, by decimals and then by code.
    pub fn all() -> impl Iterator<Item = Currency> {
        [
            WITHOUT_DECIMALS,
            TWO_DECIMALS,
            THREE_DECIMALS,
            FOUR_DECIMALS,
        ]
        .into_iter()
        .flat_map(str::split_ascii_whitespace)
        .filter_map(|code| <[u8; 3]>::try_from(code.as_bytes()).ok())
        .map(Currency)
    }

    fn listed_exponent(&self) -> Option<u32> {
        EXPONENTS.get(&self.0).copied()
    }
}

/// The lists above, ready to look up: every amount that is read asks for one.
static EXPONENTS: LazyLock<BTreeMap<[u8; 3], u32>> = LazyLock::new(|| {
    [
        (WITHOUT_DECIMALS, 0),
        (TWO_DECIMALS, 2),
        (THREE_DECIMALS, 3),
        (FOUR_DECIMALS, 4),
    ]
    .into_iter()
    .flat_map(|(codes, exponent)| {
        codes
            .split_ascii_whitespace()
            .map(move |code| (code, exponent))
    })
    .filter_map(|(code, exponent)| Some((code.as_bytes().try_into().ok()?, exponent)))
    .collect()
});

impl fmt::Display for Currency {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.code())
    }
}

impl fmt::Debug for Currency {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.code())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn exponents_follow_iso_4217() {
        // ISO 4217 list one of 2026-01-01: one code of each exponent, and two whose
        // display digits in CLDR 41 differ from ISO.
        for (code, exponent) in [
            ("JPY", 0),
            ("EUR", 2),
            ("KWD", 3),
            ("CLF", 4),
            ("HUF", 2),
            ("RSD", 2),
        ] {
            assert_eq!(
                Currency::parse(code).map(|c| c.exponent()),
                Ok(exponent),
                "{code}"
            );
        }
    }

    #[test]
    fn the_list_has_as_many_codes_per_exponent_as_iso_4217() {
        // ISO 4217 list one of 2026-01-01: 17, 139, 7 and 2 codes.
        let count = |exponent| Currency::all().filter(|c| c.exponent() == exponent).count();
        assert_eq!([count(0), count(2), count(3), count(4)], [17, 139, 7, 2]);
    }

    #[test]
    fn metals_withdrawn_codes_and_words_are_unknown() {
        for text in ["XAU", "XXX", "HRK", "BGN", "Euro", "", "EU", "€"] {
            assert_eq!(Currency::parse(text), Err(UnknownCurrency(text.to_owned())));
        }
        assert_eq!(Currency::parse(" eur "), Ok(Currency::EUR));
    }
}
