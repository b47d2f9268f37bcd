//! Open data that is fetched for the tests and is no part of this repository.

use std::path::{Path, PathBuf};

/// A file of `target/test-data`, where `tests/data.sh` puts what it fetches; `None`, with a note,
/// where there is none.
///
/// # Panics
/// The file is missing although `CI=true`.
pub fn open_data(name: &str) -> Option<PathBuf> {
    let path = reported_data(name);
    let required = std::env::var("CI").is_ok_and(|value| value == "true");
    assert!(
        path.is_some() || !required,
        "the open data {name} is missing; run tests/data.sh"
    );
    path
}

/// The same for data that is only reported on, and that CI may lack.
pub fn reported_data(name: &str) -> Option<PathBuf> {
    let path = Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("target/test-data")
        .join(name);
    if path.exists() {
        return Some(path);
    }
    #[expect(clippy::print_stderr, reason = "a test that was skipped says so")]
    let () = eprintln!("skipped: no open data {name}; run tests/data.sh");
    None
}
