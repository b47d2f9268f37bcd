//! The demo's world: an invented youth centre, its brief, and three invented retailers to buy from.
//!
//! A youth centre wants one quiet machine for its media room: video cutting by day, a 1440p games
//! club in the evening, for 1,500 EUR. [`world::World::generate`] draws the parts and what each shop
//! lists from a seed; [`Shops`] serves the three ranges over HTTP on loopback;
//! [`write_configuration`] writes the directory that the daemon runs on; [`Shops::start_sale`]
//! lets one shop cut its prices; [`WebhookReceiver`] is where the bulletin arrives.
//!
//! Every brand, part, shop and price is invented; sockets, memory types and form factors are
//! trade terms. Knows nothing of the daemon's insides: it meets them over HTTP and in TOML, as a
//! real shop and a real author would. Start reading at [`world`].

mod configuration;
mod prng;
mod shops;
pub mod world;

pub use configuration::{Addresses, write_configuration};
pub use shops::{Shops, WebhookReceiver};
