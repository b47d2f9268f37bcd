//! Feeds: what retailers publish, fetched politely and turned into raw offers.
//!
//! An edge: it may do I/O and uses the pure modules, never another edge. It judges no price and
//! stores nothing; time comes in as a value where a decision depends on it. Start reading at
//! [`source`] (what an author may set), then [`http`] (one fetch from start to end), then
//! [`decode`] (what the bytes of a feed mean).

pub mod source;
pub mod http;
pub mod robots;
pub mod politeness;
pub mod health;
pub mod retry;
pub mod verdict;
pub mod paging;
pub mod local;
pub mod address;
pub mod mask;
pub mod mapping;
pub mod decode;
