//! What pages show and what programs are given: the same values.
//!
//! Plain data that whoever joins the edges fills in; nothing is looked up or worked out here. Money is
//! an integer of the currency's minor unit, instants are RFC 3339, scores are points with the brief's
//! reference at 100. Names are those of the commands' `--json`; keys are only ever added.

mod answers;
mod brief;
mod feeds;
mod parts;
mod told;
mod what_if;

pub use answers::*;
pub use brief::*;
pub use feeds::*;
pub use parts::*;
pub use told::*;
pub use what_if::{QueryFault, WhatIf};

use serde::Serialize;
use utoipa::ToSchema;

/// Why something asked for is not to be had.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, ToSchema)]
pub struct Refusal {
    pub kind: RefusalKind,
    /// What is the matter.
    pub message: String,
    /// What a person can do about it.
    pub remedy: String,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum RefusalKind {
    /// Nothing has this name.
    NotFound,
    /// The question makes no sense as it is put.
    Invalid,
    /// What was to be changed has changed meanwhile.
    Conflict,
    /// Too much is being worked out; later it is not.
    Busy,
    /// The program cannot, through no fault of who asks.
    Broken,
}

impl Refusal {
    pub fn new(
        kind: RefusalKind,
        message: impl Into<String>,
        remedy: impl Into<String>,
    ) -> Refusal {
        Refusal {
            kind,
            message: message.into(),
            remedy: remedy.into(),
        }
    }
}
