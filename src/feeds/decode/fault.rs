//! Why a whole poll's bytes are not used. What is wrong with one record is a `Reject` instead.

use std::io;
use std::sync::Arc;
use thiserror::Error;

/// The body as a whole cannot be trusted: nothing decoded from it may replace what is known.
#[derive(Debug, Clone, Error)]
pub enum DecodeFault {
    #[error("the body cannot be read: {0}")]
    Read(#[source] Arc<io::Error>),
    #[error("the body is larger than {limit} bytes after unpacking")]
    TooLarge { limit: u64 },
    #[error("the body is packed more than twice")]
    PackedTooDeep,
    #[error("the {packing} data is damaged: {detail}")]
    Damaged {
        packing: &'static str,
        detail: String,
    },
    #[error("the zip archive is not clear: {found} {wanted}: {names}; set `zip_entry` to one")]
    ZipEntry {
        found: &'static str,
        wanted: String,
        names: String,
    },
    #[error("the body ends in the middle of the {what}")]
    Truncated { what: &'static str },
    #[error("expected {expected}, found {found}")]
    OtherFormat {
        expected: &'static str,
        found: String,
    },
    #[error("not valid {format} at line {line}, column {column}: {detail}")]
    Syntax {
        format: &'static str,
        line: u64,
        column: u64,
        detail: String,
    },
    #[error("the columns are divided by {found}, the settings say {configured}")]
    Delimiter { configured: String, found: String },
    #[error("no column \"{column}\"{}; the header has: {present}", meant(.near.as_ref()))]
    ColumnMissing {
        column: String,
        near: Option<String>,
        present: String,
    },
    #[error(
        "`{field}` was found in none of {records} records at \"{place}\"{}; the first record has: {present}",
        meant(.near.as_ref())
    )]
    FieldNeverFound {
        field: &'static str,
        place: String,
        near: Option<String>,
        records: u64,
        present: String,
    },
    #[error("no records at {place}; found {found}")]
    NoRecords { place: String, found: String },
    #[error("no data found: {detail}")]
    NoData { detail: String },
    #[error("{rejected} of {records} records were rejected (first: {first})")]
    TooManyRejects {
        rejected: u64,
        records: u64,
        first: String,
    },
    #[error("more than {limit} records")]
    TooManyRecords { limit: u64 },
    #[error("one {what} is larger than {limit} bytes")]
    RecordTooLarge { what: &'static str, limit: u64 },
    #[error("the document defines entities of its own, which is refused")]
    EntityDefinitions,
    #[error("the page is nested too deeply to be read")]
    NestedTooDeep,
    #[error("reading was stopped")]
    Stopped,
}

impl DecodeFault {
    /// Every fault's stable code, by which the journal and the documentation name it.
    pub fn code(&self) -> &'static str {
        match self {
            DecodeFault::Read(_) => "body-unreadable",
            DecodeFault::TooLarge { .. } => "body-too-large",
            DecodeFault::PackedTooDeep => "packed-too-deep",
            DecodeFault::Damaged { .. } => "packing-damaged",
            DecodeFault::ZipEntry { .. } => "zip-entry",
            DecodeFault::Truncated { .. } => "body-truncated",
            DecodeFault::OtherFormat { .. } => "other-format",
            DecodeFault::Syntax { .. } => "syntax",
            DecodeFault::Delimiter { .. } => "other-delimiter",
            DecodeFault::ColumnMissing { .. } => "column-missing",
            DecodeFault::FieldNeverFound { .. } => "field-never-found",
            DecodeFault::NoRecords { .. } => "no-records",
            DecodeFault::NoData { .. } => "no-data",
            DecodeFault::TooManyRejects { .. } => "too-many-rejects",
            DecodeFault::TooManyRecords { .. } => "too-many-records",
            DecodeFault::RecordTooLarge { .. } => "record-too-large",
            DecodeFault::EntityDefinitions => "entity-definitions",
            DecodeFault::NestedTooDeep => "nested-too-deep",
            DecodeFault::Stopped => "stopped",
        }
    }

    /// Finds the fault that a layer below sent up through `io::Error`.
    pub(super) fn of_io(error: io::Error) -> DecodeFault {
        match error
            .get_ref()
            .and_then(|inner| inner.downcast_ref::<DecodeFault>())
        {
            Some(fault) => fault.clone(),
            None => DecodeFault::Read(Arc::new(error)),
        }
    }

    /// Wraps the fault so that it travels up through readers.
    pub(super) fn into_io(self) -> io::Error {
        io::Error::other(self)
    }
}

fn meant(near: Option<&String>) -> String {
    near.map_or_else(String::new, |near| format!(", did you mean \"{near}\"?"))
}
