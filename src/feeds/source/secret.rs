//! Secrets: where they are kept, how they are looked up, and that nothing prints them.

use std::fmt;
use std::path::{Path, PathBuf};
use thiserror::Error;

/// A text that no message shows.
#[derive(Clone, PartialEq, Eq)]
pub struct Secret(String);

/// Where a secret is kept. The settings hold this, never the secret itself.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum SecretPlace {
    Environment(String),
    /// A file that holds nothing else; a last line end is not part of the secret.
    File(PathBuf),
}

/// Who looks secrets up. The program's own is [`MachineKeeper`].
pub trait Keeper {
    fn variable(&self, name: &str) -> Option<String>;

    /// # Errors
    /// The file cannot be read or is not UTF-8.
    fn file(&self, path: &Path) -> std::io::Result<String>;
}

/// Reads this process's environment, and files relative to the configuration directory.
#[derive(Debug, Clone)]
pub struct MachineKeeper {
    pub directory: PathBuf,
}

#[derive(Debug, Error)]
pub enum SecretFault {
    #[error("the environment variable {name} is not set")]
    Unset { name: String },
    #[error("the secret file {} cannot be read: {source}", path.display())]
    Unreadable {
        path: PathBuf,
        source: std::io::Error,
    },
    #[error("the secret from {place} is empty")]
    Empty { place: SecretPlace },
    #[error("the secret from {place} has characters that a request header cannot carry")]
    NotForHeaders { place: SecretPlace },
}

impl Secret {
    pub fn new(text: impl Into<String>) -> Secret {
        Secret(text.into())
    }

    /// The secret itself; for requests and for masking only.
    pub fn reveal(&self) -> &str {
        &self.0
    }
}

impl fmt::Debug for Secret {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("Secret(***)")
    }
}

impl SecretPlace {
    /// Looks the secret up.
    ///
    /// # Errors
    /// It is missing, unreadable or empty.
    pub fn open(&self, keeper: &dyn Keeper) -> Result<Secret, SecretFault> {
        let text = match self {
            SecretPlace::Environment(name) => keeper
                .variable(name)
                .ok_or_else(|| SecretFault::Unset { name: name.clone() })?,
            SecretPlace::File(path) => {
                keeper
                    .file(path)
                    .map_err(|source| SecretFault::Unreadable {
                        path: path.clone(),
                        source,
                    })?
            }
        };
        let text = text.trim_end_matches(['\r', '\n']);
        if text.is_empty() {
            let place = self.clone();
            return Err(SecretFault::Empty { place });
        }
        Ok(Secret::new(text))
    }
}

impl fmt::Display for SecretPlace {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            SecretPlace::Environment(name) => write!(f, "the environment variable {name}"),
            SecretPlace::File(path) => write!(f, "the file {}", path.display()),
        }
    }
}

impl Keeper for MachineKeeper {
    fn variable(&self, name: &str) -> Option<String> {
        std::env::var(name).ok()
    }

    fn file(&self, path: &Path) -> std::io::Result<String> {
        std::fs::read_to_string(self.directory.join(path))
    }
}
