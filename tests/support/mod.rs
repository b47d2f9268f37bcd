//! What the tests share.

pub mod facts;
