//! Documents that arrive by hand: a file, every file of a directory, or standard input.
//!
//! These calls block; a task hands them to a thread that may.

use super::http::{Body, FetchFault, Reason, Spool, SpoolFault};
use std::io::Read;
use std::path::{Path, PathBuf};

/// One document from disk.
#[derive(Debug)]
pub struct LocalDocument {
    /// The file's name, or `-` for standard input.
    pub name: String,
    pub body: Body,
}

/// Most files of one directory.
const MOST_FILES: usize = 10_000;

/// Takes a file, or every file of a directory in the order of their names.
///
/// Leaves out what is hidden, in a subdirectory, or looks half written (`.part`, `.tmp`, `~`).
///
/// # Errors
/// Nothing is there, something cannot be read, or a file exceeds the limit: all or nothing.
pub fn read_files(path: &Path, limit_bytes: u64) -> Result<Vec<LocalDocument>, FetchFault> {
    let of_disk = |error: &std::io::Error| fault(path, error.to_string());
    let metadata = std::fs::metadata(path).map_err(|error| of_disk(&error))?;
    if !metadata.is_dir() {
        return Ok(vec![read_file(path, limit_bytes)?]);
    }
    let mut files = Vec::new();
    for entry in std::fs::read_dir(path).map_err(|error| of_disk(&error))? {
        let file = entry.map_err(|error| of_disk(&error))?.path();
        if file.is_file() && is_finished(&file) {
            files.push(file);
        }
    }
    if files.is_empty() {
        return Err(fault(path, "the directory has no files".to_owned()));
    }
    if files.len() > MOST_FILES {
        let cause = format!("the directory has more than {MOST_FILES} files");
        return Err(fault(path, cause));
    }
    files.sort();
    files
        .iter()
        .map(|file| read_file(file, limit_bytes))
        .collect()
}

/// Takes everything from a reader, such as standard input.
///
/// # Errors
/// Reading fails, or there is more than the limit.
pub fn read_input(
    reader: impl Read,
    limit_bytes: u64,
    spool_directory: Option<PathBuf>,
) -> Result<LocalDocument, FetchFault> {
    let spool = Spool::new(limit_bytes, spool_directory);
    let name = "-".to_owned();
    match Body::of_reader(reader, spool) {
        Ok(body) => Ok(LocalDocument { name, body }),
        Err(cause) => Err(of_spool(Path::new("standard input"), cause, limit_bytes)),
    }
}

fn read_file(path: &Path, limit_bytes: u64) -> Result<LocalDocument, FetchFault> {
    let name = path.file_name().unwrap_or(path.as_os_str());
    let name = name.to_string_lossy().into_owned();
    match Body::of_file(path, limit_bytes) {
        Ok(body) => Ok(LocalDocument { name, body }),
        Err(cause) => Err(of_spool(path, cause, limit_bytes)),
    }
}

fn is_finished(path: &Path) -> bool {
    let name = path.file_name().unwrap_or_default().to_string_lossy();
    let lower = name.to_ascii_lowercase();
    !(lower.starts_with('.')
        || [".part", ".tmp", "~"]
            .iter()
            .any(|end| lower.ends_with(end)))
}

fn of_spool(path: &Path, cause: SpoolFault, limit_bytes: u64) -> FetchFault {
    match cause {
        SpoolFault::Disk(error) => fault(path, error.to_string()),
        SpoolFault::TooLarge => FetchFault {
            reason: Reason::TooLarge { limit_bytes },
            ..fault(path, String::new())
        },
    }
}

fn fault(path: &Path, cause: String) -> FetchFault {
    FetchFault {
        address: path.display().to_string(),
        chain: Vec::new(),
        reason: Reason::File { cause },
        retry_after: None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn texts(documents: &mut [LocalDocument]) -> Vec<(String, String)> {
        let mut texts = Vec::new();
        for document in documents {
            let mut text = String::new();
            document
                .body
                .open()
                .unwrap()
                .read_to_string(&mut text)
                .unwrap();
            texts.push((document.name.clone(), text));
        }
        texts
    }

    #[test]
    fn a_directory_is_its_finished_files_in_order() {
        let directory = tempfile::tempdir().unwrap();
        for (name, text) in [
            ("b.csv", "2"),
            ("a.csv", "1"),
            (".c.csv", ""),
            ("d.csv.part", ""),
            ("e~", ""),
        ] {
            std::fs::write(directory.path().join(name), text).unwrap();
        }
        std::fs::create_dir(directory.path().join("old")).unwrap();
        let mut documents = read_files(directory.path(), 10).unwrap();
        let expected = [("a.csv", "1"), ("b.csv", "2")];
        let expected = expected.map(|(name, text)| (name.to_owned(), text.to_owned()));
        assert_eq!(texts(&mut documents), expected);
        let mut single = read_files(&directory.path().join("a.csv"), 10).unwrap();
        assert_eq!(texts(&mut single), expected[..1]);
    }

    #[test]
    fn what_is_not_there_or_too_large_is_named() {
        let directory = tempfile::tempdir().unwrap();
        let empty = read_files(directory.path(), 10).unwrap_err().to_string();
        assert!(empty.contains("the directory has no files"), "{empty}");
        let missing = read_files(&directory.path().join("x"), 10).unwrap_err();
        assert!(matches!(missing.reason, Reason::File { .. }));
        std::fs::write(directory.path().join("a"), "12345678901").unwrap();
        let large = read_files(directory.path(), 10).unwrap_err();
        assert_eq!(large.reason, Reason::TooLarge { limit_bytes: 10 });
    }

    #[test]
    fn standard_input_is_read_to_its_end_or_its_limit() {
        let document = read_input(&b"a;b\n"[..], 4, None).unwrap();
        assert_eq!(texts(&mut [document])[0].1, "a;b\n");
        let fault = read_input(&b"a;b\nc"[..], 4, None).unwrap_err();
        assert_eq!(fault.reason, Reason::TooLarge { limit_bytes: 4 });
    }
}
