//! Gives the program a digest of its own sources, by which it tells that another build of it may
//! read the same record differently; see `watch/marks.rs`.

use std::hash::{DefaultHasher, Hash, Hasher};
use std::io::Write;
use std::path::{Path, PathBuf};
use std::{fs, io};

fn main() -> io::Result<()> {
    let mut files = vec![PathBuf::from("Cargo.lock")];
    collect(Path::new("src"), &mut files)?;
    files.sort();
    let mut hasher = DefaultHasher::new();
    for file in &files {
        file.hash(&mut hasher);
        fs::read(file)?.hash(&mut hasher);
    }
    let mut cargo = io::stdout();
    writeln!(cargo, "cargo::rerun-if-changed=src")?;
    writeln!(cargo, "cargo::rerun-if-changed=Cargo.lock")?;
    writeln!(
        cargo,
        "cargo::rustc-env=RIGTIDE_SOURCES={:016x}",
        hasher.finish()
    )
}

fn collect(folder: &Path, into: &mut Vec<PathBuf>) -> io::Result<()> {
    for entry in fs::read_dir(folder)? {
        let path = entry?.path();
        if path.is_dir() {
            collect(&path, into)?;
        } else {
            into.push(path);
        }
    }
    Ok(())
}
