//! What a part of the demo is: its identity, its specs and what it allows.

use super::details::details;
use std::fmt::Write as _;

/// The two uses of the media room.
pub const WORKLOADS: [&str; 2] = ["video-export", "gaming-1440p"];

/// What a part is. The names are those of the catalogue's files.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Kind {
    Cpu,
    Cooler,
    Board,
    Memory,
    Gpu,
    Storage,
    Psu,
    Case,
}

impl Kind {
    pub const ALL: [Kind; 8] = [
        Kind::Cpu,
        Kind::Cooler,
        Kind::Board,
        Kind::Memory,
        Kind::Gpu,
        Kind::Storage,
        Kind::Psu,
        Kind::Case,
    ];

    pub fn name(self) -> &'static str {
        match self {
            Kind::Cpu => "cpu",
            Kind::Cooler => "cooler",
            Kind::Board => "board",
            Kind::Memory => "memory",
            Kind::Gpu => "gpu",
            Kind::Storage => "storage",
            Kind::Psu => "psu",
            Kind::Case => "case",
        }
    }

    /// The word that a German shop puts into its titles.
    pub fn german(self) -> &'static str {
        match self {
            Kind::Cpu => "Prozessor",
            Kind::Cooler => "CPU-Kühler",
            Kind::Board => "Mainboard",
            Kind::Memory => "Arbeitsspeicher",
            Kind::Gpu => "Grafikkarte",
            Kind::Storage => "SSD",
            Kind::Psu => "Netzteil",
            Kind::Case => "Gehäuse",
        }
    }
}

/// The value of one spec.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Spec {
    Number(u32),
    Text(&'static str),
    Texts(Vec<&'static str>),
    Flag(bool),
    /// Several things of one make-up.
    Entries(Vec<Vec<(&'static str, Spec)>>),
}

/// Where a rate comes from.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Source {
    Measured(&'static str),
    Estimated(&'static str),
}

/// How much work a part allows in one workload.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Rate {
    pub workload: &'static str,
    /// Tenths of the workload's unit.
    pub tenths: u32,
    pub source: Source,
}

/// One part of the invented catalogue.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Part {
    pub id: String,
    pub kind: Kind,
    pub name: String,
    pub brand: &'static str,
    pub mpn: String,
    /// GTIN-13 under GS1 prefix 952, which is kept for demonstrations (from memory).
    pub gtin: String,
    pub specs: Vec<(&'static str, Spec)>,
    pub rates: Vec<Rate>,
    /// What it usually costs, in cents; each shop departs from it.
    pub usual_cents: u32,
}

/// A part before it is numbered.
#[derive(Debug, Clone)]
pub struct Draft {
    pub kind: Kind,
    pub brand: &'static str,
    /// The name without the brand.
    pub model: String,
    /// The maker's number without the maker's letters.
    pub code: String,
    pub specs: Vec<(&'static str, Spec)>,
    /// Tenths of (jobs per hour, frames per second); zero where the part limits nothing.
    pub rates: [u32; 2],
    pub usual_cents: u32,
}

impl Draft {
    /// Gives the part its id, GTIN and MPN. `number` must differ between parts.
    pub fn finish(self, number: u32) -> Part {
        let name = format!("{} {}", self.brand, self.model);
        // The bench takes time: every seventh part has not been on it yet.
        let source = match number % 7 {
            0 => Source::Estimated("scaled from its nearest sibling by clock and cores"),
            _ => Source::Measured("bench of the media room, 2026-09"),
        };
        let rates = WORKLOADS
            .iter()
            .zip(self.rates)
            .filter(|(_, tenths)| *tenths > 0);
        let rates = rates.map(|(workload, tenths)| Rate {
            workload,
            tenths,
            source,
        });
        let letters: String = self.brand.chars().take(3).collect();
        Part {
            id: slug(&name),
            kind: self.kind,
            brand: self.brand,
            mpn: format!("{}-{}", letters.to_uppercase(), self.code),
            gtin: gtin13(number),
            specs: {
                let mut specs = self.specs;
                specs.extend(details(self.kind, &specs));
                specs
            },
            rates: rates.collect(),
            usual_cents: self.usual_cents,
            name,
        }
    }
}

/// A GTIN-13 that belongs to nobody: prefix 952, nine digits of our own, check digit.
pub fn gtin13(number: u32) -> String {
    let body = format!("952{:09}", number % 1_000_000_000);
    // GS1: from the right the digits weigh 3, 1, 3, 1 ...; twelve digits begin with weight 1.
    let weighted = body.bytes().zip([1, 3].iter().cycle());
    let sum: u32 = weighted
        .map(|(digit, weight)| u32::from(digit - b'0') * weight)
        .sum();
    format!("{body}{}", (10 - sum % 10) % 10)
}

/// A whole number of hundredths as a decimal text: 48990 is `489.90`.
pub fn decimal(hundredths: u32) -> String {
    format!("{}.{:02}", hundredths / 100, hundredths % 100)
}

/// Lower-case letters and digits with single hyphens between them.
fn slug(name: &str) -> String {
    let mut slug = String::new();
    for character in name.chars().filter(|c| *c != '(' && *c != ')') {
        match character {
            'a'..='z' | '0'..='9' => slug.push(character),
            'A'..='Z' => slug.push(character.to_ascii_lowercase()),
            _ if slug.ends_with('-') => {}
            _ => slug.push('-'),
        }
    }
    slug
}

/// Rates and prices read in steps: `low` at step 0, `high` at `last`, straight between them.
pub fn between_steps(low: u32, high: u32, step: u32, last: u32) -> u32 {
    low + (high - low) * step / last.max(1)
}

/// A capacity as shops write it: `500 GB`, `2 TB`.
pub fn capacity(gigabytes: u32) -> String {
    let mut text = String::new();
    // Writing to a string cannot fail.
    let _ = match gigabytes % 1000 {
        0 => write!(text, "{} TB", gigabytes / 1000),
        _ => write!(text, "{gigabytes} GB"),
    };
    text
}
