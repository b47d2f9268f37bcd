//! What a failed command says, and the code it exits with.

use crate::catalogue::Fault;
use std::process::ExitCode;

/// Why a command did not do what was asked. The kinds are the exit codes.
#[derive(Debug)]
pub enum Failure {
    /// None of the below.
    Other(anyhow::Error),
    /// What was asked for does not exist, or makes no sense.
    Usage { message: String, hint: String },
    /// The configuration has faults; none are listed here when they have been shown already.
    Configuration(Vec<Fault>),
    /// The answer is that nothing fits. It has been shown already.
    NothingFits,
    /// Feeds failed. They have been named already.
    FeedsFailed,
    /// The ledger cannot be used.
    Ledger(anyhow::Error),
}

impl Failure {
    pub fn usage(message: impl Into<String>, hint: impl Into<String>) -> Failure {
        Failure::Usage {
            message: message.into(),
            hint: hint.into(),
        }
    }

    pub fn exit_code(&self) -> ExitCode {
        ExitCode::from(match self {
            Failure::Other(_) => 1,
            Failure::Usage { .. } => 2,
            Failure::Configuration(_) => 3,
            Failure::NothingFits => 4,
            Failure::FeedsFailed => 5,
            Failure::Ledger(_) => 6,
        })
    }

    /// The lines for standard error; empty when everything has been said.
    pub fn lines(&self) -> Vec<String> {
        match self {
            Failure::Other(error) | Failure::Ledger(error) => {
                vec![format!("error: {error:#}")]
            }
            Failure::Usage { message, hint } => {
                vec![format!("error: {message}"), format!("  {hint}")]
            }
            // The JSON has said it all.
            Failure::Configuration(faults) if faults.is_empty() => Vec::new(),
            Failure::Configuration(faults) => {
                let mut lines = vec![format!(
                    "error: the configuration has {} faults",
                    faults.len()
                )];
                if let [_] = faults.as_slice() {
                    lines[0] = "error: the configuration has a fault".to_owned();
                }
                lines.extend(faults.iter().map(|fault| format!("  {fault}")));
                lines
            }
            Failure::NothingFits | Failure::FeedsFailed => Vec::new(),
        }
    }
}

impl<E: Into<anyhow::Error>> From<E> for Failure {
    fn from(error: E) -> Failure {
        Failure::Other(error.into())
    }
}
