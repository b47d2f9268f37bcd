//! Takes parts out of any table, CSV or JSON, as a mapping file says.
//!
//! ```text
//! bytes ──rows──> rows ──map──> parts, and what was not taken with its reason
//! ```
//!
//! Nothing is lost in silence: parts and skipped rows add up to the rows of the source, and a
//! value that was left out is named. A mapping is a file, not code; [`map`] describes it. Bytes
//! come in as a value and nothing is written here.
//!
//! Start reading at [`import`].

mod draft;
mod map;
mod own;
mod report;
mod rows;
pub(super) mod slug;
mod value;

pub use map::ImportMap;
pub(super) use own::load_csv;
pub use report::{Count, Import, Reason, Refusal, counts};
pub use rows::{SourceFault, SourceForm};

use super::fault::Fault;
use super::part::Catalogue;

/// Why nothing at all could be imported.
#[derive(Debug, thiserror::Error)]
pub enum ImportFault {
    #[error(transparent)]
    Source(#[from] SourceFault),
    /// The mapping names columns that the source does not have.
    #[error("the mapping does not belong to the source")]
    Mapping(Vec<Fault>),
}

/// Reads a source as a mapping says. Parts whose id, GTIN or MPN is in `existing` are not taken.
///
/// # Errors
/// [`ImportFault`] when the source cannot be read, or the mapping is for another one.
pub fn import(
    map: &ImportMap,
    form: SourceForm,
    bytes: &[u8],
    existing: &Catalogue,
) -> Result<Import, ImportFault> {
    let source = rows::read_source(map, form, bytes)?;
    let faults = map.faults_with(&source);
    if !faults.is_empty() {
        return Err(ImportFault::Mapping(faults));
    }
    Ok(draft::draft_all(map, &source, existing))
}

#[cfg(test)]
mod tests;
