//! The built program on a configuration of its own.

use std::path::{Path, PathBuf};
use std::process::{Command, Output};

/// A configuration directory that goes away with the test.
pub struct Configuration {
    directory: tempfile::TempDir,
    now: &'static str,
    variables: Vec<(&'static str, &'static str)>,
}

/// What one run came to.
pub struct Ran {
    pub code: i32,
    pub out: String,
    pub err: String,
}

impl Configuration {
    /// Settings without parts, retailers and briefs, at an instant.
    pub fn new(now: &'static str) -> Configuration {
        let configuration = Configuration {
            directory: tempfile::tempdir().unwrap(),
            now,
            variables: Vec::new(),
        };
        for folder in ["catalogue", "retailers", "briefs"] {
            std::fs::create_dir(configuration.path(folder)).unwrap();
        }
        let settings = "contact = \"editor@guide.example\"\nledger = \"ledger.sqlite\"\n";
        configuration.write("rigtide.toml", settings);
        configuration
    }

    /// The same configuration at another instant.
    pub fn at(&mut self, now: &'static str) {
        self.now = now;
    }

    /// Sets environment variables of the program.
    pub fn set(&mut self, variables: &[(&'static str, &'static str)]) {
        self.variables.extend(variables);
    }

    pub fn path(&self, name: &str) -> PathBuf {
        self.directory.path().join(name)
    }

    pub fn write(&self, name: &str, bytes: impl AsRef<[u8]>) -> PathBuf {
        let path = self.path(name);
        std::fs::write(&path, bytes).unwrap();
        path
    }

    /// Takes a file of the repository.
    pub fn copy(&self, from: &str, name: &str) {
        let from = Path::new(env!("CARGO_MANIFEST_DIR")).join(from);
        self.write(name, std::fs::read(from).unwrap());
    }

    pub fn run(&self, arguments: &[&str]) -> Ran {
        let output = self.command(arguments).output().unwrap();
        Ran::of(&output)
    }

    /// Runs it beside tasks of the test, such as a server.
    pub async fn run_beside(&self, arguments: &[&str]) -> Ran {
        let mut command = self.command(arguments);
        let run = tokio::task::spawn_blocking(move || command.output().unwrap());
        Ran::of(&super::server::within_deadline(run).await.unwrap())
    }

    fn command(&self, arguments: &[&str]) -> Command {
        let mut command = Command::new(env!("CARGO_BIN_EXE_rigtide"));
        command
            .arg("-C")
            .arg(self.directory.path())
            .args(arguments)
            .env("RIGTIDE_TEST_NOW", self.now)
            .envs(self.variables.iter().copied())
            .env_remove("RIGTIDE_LOG");
        command
    }
}

impl Ran {
    fn of(output: &Output) -> Ran {
        Ran {
            code: output.status.code().unwrap(),
            out: String::from_utf8(output.stdout.clone()).unwrap(),
            err: String::from_utf8(output.stderr.clone()).unwrap(),
        }
    }

    /// The standard output of a run that must have exited with `code`.
    pub fn exited(self, code: i32) -> String {
        assert_eq!(self.code, code, "{}{}", self.out, self.err);
        self.out
    }

    /// The JSON of a run that must have exited with `code`.
    pub fn json(self, code: i32) -> serde_json::Value {
        serde_json::from_str(&self.exited(code)).unwrap()
    }
}
