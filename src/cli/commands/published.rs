//! Editions as commands read them.

use crate::cli::report::Failure;
use crate::guide::edition::Edition;
use crate::ledger::{LedgerError, Reader, StoredEdition};
use anyhow::anyhow;

/// An edition and the bytes that it is kept as.
pub struct Kept {
    pub stored: StoredEdition,
    pub document: Edition,
}

/// An edition of a brief, the newest where no number is given; `None` where none is published.
pub fn kept(reader: &Reader, brief: &str, number: Option<u32>) -> Result<Option<Kept>, Failure> {
    let stored = reader.edition(brief, number).map_err(of_ledger)?;
    let Some(stored) = stored else {
        let Some(number) = number else {
            return Ok(None);
        };
        let message = format!("no edition {number} of \"{brief}\" is published");
        return Err(Failure::usage(
            message,
            format!("`rigtide editions {brief}` lists them"),
        ));
    };
    let kept = opened(stored)?;
    Ok(Some(kept))
}

/// An edition that has to be there.
pub fn needed(reader: &Reader, brief: &str, number: Option<u32>) -> Result<Kept, Failure> {
    kept(reader, brief, number)?.ok_or_else(|| {
        let message = format!("no edition of \"{brief}\" is published");
        Failure::usage(
            message,
            format!("`rigtide publish {brief}` writes the first"),
        )
    })
}

/// Reads a document.
pub fn opened(stored: StoredEdition) -> Result<Kept, Failure> {
    let document = Edition::from_json(&stored.document).ok_or_else(|| {
        let StoredEdition { brief, number, .. } = &stored;
        Failure::Other(anyhow!(
            "edition {number} of \"{brief}\" cannot be read; was a newer rigtide here?"
        ))
    })?;
    Ok(Kept { stored, document })
}

pub fn of_ledger(error: LedgerError) -> Failure {
    Failure::Ledger(error.into())
}
