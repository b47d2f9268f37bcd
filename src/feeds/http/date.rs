//! HTTP dates, RFC 9110 section 5.6.7.

use chrono::{DateTime, Datelike, NaiveDate, NaiveTime, Utc};

/// Reads an HTTP date in any of the three forms; `None` when it is none of them.
///
/// `now` settles the century of the obsolete form with a two-digit year. The day of the week is
/// not compared with the date: a wrong one changes nothing about the instant.
pub fn parse_http_date(text: &str, now: DateTime<Utc>) -> Option<DateTime<Utc>> {
    let words: Vec<&str> = text.split_ascii_whitespace().collect();
    let (day, month, year, time) = match words.as_slice() {
        // Sun, 06 Nov 1994 08:49:37 GMT
        [weekday, day, month, year, time, "GMT"]
            if is_weekday(weekday.strip_suffix(',')?, 3..4) =>
        {
            (digits(day, 2)?, *month, digits(year, 4)?, time)
        }
        // Sunday, 06-Nov-94 08:49:37 GMT
        [weekday, date, time, "GMT"] if is_weekday(weekday.strip_suffix(',')?, 6..10) => {
            let mut parts = date.splitn(3, '-');
            let (day, month) = (digits(parts.next()?, 2)?, parts.next()?);
            let year = digits(parts.next()?, 2)?;
            (day, month, full_year(year, now), time)
        }
        // Sun Nov  6 08:49:37 1994
        [weekday, month, day, time, year] if is_weekday(weekday, 3..4) => {
            let day = digits(day, 2).or_else(|| digits(day, 1))?;
            (day, *month, digits(year, 4)?, time)
        }
        _ => return None,
    };
    let month = MONTHS.iter().position(|name| *name == month)? as u32 + 1;
    let date = NaiveDate::from_ymd_opt(year.cast_signed(), month, day)?;
    Some(date.and_time(parse_time(time)?).and_utc())
}

const MONTHS: [&str; 12] = [
    "Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec",
];

const WEEKDAYS: [&str; 7] = [
    "Monday",
    "Tuesday",
    "Wednesday",
    "Thursday",
    "Friday",
    "Saturday",
    "Sunday",
];

fn is_weekday(word: &str, lengths: std::ops::Range<usize>) -> bool {
    lengths.contains(&word.len())
        && WEEKDAYS
            .iter()
            .any(|name| *name == word || (word.len() == 3 && name.starts_with(word)))
}

fn digits(text: &str, count: usize) -> Option<u32> {
    let plain = text.len() == count && text.bytes().all(|byte| byte.is_ascii_digit());
    plain.then(|| text.parse().ok()).flatten()
}

/// A two-digit year that would be more than 50 years ahead means the past century.
fn full_year(year: u32, now: DateTime<Utc>) -> u32 {
    let this_year = now.year().unsigned_abs();
    let candidate = this_year - this_year % 100 + year;
    if candidate > this_year + 50 {
        return candidate - 100;
    }
    candidate
}

fn parse_time(text: &str) -> Option<NaiveTime> {
    let parts: Vec<u32> = text
        .split(':')
        .map(|part| digits(part, 2))
        .collect::<Option<_>>()?;
    let [hour, minute, second] = parts.as_slice() else {
        return None;
    };
    // The grammar allows a leap second; the clock that is compared with has none.
    let second = if *second == 60 { 59 } else { *second };
    NaiveTime::from_hms_opt(*hour, *minute, second)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn now() -> DateTime<Utc> {
        "2026-06-15T12:00:00Z".parse().unwrap()
    }

    // RFC 9110 5.6.7: the three forms of one instant, the rule of 50 years, the leap second.
    #[test]
    fn the_three_forms_are_read() {
        for (text, epoch) in [
            ("Sun, 06 Nov 1994 08:49:37 GMT", Some(784_111_777)),
            ("Sunday, 06-Nov-94 08:49:37 GMT", Some(784_111_777)),
            ("Sun Nov  6 08:49:37 1994", Some(784_111_777)),
            ("Thursday, 01-Jan-70 00:00:00 GMT", Some(3_155_760_000)),
            ("Friday, 01-Jan-77 00:00:00 GMT", Some(220_924_800)),
            ("Sun, 06 Nov 1994 08:49:60 GMT", Some(784_111_799)),
            ("Mon, 15 Jun 2026 14:05:00 +0200", None),
            ("Sun, 31 Feb 2026 08:49:37 GMT", None),
            ("Sun, 6 Nov 1994 08:49:37 GMT", None),
            ("Sun, 06 Nov 1994 25:49:37 GMT", None),
            ("soon", None),
            ("", None),
        ] {
            let read = parse_http_date(text, now()).map(|date| date.timestamp());
            assert_eq!(read, epoch, "{text}");
        }
    }
}
