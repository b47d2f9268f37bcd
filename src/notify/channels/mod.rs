//! The channels, one file each.

pub(super) mod atom;
pub(super) mod command;
pub(super) mod desktop;
pub(super) mod log;
pub(super) mod mail;
pub(super) mod webhook;

pub use log::Log;
