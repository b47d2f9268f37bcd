//! The daemon: polls on schedule, stores, decides and delivers.
pub mod clock;
pub mod schedule;
