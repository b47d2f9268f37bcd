//! Reads the dates of feeds: instants with a zone, days, and intervals of them.

use crate::market::raw::{Field, RawOffer};
use chrono::{DateTime, Days, NaiveDate, NaiveDateTime, Utc};

/// Whether a sale price holds now.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) enum InForce {
    Yes,
    No,
    /// The text of the date that cannot be read.
    Unread(String),
}

/// Which end of a day a date without time stands for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum DayEdge {
    Start,
    /// The first instant after the day.
    End,
}

/// True of a record that reads the same at any instant.
pub fn is_timeless(raw: &RawOffer) -> bool {
    let dates = [Field::SaleFrom, Field::SaleUntil, Field::ValidUntil];
    dates.iter().all(|field| raw.first(*field).is_none())
}

/// The last instant at which the offer's price holds, as far as it says.
///
/// A past date is noted and nothing more: templates carry fixed dates.
pub(super) fn valid_until(
    raw: &RawOffer,
    now: DateTime<Utc>,
    notes: &mut Vec<String>,
) -> Option<DateTime<Utc>> {
    let text = raw.first(Field::ValidUntil)?.text.trim();
    let Some(until) = read_instant(text, DayEdge::End) else {
        notes.push(format!("valid_until: \"{text}\" is no date"));
        return None;
    };
    if until <= now {
        notes.push(format!("validity date past: {text}"));
    }
    Some(until)
}

/// The instant from which the retailer has it to send, as far as it says.
pub(super) fn available_from(raw: &RawOffer, notes: &mut Vec<String>) -> Option<DateTime<Utc>> {
    let text = raw.first(Field::AvailableFrom)?.text.trim();
    let from = read_instant(text, DayEdge::Start);
    if from.is_none() {
        notes.push(format!("available_from: \"{text}\" is no date"));
    }
    from
}

/// Whether `now` lies between the sale's dates. A missing date leaves that side open.
pub(super) fn sale_in_force(raw: &RawOffer, now: DateTime<Utc>) -> InForce {
    let text = |field: Field| raw.first(field).map(|value| value.text.trim());
    let from = text(Field::SaleFrom).map(|from| from.split_once('/').map_or((from, None), split));
    let until =
        text(Field::SaleUntil).map(|until| until.rsplit_once('/').map_or(until, |(_, end)| end));
    let (from, until) = match (from, until) {
        (Some((from, inner)), until) => (Some(from), until.or(inner)),
        (None, until) => (None, until),
    };
    let mut in_force = true;
    for (bound, edge) in [(from, DayEdge::Start), (until, DayEdge::End)] {
        let Some(bound) = bound.map(str::trim).filter(|bound| !bound.is_empty()) else {
            continue;
        };
        let Some(instant) = read_instant(bound, edge) else {
            return InForce::Unread(bound.to_owned());
        };
        in_force &= match edge {
            DayEdge::Start => instant <= now,
            DayEdge::End => now < instant,
        };
    }
    if in_force { InForce::Yes } else { InForce::No }
}

fn split<'a>((from, until): (&'a str, &'a str)) -> (&'a str, Option<&'a str>) {
    (from, Some(until))
}

/// Reads RFC 3339, the looser ISO 8601 forms that feeds use, and plain days.
///
/// A time without a zone is taken as UTC.
fn read_instant(text: &str, edge: DayEdge) -> Option<DateTime<Utc>> {
    const WITH_ZONE: &[&str] = &[
        "%Y-%m-%dT%H:%M:%S%.f%#z",
        "%Y-%m-%dT%H:%M%#z",
        "%Y-%m-%d %H:%M:%S%.f%#z",
        "%Y-%m-%d %H:%M:%S %#z",
        "%Y-%m-%d %H:%M %#z",
    ];
    const WITHOUT_ZONE: &[&str] = &[
        "%Y-%m-%dT%H:%M:%S%.f",
        "%Y-%m-%dT%H:%M",
        "%Y-%m-%d %H:%M:%S%.f",
        "%Y-%m-%d %H:%M",
    ];
    const DAYS: &[&str] = &["%Y-%m-%d", "%Y%m%d", "%Y/%m/%d", "%d.%m.%Y"];
    let text = text.trim();
    if let Ok(instant) = DateTime::parse_from_rfc3339(text) {
        return Some(instant.to_utc());
    }
    let zoned = WITH_ZONE
        .iter()
        .find_map(|form| DateTime::parse_from_str(text, form).ok());
    if let Some(instant) = zoned {
        return Some(instant.to_utc());
    }
    let plain = WITHOUT_ZONE
        .iter()
        .find_map(|form| NaiveDateTime::parse_from_str(text, form).ok());
    if let Some(instant) = plain {
        return Some(instant.and_utc());
    }
    let day = DAYS
        .iter()
        .find_map(|form| NaiveDate::parse_from_str(text, form).ok())?;
    let day = match edge {
        DayEdge::Start => day,
        DayEdge::End => day.checked_add_days(Days::new(1))?,
    };
    Some(day.and_hms_opt(0, 0, 0)?.and_utc())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::market::RawText;

    fn at(text: &str) -> DateTime<Utc> {
        DateTime::parse_from_rfc3339(text).unwrap().to_utc()
    }

    #[test]
    fn a_sale_holds_from_its_first_to_its_last_instant() {
        // F25: a range with a time-zone offset.
        let range = "2026-06-01T00:00+0200/2026-06-15T23:59+0200";
        for (from, until, now, expected) in [
            (range, "", "2026-05-31T21:59:59Z", InForce::No),
            (range, "", "2026-05-31T22:00:00Z", InForce::Yes),
            (range, "", "2026-06-15T21:58:59Z", InForce::Yes),
            (range, "", "2026-06-15T21:59:00Z", InForce::No),
            (
                "2026-06-01",
                "2026-06-02",
                "2026-06-02T23:59:59Z",
                InForce::Yes,
            ),
            (
                "2026-06-01",
                "2026-06-02",
                "2026-06-03T00:00:00Z",
                InForce::No,
            ),
            ("", "", "2026-06-03T00:00:00Z", InForce::Yes),
            (
                "soon",
                "",
                "2026-06-03T00:00:00Z",
                InForce::Unread("soon".to_owned()),
            ),
        ] {
            let mut raw = RawOffer::default();
            raw.push(Field::SaleFrom, RawText::person(from));
            raw.push(Field::SaleUntil, RawText::person(until));
            assert_eq!(
                sale_in_force(&raw, at(now)),
                expected,
                "{from} {until} {now}"
            );
        }
    }

    #[test]
    fn dates_of_feeds_are_read_in_their_forms() {
        for (text, expected) in [
            ("2026-06-01T10:00:00Z", "2026-06-01T10:00:00Z"),
            ("2026-06-01T10:00:00.5+02:00", "2026-06-01T08:00:00.5Z"),
            ("2026-06-01T10:00-0500", "2026-06-01T15:00:00Z"),
            ("2026-06-01 10:00:00", "2026-06-01T10:00:00Z"),
            ("01.06.2026", "2026-06-01T00:00:00Z"),
        ] {
            assert_eq!(
                read_instant(text, DayEdge::Start),
                Some(at(expected)),
                "{text}"
            );
        }
        for text in [
            "",
            "2026-13-01",
            "tomorrow",
            "1/2/2026",
            "2026-06-01T25:00Z",
        ] {
            assert_eq!(read_instant(text, DayEdge::Start), None, "{text}");
        }
    }
}
