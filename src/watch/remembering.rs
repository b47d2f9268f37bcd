//! What a feed's last answer left for asking only for news, and what it was read by.
//!
//! An answer that did not change is read again where the feed's mapping did, or the program: a server
//! that says "not modified" knows nothing of either.

use super::settings::Feed;
use crate::feeds::http::Validators;
use ring::digest::{SHA256, digest};
use serde::{Deserialize, Serialize};

/// Differs from build to build wherever the sources or the libraries do.
const PROGRAM: &str = env!("RIGTIDE_SOURCES");

#[derive(Serialize, Deserialize)]
struct Remembered {
    validators: Validators,
    read_by: String,
}

/// As text, for the ledger.
pub fn remember(feed: &Feed, validators: Validators) -> Option<String> {
    let read_by = read_by(feed);
    serde_json::to_string(&Remembered {
        validators,
        read_by,
    })
    .ok()
}

/// What was remembered, unless the feed was read otherwise then.
pub fn recall(feed: &Feed, text: &str) -> Option<Validators> {
    let remembered: Remembered = serde_json::from_str(text).ok()?;
    (remembered.read_by == read_by(feed)).then_some(remembered.validators)
}

fn read_by(feed: &Feed) -> String {
    // The form for debugging names every field, those yet to come included.
    let text = format!("{PROGRAM}{:?}{:?}", feed.format, feed.normalise);
    let digest = digest(&SHA256, text.as_bytes());
    let bytes = digest.as_ref().iter().take(16);
    bytes.map(|byte| format!("{byte:02x}")).collect()
}
