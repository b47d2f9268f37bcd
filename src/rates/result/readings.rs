//! What is read off beside a value while a build runs: temperature, power at the wall, clock, voltage.

use crate::catalogue::scale_decimal;

/// One thing that can be read off.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Reading {
    /// Of the hottest part, unless the note names another.
    Temperature,
    /// Of the whole build, at the wall.
    Wall,
    /// Of the part that the note names.
    Clock,
    Voltage,
}

/// Each with its value in thousandths of its unit, where it was read.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Readings([Option<i64>; Reading::ALL.len()]);

impl Reading {
    pub const ALL: [Reading; 4] = [
        Reading::Temperature,
        Reading::Wall,
        Reading::Clock,
        Reading::Voltage,
    ];

    /// Its column, which names its unit.
    pub const fn column(self) -> &'static str {
        match self {
            Reading::Temperature => "temperature_c",
            Reading::Wall => "wall_w",
            Reading::Clock => "clock_mhz",
            Reading::Voltage => "voltage_v",
        }
    }

    /// Its unit, as it is shown behind the value.
    pub fn unit(self) -> &'static str {
        match self {
            Reading::Temperature => "°C",
            Reading::Wall => "W at the wall",
            Reading::Clock => "MHz",
            Reading::Voltage => "V",
        }
    }

    /// What a desktop PC can show at all, in thousandths (common practice, no source).
    fn bounds(self) -> (i64, i64) {
        match self {
            Reading::Temperature => (-20_000, 150_000),
            Reading::Wall => (1_000, 5_000_000),
            Reading::Clock => (1_000, 20_000_000),
            Reading::Voltage => (100, 20_000),
        }
    }

    /// A value in thousandths, or what to write instead.
    pub(super) fn parse(self, text: &str) -> Result<Option<i64>, (String, String)> {
        let text = text.trim();
        if text.is_empty() {
            return Ok(None);
        }
        let (least, most) = self.bounds();
        let value = scale_decimal(text, 3).filter(|value| (least..=most).contains(value));
        value.map(Some).ok_or_else(|| {
            let unit = self.unit();
            (
                format!("\"{text}\" is no number of {unit} that a PC shows"),
                format!(
                    "write digits with a point, from {} to {}, without the unit",
                    decimal(least),
                    decimal(most)
                ),
            )
        })
    }
}

impl Readings {
    /// The value in its unit.
    pub fn get(&self, reading: Reading) -> Option<f64> {
        self.0[reading as usize].map(|value| value as f64 / 1e3)
    }

    /// The value as it is written; nothing where it was not read.
    pub fn decimal(&self, reading: Reading) -> String {
        self.0[reading as usize].map_or(String::new(), decimal)
    }

    /// All that was read, with units.
    pub fn words(&self) -> String {
        let all = Reading::ALL.into_iter();
        let read = all.filter(|one| self.0[*one as usize].is_some());
        let words = read.map(|one| format!("{} {}", self.decimal(one), one.unit()));
        words.collect::<Vec<_>>().join(", ")
    }

    pub(super) fn set(&mut self, reading: Reading, value: Option<i64>) {
        self.0[reading as usize] = value;
    }
}

/// Thousandths as people write them.
fn decimal(thousandths: i64) -> String {
    let sign = if thousandths < 0 { "-" } else { "" };
    let (whole, rest) = (thousandths.abs() / 1_000, thousandths.abs() % 1_000);
    match rest {
        0 => format!("{sign}{whole}"),
        rest => format!("{sign}{whole}.{rest:03}")
            .trim_end_matches('0')
            .to_owned(),
    }
}
