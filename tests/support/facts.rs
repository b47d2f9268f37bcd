//! Published check values that are others' data: read where they lie, never copied.

use std::path::PathBuf;

/// The text of a file of published values, or `None` where a clone does not have them.
///
/// They lie in `../shared/facts` beside the checkout, or where `RIGTIDE_FACTS` says. Under
/// `CI=true` a missing file fails the test.
pub fn read(name: &str) -> Option<String> {
    let beside = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("../shared/facts");
    let folder = std::env::var_os("RIGTIDE_FACTS").map_or(beside, PathBuf::from);
    let path = folder.join(name);
    match std::fs::read_to_string(&path) {
        Ok(text) => Some(text),
        Err(error) => {
            let in_ci = std::env::var("CI").is_ok_and(|ci| ci == "true");
            assert!(!in_ci, "{}: {error}", path.display());
            eprintln!("skipped: {} is not here", path.display());
            None
        }
    }
}
