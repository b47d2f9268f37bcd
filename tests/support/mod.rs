//! What the tests share: a retailer that misbehaves on command, and check values from outside.

pub mod facts;
pub mod feed;
pub mod guides;
pub mod program;
pub mod server;
pub mod specs;
