//! What a channel is.

use super::body::one_line;
use crate::catalogue::Fault;
use crate::decide::Bulletin;
use chrono::{DateTime, Utc};
use std::pin::Pin;
use std::time::Duration;

/// A delivery under way.
pub type Sending<'a> = Pin<Box<dyn Future<Output = Result<(), DeliveryFault>> + Send + 'a>>;

/// A delivery under way, of which is told what the receiver said.
pub type Trying<'a> = Pin<Box<dyn Future<Output = Result<String, DeliveryFault>> + Send + 'a>>;

/// One way to reach a person.
pub trait Channel: Send + Sync {
    /// A hash of where it delivers to. A channel that its receiver closed stays closed until this
    /// changes.
    fn address(&self) -> String;

    /// Delivers one bulletin. Ends within a time limit of its own and may be dropped half-way.
    ///
    /// The same bulletin makes the same message, byte for byte.
    fn send<'a>(&'a self, bulletin: &'a Bulletin) -> Sending<'a>;

    /// Delivers one bulletin and tells what the receiver said of it.
    fn try_out<'a>(&'a self, bulletin: &'a Bulletin) -> Trying<'a> {
        Box::pin(async move {
            self.send(bulletin).await?;
            Ok("no fault was met".to_owned())
        })
    }

    /// Why it cannot deliver as things are: secrets of its that are missing here.
    fn faults(&self) -> &[Fault] {
        &[]
    }

    /// The feed that it keeps, if it keeps one.
    fn feed(&self) -> Option<String> {
        None
    }

    /// What it would send, for a person to read.
    fn preview(&self, bulletin: &Bulletin) -> String {
        format!("{}\n\n{}", one_line(&bulletin.subject), bulletin.text)
    }
}

/// Why a bulletin was not delivered. The reason holds no secret.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum DeliveryFault {
    /// Worth another attempt.
    #[error("{reason}")]
    Passing { reason: String, pause: Pause },
    /// This bulletin will never be taken.
    #[error("{reason}")]
    Permanent { reason: String },
    /// The receiver wants no bulletin any more.
    #[error("{reason}")]
    Unwanted { reason: String },
}

/// How long the receiver wants to be left alone.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Pause {
    /// It did not say.
    Unsaid,
    For(Duration),
    Until(DateTime<Utc>),
}
