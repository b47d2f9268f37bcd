//! Fit: which parts go together, with a reason that a person understands.
//!
//! One rule a file in `rules/`, listed in [`registry`]; an author writes linear ones of their own,
//! [`OwnRule`]. A rule may read parts and the brief's
//! [`FitTerms`] and nothing else: no prices, no clock, no I/O. Of the crate it uses `catalogue`.
//!
//! Start reading at [`FitRule`].
#![deny(clippy::disallowed_methods, clippy::disallowed_types)]

mod own;
mod power;
mod gaps;
mod reference;
mod registry;
mod rule;
mod rules;
#[cfg(test)]
pub(crate) mod sample;
mod verdict;

pub use gaps::{Gap, gaps};
pub use own::OwnRule;
pub use power::{Mains, PowerReport, SupplyDraw, power_report, wall_hundredths};
pub use reference::render_reference;
pub use registry::{RULES, RuleBook, is_blocking};
pub use rule::{Finding, Fit, FitRule, FitTerms, Form, Gravity, Seat, Share};
pub use verdict::{Verdict, verdicts};
