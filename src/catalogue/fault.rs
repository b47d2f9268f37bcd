//! Faults: what is wrong in a file that a person edits, where, and what to do about it.

use serde::Serialize;
use std::fmt;

/// One thing wrong in one place. Loaders return all of them at once.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Serialize)]
pub struct Fault {
    /// The file as the person knows it, relative to the configuration directory.
    pub file: String,
    /// Line from 1; 0 when the whole file is meant.
    pub line: usize,
    /// Column from 1, in characters; 0 when the whole file is meant.
    pub column: usize,
    pub message: String,
    pub remedy: String,
}

impl Fault {
    /// A fault of the whole file, such as one that cannot be read.
    pub fn of_file(file: &str, message: impl Into<String>, remedy: impl Into<String>) -> Fault {
        Fault {
            file: file.to_owned(),
            line: 0,
            column: 0,
            message: message.into(),
            remedy: remedy.into(),
        }
    }
}

impl fmt::Display for Fault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}", self.file)?;
        if self.line > 0 {
            write!(f, ":{}:{}", self.line, self.column)?;
        }
        write!(f, ": {}", self.message)?;
        if !self.remedy.is_empty() {
            write!(f, "; {}", self.remedy)?;
        }
        Ok(())
    }
}
