//! Feeds: what retailers publish, fetched politely and turned into raw offers.
//!
//! An edge: it may do I/O and uses the pure modules, never another edge. Start reading at
//! [`decode`] for what the bytes of a feed mean.

pub mod decode;
pub mod mapping;
