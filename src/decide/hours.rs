//! When a channel may be spoken to: quiet hours and digests, in a named time zone.

use crate::catalogue::table::{At, Table};
use chrono::{DateTime, Datelike, Days, NaiveTime, TimeDelta, TimeZone, Utc, Weekday};
use chrono_tz::Tz;

/// When bulletins go out to a channel, or those of one thing that is asked for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Hours {
    pub zone: Tz,
    pub quiet: Option<Quiet>,
    pub digest: Option<Digest>,
}

/// A span of each day in which nothing goes out. It may go over midnight.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Quiet {
    pub from: NaiveTime,
    pub until: NaiveTime,
}

/// When what has come together goes out as one.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Digest {
    /// `None`: every day.
    pub day: Option<Weekday>,
    pub at: NaiveTime,
}

/// When a bulletin goes out.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct GoesOut {
    pub at: DateTime<Utc>,
    pub is_for_digest: bool,
}

impl Default for Hours {
    /// At once, always.
    fn default() -> Hours {
        Hours {
            zone: Tz::UTC,
            quiet: None,
            digest: None,
        }
    }
}

impl Hours {
    /// Takes `quiet`, `digest` and `timezone` out of a table; `None` where it has none of them.
    pub fn read(table: &mut Table<'_, '_>) -> Option<Hours> {
        let keys = ["quiet", "digest", "timezone"];
        let is_told = keys.iter().any(|key| table.has(key));
        let zone = table.text("timezone").and_then(|name| {
            let zone = name.value.parse().ok();
            if zone.is_none() {
                let message = format!("unknown time zone \"{}\"", name.value);
                let remedy = "write a name such as \"Europe/Berlin\"";
                table.document().fault(&name.span, message, remedy);
            }
            zone
        });
        let quiet = table.text("quiet");
        let quiet = quiet.and_then(|at| {
            let remedy = "write two times of day, such as \"22:00-07:00\"";
            read(table, &at, "span of quiet hours", remedy, read_quiet)
        });
        let digest = table.text("digest");
        let digest = digest.and_then(|at| {
            let remedy = "write \"daily 08:00\" or a weekday and a time, such as \"mon 08:00\"";
            read(table, &at, "time of a digest", remedy, read_digest)
        });
        is_told.then(|| Hours {
            zone: zone.unwrap_or(Tz::UTC),
            quiet,
            digest,
        })
    }

    /// When what is decided at an instant goes out.
    pub fn goes_out(&self, at: DateTime<Utc>) -> GoesOut {
        match self.digest {
            Some(digest) => GoesOut {
                at: self.next_digest(digest, at),
                is_for_digest: true,
            },
            None => GoesOut {
                at: self.after_quiet(at),
                is_for_digest: false,
            },
        }
    }

    fn next_digest(&self, digest: Digest, at: DateTime<Utc>) -> DateTime<Utc> {
        let today = at.with_timezone(&self.zone).date_naive();
        // A week and a day holds one of every weekday behind `at`.
        let days = (0..=8).filter_map(|ahead| today.checked_add_days(Days::new(ahead)));
        let mut days = days.filter(|day| digest.day.is_none_or(|asked| day.weekday() == asked));
        let next = days.find_map(|day| {
            let instant = self.instant(day.and_time(digest.at))?;
            (instant > at).then_some(instant)
        });
        next.unwrap_or(at)
    }

    fn after_quiet(&self, at: DateTime<Utc>) -> DateTime<Utc> {
        let Some(quiet) = self.quiet else { return at };
        let local = at.with_timezone(&self.zone).naive_local();
        let time = local.time();
        let goes_over_midnight = quiet.from > quiet.until;
        let is_quiet = match goes_over_midnight {
            true => time >= quiet.from || time < quiet.until,
            false => time >= quiet.from && time < quiet.until,
        };
        if !is_quiet {
            return at;
        }
        let ahead = u64::from(goes_over_midnight && time >= quiet.from);
        let day = local.date().checked_add_days(Days::new(ahead));
        let ends = day.and_then(|day| self.instant(day.and_time(quiet.until)));
        // Where the clock is set back the end may have passed already.
        ends.map_or(at, |ends| ends.max(at))
    }

    /// The instant of a local time: the first of two where the clock is set back, and that after the
    /// gap where it is set forward.
    fn instant(&self, local: chrono::NaiveDateTime) -> Option<DateTime<Utc>> {
        // No zone has set its clock forward by more than a day.
        let later = (0..=96).map(|quarters| local + TimeDelta::minutes(15 * quarters));
        let mut found = later.filter_map(|local| self.zone.from_local_datetime(&local).earliest());
        found.next().map(|instant| instant.with_timezone(&Utc))
    }
}

