//! Check values that belong to others and are therefore not part of this repository.

use std::path::PathBuf;

/// The text of a file of check values; `None`, with a note, where there is none.
///
/// They lie in `../shared/facts`, or where `RIGTIDE_FACTS` says.
///
/// # Panics
/// The file is missing although `CI=true`.
pub fn read(name: &str) -> Option<String> {
    let directory = std::env::var_os("RIGTIDE_FACTS").map_or_else(
        || PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("../shared/facts"),
        PathBuf::from,
    );
    match std::fs::read_to_string(directory.join(name)) {
        Ok(text) => Some(text),
        Err(error) => {
            let required = std::env::var("CI").is_ok_and(|value| value == "true");
            assert!(!required, "the check values {name} are missing: {error}");
            #[expect(clippy::print_stderr, reason = "a test that was skipped says so")]
            let () = eprintln!("skipped: no check values {name}");
            None
        }
    }
}
