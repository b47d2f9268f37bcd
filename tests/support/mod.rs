//! What the tests share: a retailer that misbehaves on command, and check values from outside.

pub mod coupled;
pub mod daemon;
pub mod facts;
pub mod feed;
pub mod generated;
pub mod guides;
pub mod model_json;
pub mod offer;
mod open_data;
pub mod polling;
pub mod program;
pub mod receivers;
pub mod server;
pub mod shops;
pub mod specs;
pub mod web;
#[path = "../../benches/ladder/world.rs"]
#[expect(dead_code, reason = "the benchmark uses the rest")]
pub mod world;

pub use open_data::{open_data, reported_data};
