//! Answers on loopback: how the daemon fares, what it counts and what it told, for programs of the
//! same machine.
//!
//! Knows nothing of the ledger or the watch: what it shows comes through [`Vitals`] and
//! [`desk::Desk`], as the plain data of [`view`]. Answers only
//! machines that ask on this one, under a name of this one, so that no page that a browser here
//! has open can read it by pointing a name of its own at loopback.
//!
//! Start reading at [`Vitals`] and [`desk::Desk`], then `server`.

mod address;
pub mod desk;
mod metrics;
#[cfg(test)]
pub mod sample;
mod server;
pub mod view;

pub use address::read_address;
pub use metrics::{Family, Histogram, render};
pub use server::{Serving, bind};

use serde::Serialize;

/// What is shown. Calls may block for as long as it takes to look.
pub trait Vitals: Send + Sync {
    fn health(&self) -> Health;
    fn metrics(&self) -> Vec<Family>;
    /// The Atom feed of the channel of that name, if it has one.
    fn feed(&self, channel: &str) -> Option<String>;
}

/// Whether the daemon does what it is there for.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Health {
    /// Why it does not; it does if there are none.
    pub reasons: Vec<Remark>,
    /// What somebody should look at when there is time.
    pub cautions: Vec<Remark>,
}

/// A stable word for programs and a sentence for people.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Remark {
    pub code: &'static str,
    pub text: String,
}

impl Remark {
    pub fn new(code: &'static str, text: impl Into<String>) -> Remark {
        Remark {
            code,
            text: text.into(),
        }
    }
}
