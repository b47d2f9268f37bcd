//! The channels, one file each.

pub(super) mod log;
pub(super) mod webhook;

pub use log::Log;