fn read<T>(
    table: &Table<'_, '_>,
    at: &At<String>,
    what: &str,
    remedy: &str,
    parse: fn(&str) -> Option<T>,
) -> Option<T> {
    let read = parse(&at.value);
    if read.is_none() {
        let message = format!("\"{}\" is no {what}", at.value);
        table.document().fault(&at.span, message, remedy);
    }
    read
}

fn read_time(text: &str) -> Option<NaiveTime> {
    NaiveTime::parse_from_str(text.trim(), "%H:%M").ok()
}

fn read_quiet(text: &str) -> Option<Quiet> {
    let (from, until) = text.split_once('-')?;
    let quiet = Quiet {
        from: read_time(from)?,
        until: read_time(until)?,
    };
    (quiet.from != quiet.until).then_some(quiet)
}

fn read_digest(text: &str) -> Option<Digest> {
    let (day, at) = text.trim().split_once(' ')?;
    let day = match day {
        "daily" => None,
        day => Some(day.parse::<Weekday>().ok()?),
    };
    Some(Digest {
        day,
        at: read_time(at)?,
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::decide::record::shown_instant;

    fn hours(quiet: Option<&str>, digest: Option<&str>) -> Hours {
        Hours {
            zone: chrono_tz::Europe::Berlin,
            quiet: quiet.and_then(read_quiet),
            digest: digest.and_then(read_digest),
        }
    }

    fn goes_out(hours: Hours, at: &str) -> String {
        let at: DateTime<Utc> = at.parse().unwrap();
        shown_instant(hours.goes_out(at).at)
    }

    #[test]
    fn what_is_decided_in_quiet_hours_waits_for_their_end() {
        let night = hours(Some("22:00-07:00"), None);
        // Berlin is an hour ahead of UTC in winter and two in summer (IANA tz database).
        for (at, out) in [
            ("2026-01-10T20:59:59Z", "2026-01-10T20:59:59Z"),
            ("2026-01-10T21:00:00Z", "2026-01-11T06:00:00Z"),
            ("2026-01-11T05:59:59Z", "2026-01-11T06:00:00Z"),
            ("2026-01-11T06:00:00Z", "2026-01-11T06:00:00Z"),
            ("2026-07-10T20:00:00Z", "2026-07-11T05:00:00Z"),
            // The clock goes from 02:00 to 03:00 in this night.
            ("2026-03-28T21:30:00Z", "2026-03-29T05:00:00Z"),
        ] {
            assert_eq!(goes_out(night, at), out, "{at}");
        }
        let noon = hours(Some("12:00-13:00"), None);
        assert_eq!(
            goes_out(noon, "2026-01-10T11:30:00Z"),
            "2026-01-10T12:00:00Z"
        );
        assert_eq!(
            goes_out(noon, "2026-01-10T12:00:00Z"),
            "2026-01-10T12:00:00Z"
        );
    }

    #[test]
    fn quiet_hours_that_end_in_the_hour_that_the_clock_skips_end_after_it() {
        let skipped = hours(Some("22:00-02:30"), None);
        // 2026-03-29 01:00 UTC: 02:00 becomes 03:00 (IANA tz database).
        assert_eq!(
            goes_out(skipped, "2026-03-29T00:00:00Z"),
            "2026-03-29T01:00:00Z"
        );
    }

    #[test]
    fn a_digest_goes_out_at_its_next_time() {
        let daily = hours(None, Some("daily 08:00"));
        assert_eq!(
            goes_out(daily, "2026-01-10T06:59:59Z"),
            "2026-01-10T07:00:00Z"
        );
        assert_eq!(
            goes_out(daily, "2026-01-10T07:00:00Z"),
            "2026-01-11T07:00:00Z"
        );
        // 2026-01-12 is a Monday.
        let weekly = hours(None, Some("mon 08:00"));
        assert_eq!(
            goes_out(weekly, "2026-01-10T12:00:00Z"),
            "2026-01-12T07:00:00Z"
        );
        assert_eq!(
            goes_out(weekly, "2026-01-12T07:00:00Z"),
            "2026-01-19T07:00:00Z"
        );
    }

    #[test]
    fn what_is_no_time_is_refused() {
        for text in ["22-7", "22:00", "25:00-07:00", "07:00-07:00"] {
            assert_eq!(read_quiet(text), None, "{text}");
        }
        for text in ["daily", "daily 24:00", "someday 08:00"] {
            assert_eq!(read_digest(text), None, "{text}");
        }
    }
}
