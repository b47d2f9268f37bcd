//! The newest response of each feed, beside the ledger: what a mapping is tried on without asking the shop.
//!
//! One file a feed, whole or not at all, and none larger than [`BYTES_MAX`]. Nothing is lost with one: the next
//! poll writes another. Feeds of files have none, since their file is still there.
//!
//! A file is a line of JSON that says what follows, and then the documents as they were sent.

use super::gather::{Documents, Page};
use super::settings::Feed;
use crate::decide::shown_instant;
use crate::feeds::http::{Body, Spool};
use crate::feeds::source::Location;
use crate::market::FeedId;
use chrono::{DateTime, Utc};
use percent_encoding::{AsciiSet, NON_ALPHANUMERIC, utf8_percent_encode};
use serde::{Deserialize, Serialize};
use std::collections::BTreeSet;
use std::fs::File;
use std::io::{self, BufRead as _, BufReader, BufWriter, Read as _, Write as _};
use std::path::{Path, PathBuf};
use url::Url;

/// Of all documents of a feed.
pub const BYTES_MAX: u64 = 16 << 20;
/// Of the line before them.
const HEAD_MAX: u64 = 4 << 20;
/// Of a feed's name, what stands in the file's as it is.
const KEPT_LETTERS: &AsciiSet = &NON_ALPHANUMERIC.remove(b'-').remove(b'_');

#[derive(Serialize, Deserialize)]
struct Head {
    at: DateTime<Utc>,
    status: String,
    is_complete: bool,
    pages: Vec<PageHead>,
}

#[derive(Serialize, Deserialize)]
struct PageHead {
    bytes: u64,
    content_type: Option<String>,
    address: Option<String>,
    wanted: Vec<String>,
}

/// Keeps what came of a poll that was stored as `status`.
///
/// # Errors
/// It cannot be written; then the one before stands.
pub fn keep(
    ledger: &Path,
    feed: &Feed,
    documents: &mut Documents,
    status: &str,
    at: DateTime<Utc>,
) -> io::Result<()> {
    if matches!(feed.source.location, Location::File(_)) {
        return Ok(());
    }
    let (folder, path) = (folder(ledger), path(ledger, &feed.id));
    let bytes: u64 = documents.pages.iter().map(|page| page.body.length()).sum();
    if bytes > BYTES_MAX {
        // The one before is no longer the newest.
        return match std::fs::remove_file(&path) {
            Err(error) if error.kind() != io::ErrorKind::NotFound => Err(error),
            _ => Ok(()),
        };
    }
    std::fs::create_dir_all(&folder)?;
    let pages = documents.pages.iter().map(|page| PageHead {
        bytes: page.body.length(),
        content_type: page.content_type.clone(),
        address: page.address.as_deref().and_then(bare),
        wanted: page.wanted.clone(),
    });
    let head = Head {
        at,
        status: status.to_owned(),
        is_complete: documents.is_complete,
        pages: pages.collect(),
    };
    // Only its owner reads a temporary file, and so this.
    let mut file = BufWriter::new(tempfile::NamedTempFile::new_in(&folder)?);
    serde_json::to_writer(&mut file, &head)?;
    file.write_all(b"\n")?;
    for page in &mut documents.pages {
        io::copy(&mut page.body.open()?, &mut file)?;
    }
    let file = file.into_inner().map_err(io::IntoInnerError::into_error)?;
    file.persist(&path)?;
    Ok(())
}

/// The newest response of a feed, with a note of when it came. None if there is none that is whole.
pub fn recall(ledger: &Path, feed: &Feed) -> Option<Documents> {
    let mut file = BufReader::new(File::open(path(ledger, &feed.id)).ok()?);
    let mut line = Vec::new();
    (&mut file)
        .take(HEAD_MAX)
        .read_until(b'\n', &mut line)
        .ok()?;
    let head: Head = serde_json::from_slice(&line).ok()?;
    let mut pages = Vec::new();
    for page in head.pages {
        let body =
            Body::of_reader((&mut file).take(page.bytes), Spool::new(BYTES_MAX, None)).ok()?;
        if body.length() != page.bytes {
            return None;
        }
        pages.push(Page {
            body,
            content_type: page.content_type,
            address: page.address,
            wanted: page.wanted,
        });
    }
    let note = format!(
        "the response of {}, which a poll stored as {}",
        shown_instant(head.at),
        head.status
    );
    Some(Documents {
        pages,
        is_complete: head.is_complete,
        notes: vec![note],
        memory: None,
    })
}

/// Lets go of the responses of feeds that are no more.
pub fn retire<'f>(ledger: &Path, feeds: impl Iterator<Item = &'f FeedId>) {
    let kept: BTreeSet<PathBuf> = feeds.map(|feed| path(ledger, feed)).collect();
    let Ok(found) = std::fs::read_dir(folder(ledger)) else {
        return;
    };
    for entry in found.flatten() {
        let is_ours = entry
            .path()
            .extension()
            .is_some_and(|end| end == "response");
        if is_ours && !kept.contains(&entry.path()) {
            // What stays is looked at again by the next start.
            let _ = std::fs::remove_file(entry.path());
        }
    }
}

fn folder(ledger: &Path) -> PathBuf {
    ledger.with_extension("responses")
}

fn path(ledger: &Path, feed: &FeedId) -> PathBuf {
    let name = utf8_percent_encode(feed.as_str(), KEPT_LETTERS);
    folder(ledger).join(format!("{name}.response"))
}

/// What links are completed by, without what may be a secret.
fn bare(address: &str) -> Option<String> {
    let mut url = Url::parse(address).ok()?;
    url.set_query(None);
    url.set_fragment(None);
    // Addresses without a host have neither.
    let _ = url.set_username("");
    let _ = url.set_password(None);
    Some(url.into())
}
