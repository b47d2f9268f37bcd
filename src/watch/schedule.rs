//! When a feed is due: cron expressions of five fields with their POSIX meaning.
//!
//! The `cron` crate counts weekdays from Sunday = 1, wants a seconds field and demands that both
//! day fields match. Expressions are translated, and where both day fields are restricted two
//! schedules stand for "either".

use chrono::{DateTime, Utc};
use chrono_tz::Tz;
use cron::Schedule as CronSchedule;
use std::str::FromStr;

/// When something is due, in a time zone.
#[derive(Debug, Clone)]
pub struct Schedule {
    any_of: Vec<CronSchedule>,
    zone: Tz,
}

/// Why a text is no schedule.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum ScheduleFault {
    #[error("expected five fields (minute hour day month weekday), found {0}")]
    Fields(usize),
    #[error("the {field} field cannot be read: \"{text}\"")]
    Field { field: &'static str, text: String },
    #[error("never comes due")]
    Never,
}

const FIELDS: [(&str, u32, u32); 5] = [
    ("minute", 0, 59),
    ("hour", 0, 23),
    ("day", 1, 31),
    ("month", 1, 12),
    ("weekday", 0, 7),
];
const WEEKDAYS: [&str; 7] = ["SUN", "MON", "TUE", "WED", "THU", "FRI", "SAT"];
const MONTHS: [&str; 12] = [
    "JAN", "FEB", "MAR", "APR", "MAY", "JUN", "JUL", "AUG", "SEP", "OCT", "NOV", "DEC",
];

impl Schedule {
    /// Reads an expression such as `*/15 * * * *` or `@hourly`.
    ///
    /// # Errors
    /// [`ScheduleFault`] names the field.
    pub fn parse(text: &str, zone: Tz) -> Result<Schedule, ScheduleFault> {
        let text = match text.trim() {
            "@hourly" => "0 * * * *",
            "@daily" | "@midnight" => "0 0 * * *",
            "@weekly" => "0 0 * * 0",
            "@monthly" => "0 0 1 * *",
            "@yearly" | "@annually" => "0 0 1 1 *",
            other => other,
        };
        let fields: Vec<&str> = text.split_ascii_whitespace().collect();
        let [minute, hour, day, month, weekday] = fields[..] else {
            return Err(ScheduleFault::Fields(fields.len()));
        };
        let read = |at: usize, text: &str| expand(text, FIELDS[at]);
        let (minutes, hours) = (read(0, minute)?, read(1, hour)?);
        let (days, months, weekdays) = (read(2, day)?, read(3, month)?, read(4, weekday)?);
        let days_of_week: Vec<&str> = weekdays
            .iter()
            .map(|number| WEEKDAYS[*number as usize % 7])
            .collect();
        // A day field that begins with `*` leaves the other one in charge.
        let (by_day, by_weekday) = (!day.starts_with('*'), !weekday.starts_with('*'));
        let expression = |days: &str, weekdays: &str| {
            format!(
                "0 {} {} {days} {} {weekdays}",
                list(&minutes),
                list(&hours),
                list(&months)
            )
        };
        let (days, weekdays) = (list(&days), days_of_week.join(","));
        let expressions = match (by_day, by_weekday) {
            (true, true) => vec![expression(&days, "*"), expression("*", &weekdays)],
            _ => vec![expression(&days, &weekdays)],
        };
        let any_of: Option<Vec<CronSchedule>> = expressions
            .iter()
            .map(|text| CronSchedule::from_str(text).ok())
            .collect();
        let whole = ScheduleFault::Field {
            field: "whole",
            text: text.to_owned(),
        };
        let schedule = Schedule {
            any_of: any_of.ok_or(whole)?,
            zone,
        };
        // The 30th of February never comes. Eight years hold every 29th.
        match schedule.next_after(DateTime::UNIX_EPOCH) {
            Some(_) => Ok(schedule),
            None => Err(ScheduleFault::Never),
        }
    }

    /// The first instant after `instant` when it is due.
    pub fn next_after(&self, instant: DateTime<Utc>) -> Option<DateTime<Utc>> {
        let local = instant.with_timezone(&self.zone);
        let next = self
            .any_of
            .iter()
            .filter_map(|schedule| schedule.after(&local).next());
        next.map(|due| due.with_timezone(&Utc)).min()
    }
}

