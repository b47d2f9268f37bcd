//! Instants of the past, as they are said on the command line.

use chrono::{DateTime, NaiveDate, NaiveTime, TimeDelta, Utc};

/// A moment of which the ledger is asked.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Past {
    /// The end of a day in UTC, or now while it goes on.
    Day(NaiveDate),
    At(DateTime<Utc>),
}

impl Past {
    /// Reads a date or an instant in the form of RFC 3339. An instant without fractions of a second
    /// stands for the end of that second, so that the instant that an answer shows leads back to it.
    ///
    /// # Errors
    /// A sentence that says what was expected.
    pub fn parse(text: &str) -> Result<Past, String> {
        if let Ok(day) = NaiveDate::parse_from_str(text, "%Y-%m-%d") {
            return Ok(Past::Day(day));
        }
        let instant = DateTime::parse_from_rfc3339(text)
            .map_err(|_| "write 2026-03-31 or 2026-03-31T18:30:00Z".to_owned())?;
        let instant = instant.with_timezone(&Utc);
        let is_whole = instant.timestamp_subsec_nanos() == 0;
        let rest = TimeDelta::milliseconds(if is_whole { 999 } else { 0 });
        let end = instant.checked_add_signed(rest);
        end.map(Past::At).ok_or_else(|| "no such year".to_owned())
    }

    /// The instant that is meant, where that is not after `now`.
    pub fn instant(self, now: DateTime<Utc>) -> Option<DateTime<Utc>> {
        match self {
            Past::Day(day) if day == now.date_naive() => Some(now),
            Past::Day(day) => {
                let next = day.succ_opt()?.and_time(NaiveTime::MIN).and_utc();
                Some(next - TimeDelta::milliseconds(1))
            }
            // The second that goes on is now.
            Past::At(at) if at.timestamp() == now.timestamp() => Some(at.min(now)),
            Past::At(at) => Some(at),
        }
        .filter(|at| *at <= now)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_day_means_its_end_and_a_second_its_end_and_nothing_lies_ahead() {
        let now: DateTime<Utc> = "2026-03-31T12:00:00.500Z".parse().unwrap();
        let read = |text: &str| {
            let at = Past::parse(text).unwrap().instant(now);
            at.map(|at| at.to_rfc3339_opts(chrono::SecondsFormat::Millis, true))
        };
        let is = |text: &str| Some(text.to_owned());
        assert_eq!(read("2026-03-30"), is("2026-03-30T23:59:59.999Z"));
        assert_eq!(read("2026-03-31"), is("2026-03-31T12:00:00.500Z"));
        assert_eq!(read("2026-04-01"), None);
        assert_eq!(
            read("2026-03-30T10:00:00+02:00"),
            is("2026-03-30T08:00:00.999Z")
        );
        assert_eq!(
            read("2026-03-30T10:00:00.25Z"),
            is("2026-03-30T10:00:00.250Z")
        );
        assert_eq!(read("2026-03-31T12:00:00Z"), is("2026-03-31T12:00:00.500Z"));
        assert_eq!(read("2026-03-31T12:00:01Z"), None);
        for wrong in ["yesterday", "2026-13-01", "2026-03-31 12:00", ""] {
            assert!(Past::parse(wrong).is_err(), "{wrong}");
        }
    }
}
