//! What a cron expression allows, on the clock on the wall: no zone, no instant.

use super::ScheduleFault;
use chrono::{Datelike, NaiveDate, NaiveDateTime, NaiveTime, TimeDelta, Timelike};

/// The seconds, minutes, hours and days that an expression allows.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Fields {
    seconds: Numbers,
    minutes: Numbers,
    hours: Numbers,
    days: Numbers,
    months: Numbers,
    /// Sunday is 0.
    weekdays: Numbers,
    /// `None` allows every year.
    years: Option<Vec<u32>>,
    /// What a day has to be.
    day: DayIs,
}

/// How the two fields for days go together.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum DayIs {
    /// Both are restricted, and either one suffices (POSIX.1-2017, crontab(1p)).
    Either,
    /// One begins with `*`; it takes part with whatever it allows.
    Both,
}

/// Numbers below 64.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
struct Numbers(u64);

/// A field's name and the lowest and highest number in it.
struct Field(&'static str, u32, u32);

const SECOND: Field = Field("second", 0, 59);
const MINUTE: Field = Field("minute", 0, 59);
const HOUR: Field = Field("hour", 0, 23);
const DAY: Field = Field("day", 1, 31);
const MONTH: Field = Field("month", 1, 12);
const WEEKDAY: Field = Field("weekday", 0, 7);
const YEAR: Field = Field("year", 1970, 2199);

const WEEKDAYS: [&str; 7] = ["SUN", "MON", "TUE", "WED", "THU", "FRI", "SAT"];
const MONTHS: [&str; 12] = [
    "JAN", "FEB", "MAR", "APR", "MAY", "JUN", "JUL", "AUG", "SEP", "OCT", "NOV", "DEC",
];

/// How far ahead a day is looked for: to the last year that can be named, from the first.
const DAYS_AHEAD: usize = 366 * 230;

impl Fields {
    /// Reads five fields, six with seconds before them, or seven with years after those.
    ///
    /// # Errors
    /// [`ScheduleFault`] names the field.
    pub(super) fn parse(text: &str) -> Result<Fields, ScheduleFault> {
        let fields: Vec<&str> = text.split_ascii_whitespace().collect();
        let (second, [minute, hour, day, month, weekday], year) = match fields[..] {
            [minute, hour, day, month, weekday] => ("0", [minute, hour, day, month, weekday], None),
            [second, minute, hour, day, month, weekday] => {
                (second, [minute, hour, day, month, weekday], None)
            }
            [second, minute, hour, day, month, weekday, year] => {
                (second, [minute, hour, day, month, weekday], Some(year))
            }
            _ => return Err(ScheduleFault::Fields(fields.len())),
        };
        // Common practice, no source: `?` in a field for days leaves it open.
        let open = |text| if text == "?" { "*" } else { text };
        let (day, weekday) = (open(day), open(weekday));
        let years = year.filter(|year| *year != "*");
        Ok(Fields {
            seconds: Numbers::of(&expand(second, &SECOND)?),
            minutes: Numbers::of(&expand(minute, &MINUTE)?),
            hours: Numbers::of(&expand(hour, &HOUR)?),
            days: Numbers::of(&expand(day, &DAY)?),
            months: Numbers::of(&expand(month, &MONTH)?),
            weekdays: Numbers::of(&expand(weekday, &WEEKDAY)?),
            years: years.map(|years| expand(years, &YEAR)).transpose()?,
            day: match day.starts_with('*') || weekday.starts_with('*') {
                true => DayIs::Both,
                false => DayIs::Either,
            },
        })
    }

    /// Whether it allows all hours of the day, so that it tells a rhythm and no time of day.
    pub(super) fn allows_every_hour(&self) -> bool {
        (0..24).all(|hour| self.hours.has(hour))
    }

    /// The first time after `local` that it allows.
    pub(super) fn next_after(&self, local: NaiveDateTime) -> Option<NaiveDateTime> {
        let first = local.checked_add_signed(TimeDelta::seconds(1))?;
        let (mut from, start) = (first.time(), first.date());
        for day in start.iter_days().take(DAYS_AHEAD) {
            let time = self.allows_day(day).then(|| self.first_time(from));
            if let Some(time) = time.flatten() {
                return Some(day.and_time(time));
            }
            from = NaiveTime::MIN;
        }
        None
    }

    fn allows_day(&self, day: NaiveDate) -> bool {
        let of_month = self.days.has(day.day());
        let of_week = self.weekdays.has(day.weekday().num_days_from_sunday());
        let is_allowed = match self.day {
            DayIs::Either => of_month || of_week,
            DayIs::Both => of_month && of_week,
        };
        let year = u32::try_from(day.year()).ok();
        let years = self.years.as_ref();
        let is_its_year = years.is_none_or(|years| year.is_some_and(|year| years.contains(&year)));
        is_allowed && self.months.has(day.month()) && is_its_year
    }

    /// The first time of a day that is allowed, not before the second of `from`.
    fn first_time(&self, from: NaiveTime) -> Option<NaiveTime> {
        self.hours.from(from.hour()).find_map(|hour| {
            let is_first = hour == from.hour();
            let minute = if is_first { from.minute() } else { 0 };
            self.minutes.from(minute).find_map(|minute| {
                let is_first = is_first && minute == from.minute();
                let second = if is_first { from.second() } else { 0 };
                let second = self.seconds.from(second).next()?;
                NaiveTime::from_hms_opt(hour, minute, second)
            })
        })
    }
}

impl Numbers {
    fn of(numbers: &[u32]) -> Numbers {
        Numbers(numbers.iter().fold(0, |bits, number| bits | 1 << number))
    }

    fn has(self, number: u32) -> bool {
        self.0 >> number & 1 == 1
    }

    /// Its numbers from one on, rising.
    fn from(self, first: u32) -> impl Iterator<Item = u32> {
        (first..64).filter(move |number| self.has(*number))
    }
}

/// The numbers that a field allows, in rising order.
fn expand(text: &str, field: &Field) -> Result<Vec<u32>, ScheduleFault> {
    let Field(name, ..) = *field;
    let mut numbers = Vec::new();
    for piece in text.split(',') {
        let piece = expand_piece(piece, field).ok_or_else(|| ScheduleFault::Field {
            field: name,
            text: text.to_owned(),
        })?;
        numbers.extend(piece);
    }
    if name == WEEKDAY.0 {
        numbers.iter_mut().for_each(|number| *number %= 7);
    }
    numbers.sort_unstable();
    numbers.dedup();
    Ok(numbers)
}

/// One of a field's numbers, ranges or steps.
fn expand_piece(
    piece: &str,
    field: &Field,
) -> Option<std::iter::StepBy<std::ops::RangeInclusive<u32>>> {
    let Field(name, low, high) = *field;
    let (range, step) = match piece.split_once('/') {
        Some((range, step)) => (range, Some(number(step)?)),
        None => (piece, None),
    };
    let (first, last) = match range.split_once('-') {
        _ if range == "*" => (low, if name == WEEKDAY.0 { 6 } else { high }),
        Some((first, last)) => {
            let (first, last) = (value(first, name)?, value(last, name)?);
            // A week may end in its Sunday: Saturday to Sunday.
            let ends_in_sunday = name == WEEKDAY.0 && last == 0 && first > 0;
            (first, if ends_in_sunday { 7 } else { last })
        }
        None => {
            let only = value(range, name)?;
            (only, if step.is_some() { high } else { only })
        }
    };
    let is_sound = low <= first && first <= last && last <= high && step != Some(0);
    is_sound.then(|| (first..=last).step_by(step.unwrap_or(1) as usize))
}

fn value(text: &str, field: &str) -> Option<u32> {
    let position = |names: &[&str]| {
        let found = names
            .iter()
            .position(|name| name.eq_ignore_ascii_case(text));
        found.and_then(|at| u32::try_from(at).ok())
    };
    let named = match field {
        "weekday" => position(&WEEKDAYS),
        "month" => position(&MONTHS).map(|at| at + 1),
        _ => None,
    };
    named.or_else(|| number(text))
}

/// Digits alone: no sign.
fn number(text: &str) -> Option<u32> {
    let is_digits = text.bytes().all(|byte| byte.is_ascii_digit());
    is_digits.then(|| text.parse().ok()).flatten()
}