fn list(numbers: &[u32]) -> String {
    let texts: Vec<String> = numbers.iter().map(u32::to_string).collect();
    texts.join(",")
}

/// The numbers that a field allows, in rising order.
fn expand(
    text: &str,
    (field, low, high): (&'static str, u32, u32),
) -> Result<Vec<u32>, ScheduleFault> {
    let fault = || ScheduleFault::Field {
        field,
        text: text.to_owned(),
    };
    let mut numbers = Vec::new();
    for piece in text.split(',') {
        let (range, step) = match piece.split_once('/') {
            Some((range, step)) => (range, step.parse::<u32>().map_err(|_| fault())?),
            None => (piece, 1),
        };
        let (first, last) = match range.split_once('-') {
            _ if range == "*" => (low, if field == "weekday" { 6 } else { high }),
            Some((first, last)) => (
                value(first, field).ok_or_else(fault)?,
                value(last, field).ok_or_else(fault)?,
            ),
            None => {
                let only = value(range, field).ok_or_else(fault)?;
                (only, if piece.contains('/') { high } else { only })
            }
        };
        if step == 0 || first < low || last > high || first > last {
            return Err(fault());
        }
        numbers.extend((first..=last).step_by(step as usize));
    }
    if field == "weekday" {
        numbers.iter_mut().for_each(|number| *number %= 7);
    }
    numbers.sort_unstable();
    numbers.dedup();
    Ok(numbers)
}

fn value(text: &str, field: &str) -> Option<u32> {
    let position = |names: &[&str]| {
        names
            .iter()
            .position(|name| name.eq_ignore_ascii_case(text))
    };
    match field {
        "weekday" => position(&WEEKDAYS).map(|at| at as u32),
        "month" => position(&MONTHS).map(|at| at as u32 + 1),
        _ => None,
    }
    .or_else(|| text.parse().ok())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn check(expression: &str, after: &str, expected: &str) {
        let schedule = Schedule::parse(expression, Tz::UTC).unwrap();
        let after = DateTime::parse_from_rfc3339(after)
            .unwrap()
            .with_timezone(&Utc);
        let next = schedule.next_after(after).unwrap();
        assert_eq!(next.to_rfc3339(), expected, "{expression}");
    }

    #[test]
    fn weekdays_and_day_fields_mean_what_posix_says() {
        // POSIX.1-2017 crontab(1p); pitfall D03. 2026-01-01 is a Thursday.
        check(
            "*/15 * * * *",
            "2026-01-01T00:00:00Z",
            "2026-01-01T00:15:00+00:00",
        );
        check(
            "0 7 * * 1-5",
            "2026-01-02T08:00:00Z",
            "2026-01-05T07:00:00+00:00",
        );
        check(
            "0 0 * * 0",
            "2026-01-01T00:00:00Z",
            "2026-01-04T00:00:00+00:00",
        );
        check(
            "0 0 * * 7",
            "2026-01-01T00:00:00Z",
            "2026-01-04T00:00:00+00:00",
        );
        check(
            "30 4 1,15 * 5",
            "2026-01-01T05:00:00Z",
            "2026-01-02T04:30:00+00:00",
        );
        check(
            "30 4 1,15 * 5",
            "2026-01-10T00:00:00Z",
            "2026-01-15T04:30:00+00:00",
        );
        check(
            "0 0 29 2 *",
            "2026-01-01T00:00:00Z",
            "2028-02-29T00:00:00+00:00",
        );
        check(
            "5 0 * jan,feb *",
            "2026-02-28T12:00:00Z",
            "2027-01-01T00:05:00+00:00",
        );
    }

    #[test]
    fn what_is_no_expression_is_refused_by_field() {
        for text in [
            "* * * *",
            "60 * * * *",
            "* 24 * * *",
            "* * 0 * *",
            "* * 32 * *",
            "* * * 13 *",
            "* * * * 8",
            "*/0 * * * *",
            "1,,2 * * * *",
            "a * * * *",
            "5-1 * * * *",
            "",
            "0 0 30 2 *",
        ] {
            assert!(Schedule::parse(text, Tz::UTC).is_err(), "{text}");
        }
    }
}
