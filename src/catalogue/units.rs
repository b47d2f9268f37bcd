//! Decimals as integers, and measures with their unit in the text, such as `16.5 cm`, to whole numbers of a spec's unit.
//!
//! Makers and data sets write one length in three units. Everything is kept in one; conversion is
//! in integers and rounds once, to the nearest, halves up. Slots alone round up: a card that is
//! 3.2 slots thick covers four.

/// Why a text is no measure in a unit.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum MeasureFault {
    #[error("\"{0}\" is not a number with a unit")]
    NoNumber(String),
    #[error("\"{text}\" is not in {unit} or a unit of the same kind ({known})")]
    OtherUnit {
        text: String,
        unit: &'static str,
        known: String,
    },
    #[error("\"{0}\" is too large")]
    TooLarge(String),
}

/// Ways to write a unit: the spec's unit, the spelling (folded), and its size as a fraction.
const SPELLINGS: &[(&str, &str, i128, i128)] = &[
    ("mm", "mm", 1, 1),
    ("mm", "cm", 10, 1),
    ("mm", "m", 1_000, 1),
    ("mm", "in", 254, 10),
    ("mm", "inch", 254, 10),
    ("mm", "inches", 254, 10),
    ("mm", "\"", 254, 10),
    ("mm", "\u{2033}", 254, 10),
    ("GB", "gb", 1, 1),
    ("GB", "go", 1, 1),
    ("GB", "tb", 1_000, 1),
    ("GB", "to", 1_000, 1),
    ("GB", "mb", 1, 1_000),
    ("W", "w", 1, 1),
    ("W", "watt", 1, 1),
    ("W", "watts", 1, 1),
    ("W", "kw", 1_000, 1),
    ("MT/s", "mt/s", 1, 1),
    // Shops write the transfer rate of memory as a frequency.
    ("MT/s", "mhz", 1, 1),
    ("MB/s", "mb/s", 1, 1),
    ("MB/s", "gb/s", 1_000, 1),
    ("MHz", "mhz", 1, 1),
    ("MHz", "ghz", 1_000, 1),
    ("MB", "mb", 1, 1),
    ("MB", "kb", 1, 1_000),
    ("GB/s", "gb/s", 1, 1),
    ("GB/s", "tb/s", 1_000, 1),
    ("GFLOPS", "gflops", 1, 1),
    ("GFLOPS", "tflops", 1_000, 1),
    ("slots", "slot", 1, 1),
    ("slots", "slots", 1, 1),
    ("dBA", "dba", 1, 1),
    ("dBA", "db(a)", 1, 1),
    ("dBA", "db", 1, 1),
];

/// Reads a measure as a whole number of `unit`. A bare number is in `unit` already.
///
/// # Errors
/// [`MeasureFault`] when there is no number, the unit is of another kind, or it overflows.
pub fn parse_measure(text: &str, unit: &'static str) -> Result<i64, MeasureFault> {
    let trimmed = text.trim();
    let end = trimmed
        .find(|character: char| !character.is_ascii_digit() && !matches!(character, '.' | ','))
        .unwrap_or(trimmed.len());
    let (digits, written) = trimmed.split_at(end);
    let no_number = || MeasureFault::NoNumber(text.to_owned());
    let (whole, part) = digits.split_once(['.', ',']).unwrap_or((digits, ""));
    let is_number = !whole.is_empty()
        && whole
            .bytes()
            .chain(part.bytes())
            .all(|byte| byte.is_ascii_digit());
    if !is_number || whole.len() + part.len() > 18 {
        return Err(no_number());
    }
    let (times, over) = size_of(written, unit).ok_or_else(|| MeasureFault::OtherUnit {
        text: text.to_owned(),
        unit,
        known: spellings(unit),
    })?;
    let scaled: i128 = format!("{whole}{part}").parse().map_err(|_| no_number())?;
    let places = u32::try_from(part.len()).map_err(|_| no_number())?;
    let (numerator, denominator) = (scaled * times, over * 10_i128.pow(places));
    let rounded = match unit {
        "slots" => (numerator + denominator - 1) / denominator,
        _ => (2 * numerator + denominator) / (2 * denominator),
    };
    i64::try_from(rounded).map_err(|_| MeasureFault::TooLarge(text.to_owned()))
}

