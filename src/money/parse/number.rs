//! Reads the digits and marks of one number: which mark groups, which begins the decimals.
//!
//! The shape of the number decides where it can. Only a lone dot or comma before exactly three
//! digits can be either; then the origin, the currency's decimals or the locale settle it, and
//! otherwise both readings come back.

use super::decimal::Decimal;
use super::fold::{ARABIC_DECIMAL, ARABIC_GROUP};
use super::marks::NumberMarks;
use super::token::NumberText;

/// What is known about how the number was written.
#[derive(Debug, Clone, Copy)]
pub(super) struct Manner {
    pub marks: Option<NumberMarks>,
    /// Decimals of the currency.
    pub exponent: u32,
    /// Written by a program: a lone dot is the decimal mark.
    pub machine: bool,
}

/// Why a number was not read.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) enum Unread {
    Malformed,
    TooLarge,
    /// As a grouped whole number, and as a number with decimals.
    Either(Decimal, Decimal),
}

/// Reads a number.
pub(super) fn read(number: &NumberText, manner: Manner) -> Result<Decimal, Unread> {
    let text = number.text.as_str();
    if number.dash_ending {
        return read_grouped(text).ok_or(Unread::Malformed)?;
    }
    let is_mark = |c: char| !c.is_ascii_digit();
    let Some(last) = text.rfind(is_mark) else {
        return decimal(text, "");
    };
    let mark = text[last..].chars().next().unwrap_or(' ');
    let (before, after) = (&text[..last], &text[last + mark.len_utf8()..]);
    let alone = !before.contains(is_mark);
    match mark {
        ' ' | '\'' | ARABIC_GROUP => read_grouped(text).ok_or(Unread::Malformed)?,
        _ if alone && mark != ARABIC_DECIMAL => read_lone_mark(before, mark, after, manner),
        _ if before.contains(mark) => read_grouped(text).ok_or(Unread::Malformed)?,
        _ => {
            let whole = ungrouped(before).ok_or(Unread::Malformed)?;
            decimal(&whole, after)
        }
    }
}

/// A number with one dot or comma in all.
fn read_lone_mark(
    before: &str,
    mark: char,
    after: &str,
    manner: Manner,
) -> Result<Decimal, Unread> {
    let with_decimals = decimal(before, after)?;
    let groups = after.len() == 3 && (1..=3).contains(&before.len()) && !before.starts_with('0');
    if !groups {
        return Ok(with_decimals);
    }
    let grouped = decimal(&format!("{before}{after}"), "")?;
    let either = Unread::Either(grouped, with_decimals);
    if manner.machine && mark == '.' {
        // Programs that write three decimals write zeros there, except where the currency has
        // three; `1.299` from a program is a person's thousands in the wrong place.
        let plain = manner.exponent >= 1 && with_decimals.to_minor(manner.exponent).is_some();
        return if plain {
            Ok(with_decimals)
        } else {
            Err(either)
        };
    }
    let by_locale = |marks: NumberMarks| {
        if marks.group() == Some(mark) {
            Some(grouped)
        } else if marks.decimal() == mark && manner.exponent >= 3 {
            Some(with_decimals)
        } else {
            None
        }
    };
    match manner.marks {
        Some(marks) => by_locale(marks).ok_or(either),
        None if manner.exponent == 0 => Ok(grouped),
        None => Err(either),
    }
}

fn read_grouped(text: &str) -> Option<Result<Decimal, Unread>> {
    ungrouped(text).map(|digits| decimal(&digits, ""))
}

/// The digits of a whole number whose groups are well formed; `None` otherwise.
///
/// Groups have three digits, the first one to three. With commas the Indian way is read too: the
/// last group has three digits, those before it two.
fn ungrouped(text: &str) -> Option<String> {
    let is_mark = |c: char| !c.is_ascii_digit();
    let Some(mark) = text.chars().find(|c| is_mark(*c)) else {
        return Some(text.to_owned());
    };
    if mark == ARABIC_DECIMAL {
        return None;
    }
    let groups: Vec<&str> = text.split(mark).collect();
    if groups.iter().any(|group| group.contains(is_mark)) {
        return None;
    }
    let (first, rest) = groups.split_first()?;
    let (last, middle) = rest.split_last()?;
    let by_thousands = (1..=3).contains(&first.len()) && rest.iter().all(|g| g.len() == 3);
    let indian = matches!(mark, ',' | ARABIC_GROUP)
        && (1..=2).contains(&first.len())
        && last.len() == 3
        && middle.iter().all(|group| group.len() == 2);
    (by_thousands || indian).then(|| groups.concat())
}

fn decimal(whole: &str, fraction: &str) -> Result<Decimal, Unread> {
    Decimal::from_digits(whole, fraction).ok_or(Unread::TooLarge)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn read_text(text: &str, locale: Option<&str>, exponent: u32, machine: bool) -> String {
        let number = NumberText {
            text: text.to_owned(),
            ..NumberText::default()
        };
        let manner = Manner {
            marks: locale.and_then(NumberMarks::of_locale),
            exponent,
            machine,
        };
        match read(&number, manner) {
            Ok(decimal) => decimal.to_string(),
            Err(Unread::Either(grouped, decimals)) => format!("{grouped} or {decimals}"),
            Err(other) => format!("{other:?}"),
        }
    }

    #[test]
    fn the_shape_of_a_number_decides_where_it_can() {
        for (text, expected) in [
            ("1.299,00", "1299.00"),
            ("1,299.00", "1299.00"),
            ("1 299,00", "1299.00"),
            ("1'299.00", "1299.00"),
            ("1,49,999.00", "149999.00"),
            ("1.234.567", "1234567"),
            ("1299,00", "1299.00"),
            ("12,5", "12.5"),
            ("0.999", "0.999"),
            ("1234.567", "1234.567"),
            ("1\u{66c}299\u{66b}00", "1299.00"),
            (".99", "0.99"),
            ("12.99.00", "Malformed"),
            ("1,2,3", "Malformed"),
            ("12..5", "Malformed"),
            ("1.23.456", "Malformed"),
            ("1.234 567", "Malformed"),
            ("12,34.56", "Malformed"),
            ("1234,567.89", "Malformed"),
            ("12'99", "Malformed"),
            ("1234567890123456789", "TooLarge"),
        ] {
            assert_eq!(read_text(text, None, 2, false), expected, "{text}");
        }
    }

    #[test]
    fn a_lone_mark_before_three_digits_needs_settling() {
        let both = "1299 or 1.299";
        for (text, locale, exponent, machine, expected) in [
            ("1.299", None, 2, false, both),
            ("1.299", Some("de"), 2, false, "1299"),
            ("1.299", Some("en"), 2, false, both),
            ("1,299", Some("en"), 2, false, "1299"),
            ("1,299", Some("de"), 2, false, both),
            ("1.299", Some("fr"), 2, false, both),
            ("1.299", None, 0, false, "1299"),
            ("1.299", None, 3, false, both),
            ("1,299", Some("de"), 3, false, "1.299"),
            ("499.000", Some("de"), 2, false, "499000"),
            ("499.000", Some("de"), 2, true, "499.000"),
            ("1.299", Some("de"), 2, true, both),
            ("1,299", None, 2, true, both),
            ("19.500", None, 3, true, "19.500"),
            ("19.000", None, 0, true, "19000 or 19.000"),
        ] {
            let found = read_text(text, locale, exponent, machine);
            assert_eq!(found, expected, "{text} {locale:?} {exponent} {machine}");
        }
    }
}
