//! Gives the program a digest of its own sources, by which it tells that another build of it may
//! read the same record differently; see `watch/marks.rs`. Has the linker pack its tables of addresses where
//! this machine's loader reads them so.

use std::hash::{DefaultHasher, Hash, Hasher};
use std::io::Write;
use std::path::{Path, PathBuf};
use std::process::Command;
use std::{env, fs, io};

/// The first glibc, with major and minor number, whose loader reads packed tables of addresses.
const PACKED_SINCE: (u32, u32) = (2, 36);

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
    )?;
    // The loader reads these tables whole at each start, and what was read of its file counts as a daemon's
    // memory: two MiB of a release build, and packed a twentieth of one.
    if is_for_this_machine() && glibc().is_some_and(|version| version >= PACKED_SINCE) {
        writeln!(
            cargo,
            "cargo::rustc-link-arg-bins=-Wl,-z,pack-relative-relocs"
        )?;
    }
    Ok(())
}

/// What is built for another machine may meet any loader there.
fn is_for_this_machine() -> bool {
    let is = |name: &str, value: &str| env::var(name).is_ok_and(|set| set == value);
    let is_own = env::var("TARGET").is_ok_and(|target| is("HOST", &target));
    is_own && is("CARGO_CFG_TARGET_OS", "linux") && is("CARGO_CFG_TARGET_ENV", "gnu")
}

fn glibc() -> Option<(u32, u32)> {
    let said = Command::new("getconf").arg("GNU_LIBC_VERSION").output();
    let said = String::from_utf8(said.ok()?.stdout).ok()?;
    let mut numbers = said.trim().strip_prefix("glibc ")?.split('.');
    Some((numbers.next()?.parse().ok()?, numbers.next()?.parse().ok()?))
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