/// The size of a written unit in the spec's unit, as a fraction.
fn size_of(written: &str, unit: &str) -> Option<(i128, i128)> {
    // `2.5-slot` joins the two; a lone hyphen is no unit.
    let written = match written.strip_prefix('-') {
        Some(joined) if joined.starts_with(char::is_alphabetic) => joined,
        _ => written,
    };
    let folded = written.trim().to_lowercase();
    if folded.is_empty() || folded == unit.to_lowercase() {
        return Some((1, 1));
    }
    let found = SPELLINGS
        .iter()
        .find(|(of, spelling, _, _)| *of == unit && *spelling == folded);
    found.map(|(_, _, times, over)| (*times, *over))
}

fn spellings(unit: &str) -> String {
    spellings_of(unit).join(", ")
}

/// Every unit that a measure in `unit` may be written in, in small letters.
pub(super) fn spellings_of(unit: &str) -> Vec<&str> {
    let known = SPELLINGS.iter().filter(|(of, _, _, _)| *of == unit);
    let known: Vec<&str> = known.map(|(_, spelling, _, _)| *spelling).collect();
    match known.is_empty() {
        true => vec![unit],
        false => known,
    }
}

/// Reads a plain decimal as an integer of `10^-places`; `None` when it is finer or too large.
pub fn scale_decimal(text: &str, places: u32) -> Option<i64> {
    if !is_plain_decimal(text) {
        return None;
    }
    let (whole, fraction) = text.split_once('.').unwrap_or((text, ""));
    let fraction = fraction.trim_end_matches('0');
    let missing = (places as usize).checked_sub(fraction.len())?;
    format!("{whole}{fraction}{}", "0".repeat(missing))
        .parse()
        .ok()
}

/// True for digits with at most one point, and a sign at most.
pub fn is_plain_decimal(text: &str) -> bool {
    let unsigned = text.strip_prefix(['-', '+']).unwrap_or(text);
    let (whole, fraction) = unsigned.split_once('.').unwrap_or((unsigned, "0"));
    let digits = |part: &str| !part.is_empty() && part.bytes().all(|byte| byte.is_ascii_digit());
    digits(whole) && digits(fraction)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn one_length_in_three_units_is_one_number() {
        // Pitfall C41. One inch is 25.4 mm exactly (international inch).
        for (text, expected) in [
            ("16.5 cm", 165),
            ("165", 165),
            ("6.5 in", 165),
            ("165,0mm", 165),
            ("12\"", 305),
        ] {
            assert_eq!(parse_measure(text, "mm"), Ok(expected), "{text}");
        }
        assert_eq!(parse_measure("2 TB", "GB"), Ok(2_000));
        assert_eq!(parse_measure("0.85 kW", "W"), Ok(850));
        // Pitfall C16: thickness rounds up.
        assert_eq!(parse_measure("3.2 slots", "slots"), Ok(4));
        assert_eq!(parse_measure("2.5-slot", "slots"), Ok(3));
        assert_eq!(parse_measure("3", "slots"), Ok(3));
        assert!(parse_measure("3-", "slots").is_err());
    }

    #[test]
    fn what_is_no_measure_says_why() {
        let fault = |text, unit| parse_measure(text, unit).unwrap_err().to_string();
        assert_eq!(fault("wide", "mm"), "\"wide\" is not a number with a unit");
        assert_eq!(
            fault("1.2.3 mm", "mm"),
            "\"1.2.3 mm\" is not a number with a unit"
        );
        assert_eq!(
            fault("5 W", "mm"),
            "\"5 W\" is not in mm or a unit of the same kind (mm, cm, m, in, inch, inches, \", \u{2033})"
        );
        assert!(fault("99999999999999999999 mm", "mm").contains("not a number"));
    }

    #[test]
    fn decimals_scale_exactly() {
        for (text, places, expected) in [
            ("12", 2, Some(1200)),
            ("12.5", 2, Some(1250)),
            ("12.500", 2, Some(1250)),
            ("12.505", 2, None),
            ("-0.01", 2, Some(-1)),
            ("1e3", 2, None),
            ("99999999999999999999", 0, None),
            ("1.", 2, None),
        ] {
            assert_eq!(scale_decimal(text, places), expected, "{text}");
        }
    }

    proptest::proptest! {
        #[test]
        fn no_text_panics(text in "\\PC{0,30}") {
            for unit in ["mm", "slots", "W", "cores"] {
                let _read = parse_measure(&text, unit);
            }
        }
    }
}
