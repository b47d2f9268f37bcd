//! What an import came to: the parts, and each row that is none, with its reason.

use crate::catalogue::gtin::GtinFault;
use crate::catalogue::part::Part;
use crate::catalogue::units::MeasureFault;
use std::collections::BTreeMap;

/// The outcome of an import.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Import {
    pub n_rows: usize,
    /// In the order of the source.
    pub parts: Vec<Part>,
    /// The line of each part in a CSV source.
    pub lines: Vec<Option<u64>>,
    /// Rows that are no parts. Together with `parts` they are all rows.
    pub skipped: Vec<Refusal>,
    /// Values that a part went without.
    pub left_out: Vec<Refusal>,
    /// Columns that the mapping does not read.
    pub unread_columns: Vec<String>,
}

/// One row or value that was not taken.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Refusal {
    /// Counts the source's records from 1.
    pub row: usize,
    /// The line of a CSV source where the record begins, from 1.
    pub line: Option<u64>,
    /// Where it stood, unless the whole row is meant.
    pub column: Option<String>,
    /// What stood there.
    pub text: String,
    pub reason: Reason,
}

/// Why something was not taken.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum Reason {
    #[error("the row has {found} fields where the header has {expected}")]
    Ragged { found: usize, expected: usize },
    /// The mapping's own words.
    #[error("{0}")]
    Unwanted(String),
    #[error("no `{0}`")]
    Missing(&'static str),
    #[error("unknown kind \"{0}\"")]
    Kind(String),
    #[error("`{0}`: the pattern does not match")]
    Pattern(&'static str),
    #[error("`{0}`: not in the mapping's table")]
    Unlisted(&'static str),
    #[error("not in the mapping's lookup")]
    LookedUp,
    #[error("`{field}`: {fault}")]
    Measure {
        field: &'static str,
        fault: MeasureFault,
    },
    #[error("`{field}`: \"{text}\" is {one} or {other}; set `decimal_mark` in the mapping")]
    TwoReadings {
        field: &'static str,
        text: String,
        one: String,
        other: String,
    },
    #[error("`{field}`: {number} {unit} is outside {low} to {high}")]
    Implausible {
        field: &'static str,
        number: i64,
        unit: &'static str,
        low: i64,
        high: i64,
    },
    #[error("`{0}`: neither yes nor no")]
    Flag(&'static str),
    #[error("GTIN {0}")]
    Gtin(GtinFault),
    #[error("{what} \"{value}\" belongs to {owner} already")]
    Taken {
        what: &'static str,
        value: String,
        owner: String,
    },
}

impl Reason {
    /// The reason without what differs from row to row, for counting.
    pub fn summary(&self) -> String {
        match self {
            Reason::Ragged { .. } => "other fields than the header".to_owned(),
            Reason::Kind(_) => "unknown kind".to_owned(),
            Reason::Measure { field, fault } => match fault {
                MeasureFault::NoNumber(_) => format!("`{field}`: not a number with a unit"),
                MeasureFault::OtherUnit { .. } => format!("`{field}`: another unit"),
                MeasureFault::TooLarge(_) => format!("`{field}`: too large"),
            },
            Reason::TwoReadings { field, .. } => format!("`{field}`: can be read in two ways"),
            Reason::Implausible { field, .. } => format!("`{field}`: implausible"),
            Reason::Taken { what, .. } => format!("{what} twice"),
            Reason::Unwanted(_)
            | Reason::Missing(_)
            | Reason::Pattern(_)
            | Reason::Unlisted(_)
            | Reason::LookedUp
            | Reason::Flag(_)
            | Reason::Gtin(_) => self.to_string(),
        }
    }
}

/// How often something was refused for one reason, with the first such.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Count<'r> {
    pub summary: String,
    pub count: usize,
    pub first: &'r Refusal,
}

/// Refusals by reason, the most frequent first.
pub fn counts(refusals: &[Refusal]) -> Vec<Count<'_>> {
    let mut by_summary: BTreeMap<String, (usize, &Refusal)> = BTreeMap::new();
    for refusal in refusals {
        let entry = by_summary.entry(refusal.reason.summary());
        entry.or_insert((0, refusal)).0 += 1;
    }
    let mut counts: Vec<Count<'_>> = by_summary
        .into_iter()
        .map(|(summary, (count, first))| Count {
            summary,
            count,
            first,
        })
        .collect();
    // Stable: reasons that are equally frequent stay in the order of the alphabet.
    counts.sort_by_key(|count| std::cmp::Reverse(count.count));
    counts
}
