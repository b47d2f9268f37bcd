//! The guide: what readers see.
//!
//! For now the charts that commands draw. May not fetch, store or decide anything; of the crate it
//! uses the pure modules alone.

pub mod scatter;
