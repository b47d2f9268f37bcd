//! When something is due: cron expressions in a time zone, with their POSIX meaning.
//!
//! Five fields (minute, hour, day, month, weekday), six with seconds before them, seven with years
//! after those; `@hourly` and its like. Weekdays count from Sunday = 0 = 7 however many fields there
//! are. Where both fields for days are restricted, either suffices; one that begins with `*` takes
//! part with whatever it allows, as in crontab(5).
//!
//! **When clocks change.** An expression that allows every hour tells a rhythm and keeps it in real
//! time: it runs in both of two hours with one name, and makes up for none that was skipped. Any
//! other tells times of the day, and each of them is due once: right after the gap if the clock
//! skipped it, at its first coming if the clock showed it twice.

mod fields;
#[cfg(test)]
mod tests;

use chrono::offset::LocalResult;
use chrono::{DateTime, NaiveDateTime, Offset, TimeDelta, TimeZone, Utc};
use chrono_tz::Tz;
use fields::Fields;

/// When something is due, in a time zone.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Schedule {
    text: String,
    fields: Fields,
    zone: Tz,
}

/// Why a text is no schedule.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum ScheduleFault {
    #[error(
        "expected 5 fields (minute hour day month weekday), 6 with seconds or 7 with years, found {0}"
    )]
    Fields(usize),
    #[error("the {field} field cannot be read: \"{text}\"")]
    Field { field: &'static str, text: String },
    #[error("\"{0}\" is none of the short names @hourly, @daily, @weekly, @monthly, @yearly")]
    Name(String),
    #[error("never comes due")]
    Never,
}

const NAMES: [(&str, &str); 7] = [
    ("@hourly", "0 * * * *"),
    ("@daily", "0 0 * * *"),
    ("@midnight", "0 0 * * *"),
    ("@weekly", "0 0 * * 0"),
    ("@monthly", "0 0 1 * *"),
    ("@yearly", "0 0 1 1 *"),
    ("@annually", "0 0 1 1 *"),
];

impl Schedule {
    /// Reads an expression such as `*/15 * * * *` or `@hourly`.
    ///
    /// # Errors
    /// [`ScheduleFault`] names the field.
    pub fn parse(text: &str, zone: Tz) -> Result<Schedule, ScheduleFault> {
        let text = text.trim();
        let named = NAMES.iter().find(|(name, _)| *name == text);
        let fields = match named {
            Some((_, meant)) => Fields::parse(meant)?,
            None if text.starts_with('@') => return Err(ScheduleFault::Name(text.to_owned())),
            None => Fields::parse(text)?,
        };
        // The 30th of February never comes.
        match fields.next_after(DateTime::UNIX_EPOCH.naive_utc()) {
            None => Err(ScheduleFault::Never),
            Some(_) => Ok(Schedule {
                text: text.to_owned(),
                fields,
                zone,
            }),
        }
    }

    /// The expression as it was written.
    pub fn text(&self) -> &str {
        &self.text
    }

    pub fn zone(&self) -> Tz {
        self.zone
    }

    /// The first instant after `instant` when it is due; none when its years are over.
    pub fn next_after(&self, instant: DateTime<Utc>) -> Option<DateTime<Utc>> {
        let is_rhythm = self.fields.allows_every_hour();
        let (mut since, mut offset) = (instant, self.offset(instant));
        let mut local = instant.naive_utc() + offset;
        loop {
            let wanted = self.fields.next_after(local)?;
            // What the clock would show if it were not changed meanwhile.
            let due = wanted.checked_sub_signed(offset)?.and_utc();
            let Some(changed) = self.first_change(since, due) else {
                if is_rhythm || !self.is_second_coming(wanted, due) {
                    return Some(due);
                }
                local = wanted;
                continue;
            };
            let shown = changed.naive_utc() + self.offset(changed);
            if wanted < shown && !is_rhythm {
                return Some(changed);
            }
            (since, offset) = (changed, self.offset(changed));
            // What the clock shows right after the change is not ruled out.
            local = shown - TimeDelta::seconds(1);
        }
    }

    fn offset(&self, at: DateTime<Utc>) -> TimeDelta {
        let offset = self.zone.offset_from_utc_datetime(&at.naive_utc()).fix();
        TimeDelta::seconds(i64::from(offset.local_minus_utc()))
    }

    /// The first second after `since` and not after `until` when the zone's offset is another.
    fn first_change(&self, since: DateTime<Utc>, until: DateTime<Utc>) -> Option<DateTime<Utc>> {
        let offset = self.offset(since);
        let mut before = since;
        while before < until {
            let after = until.min(before.checked_add_signed(TimeDelta::days(1))?);
            if self.offset(after) != offset {
                return self.change_between(before, after);
            }
            before = after;
        }
        None
    }

    /// When the offset changes, which it does between the two.
    fn change_between(&self, before: DateTime<Utc>, after: DateTime<Utc>) -> Option<DateTime<Utc>> {
        let offset = self.offset(before);
        let (mut before, mut after) = (before.timestamp(), after.timestamp());
        while after - before > 1 {
            let middle = before + (after - before) / 2;
            match self.offset(DateTime::from_timestamp(middle, 0)?) == offset {
                true => before = middle,
                false => after = middle,
            }
        }
        DateTime::from_timestamp(after, 0)
    }

    /// Whether the clock shows `local` at two instants, and `at` is the later one.
    fn is_second_coming(&self, local: NaiveDateTime, at: DateTime<Utc>) -> bool {
        match self.zone.from_local_datetime(&local) {
            LocalResult::Ambiguous(first, second) => first < second && second == at,
            LocalResult::Single(_) | LocalResult::None => false,
        }
    }
}
