//! The starter configuration in a directory of its own, and the program run on it.

use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};

/// The program, with its configuration directory.
pub fn rigtide(directory: &Path) -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_rigtide"));
    command.arg("-C").arg(directory).env_remove("RIGTIDE_LOG");
    command
}

/// Runs one command to its end.
pub fn run(directory: &Path, arguments: &[&str]) -> Output {
    rigtide(directory).args(arguments).output().unwrap()
}

/// What was printed.
pub fn text(output: &[u8]) -> String {
    String::from_utf8_lossy(output).into_owned()
}

/// The starter configuration in a directory of its own.
pub struct Guides {
    _folder: tempfile::TempDir,
    pub directory: PathBuf,
}

impl Guides {
    pub fn new() -> Guides {
        let folder = tempfile::tempdir().unwrap();
        let directory = folder.path().join("guides");
        let written = Command::new(env!("CARGO_BIN_EXE_rigtide"))
            .arg("init")
            .arg(&directory)
            .output()
            .unwrap();
        assert!(written.status.success(), "{}", text(&written.stderr));
        Guides {
            _folder: folder,
            directory,
        }
    }

    /// Replaces the first `from` of a file.
    pub fn edit(&self, file: &str, from: &str, to: &str) {
        let path = self.directory.join(file);
        let before = fs::read_to_string(&path).unwrap();
        assert!(before.contains(from), "{file} has no {from}");
        fs::write(path, before.replacen(from, to, 1)).unwrap();
    }

    /// A second shop, in Austria, that sells all but the processor and the case of the German one.
    pub fn sell_in_austria(&self, currency: &str) {
        let directory = &self.directory;
        let german = fs::read_to_string(directory.join("retailers/example.toml")).unwrap();
        let austrian = german
            .replacen("country = \"DE\"", "country = \"AT\"", 1)
            .replacen(
                "currency = \"EUR\"",
                &format!("currency = \"{currency}\""),
                1,
            )
            .replacen("Example Parts", "Alpenteile", 1)
            .replacen("author-1", "author-2", 1)
            .replacen("example-offers.csv", "alpen-offers.csv", 1);
        fs::write(directory.join("retailers/alpen.toml"), austrian).unwrap();
        let offers = fs::read_to_string(directory.join("retailers/example-offers.csv")).unwrap();
        let sold = offers
            .lines()
            .filter(|line| !line.starts_with("EX-102") && !line.starts_with("EX-116"))
            .map(|line| line.replace(".90,", ".50,"));
        let sold = sold.collect::<Vec<_>>().join("\n") + "\n";
        fs::write(directory.join("retailers/alpen-offers.csv"), sold).unwrap();
        let output = run(directory, &["poll"]);
        assert!(output.status.success(), "{}", text(&output.stderr));
    }

    pub fn ledger(&self) -> PathBuf {
        self.directory.join("ledger.sqlite")
    }
}
