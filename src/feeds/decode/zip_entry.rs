//! Chooses the one file of a zip archive that is the feed.
//!
//! Which files there are is known only at the archive's end, so the archive is kept (on disk,
//! unless it is small) and read twice: for the names, and for the file. An archive of one file is
//! that file. Of several, one whose name ends like the feed's format is taken, or the one that
//! `zip_entry` names; anything else is refused, because the wrong file may well be readable.

use super::fault::DecodeFault;
use super::zip::{ZipMember, list_files};
use std::fmt::Write;
use std::io::{self, BufReader, Read, Seek};

/// Bytes of a packed archive that are kept in memory.
const MEMORY_BYTES: usize = 4 << 20;
/// Names that a message shows.
const NAMES_SHOWN: usize = 12;
/// Endings that a packed file has behind its own.
const PACKED_ENDINGS: [&str; 3] = ["gz", "zst", "zip"];

/// An archive that is kept for reading it twice.
type Kept = BufReader<tempfile::SpooledTempFile>;

/// What is known of the file that is looked for.
#[derive(Debug, Clone, Copy)]
pub(super) struct ZipChoice<'c> {
    /// The author's `zip_entry`: a name, or a pattern in which `*` stands for anything.
    pub entry: Option<&'c str>,
    /// Endings of the feed's format, in lower case.
    pub endings: &'c [&'c str],
}

/// Opens the file that `choice` means. Passing over others unpacks at most `limit` bytes.
pub(super) fn open_zip(
    mut archive: impl Read,
    limit: u64,
    choice: &ZipChoice<'_>,
) -> Result<ZipMember<Kept>, DecodeFault> {
    let mut kept = tempfile::spooled_tempfile(MEMORY_BYTES);
    io::copy(&mut archive, &mut kept).map_err(DecodeFault::of_io)?;
    kept.rewind().map_err(DecodeFault::of_io)?;
    let mut kept = BufReader::new(kept);
    let names = list_files(&mut kept, limit)?;
    let chosen = choose(&names, choice)?;
    kept.rewind().map_err(DecodeFault::of_io)?;
    ZipMember::open(kept, chosen, limit)
}

/// The place of the one file that fits among `names`.
fn choose(names: &[String], choice: &ZipChoice<'_>) -> Result<usize, DecodeFault> {
    if names.is_empty() {
        let detail = "the zip archive holds no file".to_owned();
        return Err(DecodeFault::NoData { detail });
    }
    let fits = |name: &str| match choice.entry {
        Some(pattern) => is_named(name, pattern),
        None => names.len() == 1 || ends_like(name, choice.endings),
    };
    let fitting: Vec<usize> = (0..names.len())
        .filter(|at| names.get(*at).is_some_and(|name| fits(name)))
        .collect();
    if let [only] = fitting.as_slice() {
        return Ok(*only);
    }
    let (found, shown): (_, Vec<&String>) = match fitting.len() {
        0 => ("none of its files", names.iter().collect()),
        _ => (
            "more than one of its files",
            fitting.iter().filter_map(|at| names.get(*at)).collect(),
        ),
    };
    Err(DecodeFault::ZipEntry {
        found,
        wanted: match choice.entry {
            Some(pattern) => format!("is called \"{pattern}\""),
            None => format!("ends in .{}", choice.endings.join(", .")),
        },
        names: listed(&shown),
    })
}

/// `*` stands for any run of characters. A pattern without a folder fits in every folder.
fn is_named(name: &str, pattern: &str) -> bool {
    let file = name.rsplit('/').next().unwrap_or(name);
    let name = if pattern.contains('/') { name } else { file };
    let mut pieces = pattern.split('*');
    let Some(mut rest) = name.strip_prefix(pieces.next().unwrap_or_default()) else {
        return false;
    };
    let mut pieces = pieces.peekable();
    if pieces.peek().is_none() {
        return rest.is_empty();
    }
    while let Some(piece) = pieces.next() {
        if pieces.peek().is_none() {
            return rest.ends_with(piece);
        }
        match rest.find(piece) {
            Some(found) => rest = &rest[found + piece.len()..],
            None => return false,
        }
    }
    true
}

fn ends_like(name: &str, endings: &[&str]) -> bool {
    let name = name.to_lowercase();
    let mut parts = name.rsplit('.');
    let last = parts.next().unwrap_or_default();
    let ending = match PACKED_ENDINGS.contains(&last) {
        true => parts.next().unwrap_or_default(),
        false => last,
    };
    // A name without a dot has no ending.
    ending.len() < name.len() && endings.contains(&ending)
}

fn listed(names: &[&String]) -> String {
    let shown: Vec<String> = names
        .iter()
        .take(NAMES_SHOWN)
        .map(|name| format!("\"{}\"", name.escape_debug()))
        .collect();
    let mut text = shown.join(", ");
    if names.len() > shown.len() {
        let _ = write!(text, " and {} more", names.len() - shown.len());
    }
    text
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_pattern_fits_a_name_or_a_path() {
        for (name, pattern, expected) in [
            ("feed.csv", "feed.csv", true),
            ("a/feed.csv", "feed.csv", true),
            ("a/feed.csv", "b/feed.csv", false),
            ("a/feed.csv", "a/*", true),
            ("feed.csv", "feed", false),
            ("offers-2026-06.csv", "offers-*.csv", true),
            ("offers-2026-06.csv.txt", "offers-*.csv", false),
            ("ab", "a*a*b", false),
            ("aab", "a*a*b", true),
            ("a.csv", "*", true),
            ("ab", "ab*b", false),
        ] {
            assert_eq!(is_named(name, pattern), expected, "{name} {pattern}");
        }
    }

    #[test]
    fn an_ending_is_looked_for_below_that_of_packing() {
        for (name, expected) in [
            ("offers.csv", true),
            ("Offers.CSV", true),
            ("offers.csv.gz", true),
            ("v1.2/offers.tsv", true),
            ("csv", false),
            ("offers.csv.txt", false),
            ("offers", false),
        ] {
            assert_eq!(ends_like(name, &["csv", "tsv"]), expected, "{name}");
        }
    }
}
