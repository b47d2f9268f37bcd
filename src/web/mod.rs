//! The page, and the same for programs: what the daemon found, in a browser beside it.
//!
//! Knows nothing of the ledger or the watch: what it shows comes through [`Vitals`] and [`desk::Desk`],
//! as the plain data of [`view`]. It is on loopback unless the settings say otherwise, and answers only
//! under names of this machine and of the settings, so that no page that a browser here has open can read
//! it by pointing a name of its own at it.
//!
//! Start reading at [`Vitals`] and [`desk::Desk`], then `server` (what every request goes through), `api`,
//! `pages`.

mod api;
pub mod desk;
mod form;
mod guard;
mod headers;
mod listen;
mod metrics;
mod pace;
mod pages;
mod password;
mod refusing;
#[cfg(test)]
#[path = "sample_tests.rs"]
pub mod sample;
mod server;
mod session;
mod settings;
mod shown;
mod sign_in;
#[cfg(test)]
mod tests;
pub mod view;
mod vitals;
mod written;

pub use metrics::{Family, Histogram, render};
pub use password::{PasswordFault, PasswordHash};
pub use server::{Serving, bind};
pub use settings::{Access, Listen, USUAL, WebSettings};

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
