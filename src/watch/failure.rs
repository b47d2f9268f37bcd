//! Why a poll failed.

use crate::feeds::decode::DecodeFault;
use crate::feeds::health::Cause;
use crate::feeds::http::{FaultKind, FetchFault};
use std::time::Duration;

/// Why a poll failed, for the person and for the feed's health.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Failure {
    pub cause: Cause,
    /// How long the host asked to be left alone.
    pub retry_after: Option<Duration>,
    pub text: String,
}

impl Failure {
    /// The content cannot be used.
    pub fn of_content(text: impl Into<String>) -> Failure {
        Failure {
            cause: Cause::Content,
            retry_after: None,
            text: text.into(),
        }
    }

    pub(super) fn local(text: impl Into<String>) -> Failure {
        Failure {
            cause: Cause::Fetch(FaultKind::Local),
            retry_after: None,
            text: text.into(),
        }
    }
}

impl From<FetchFault> for Failure {
    fn from(fault: FetchFault) -> Failure {
        Failure {
            cause: Cause::Fetch(fault.kind()),
            retry_after: fault.retry_after,
            text: fault.to_string(),
        }
    }
}

impl From<DecodeFault> for Failure {
    fn from(fault: DecodeFault) -> Failure {
        Failure::of_content(super::decision::error_chain(&fault))
    }
}
