//! The commands, one a file.

pub mod best;
pub mod check;
pub mod demo;
pub mod history;
pub mod init;
pub mod poll;
pub mod watch;
