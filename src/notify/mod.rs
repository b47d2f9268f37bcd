//! Delivery: takes what the outbox holds to the channels that people read.
//!
//! May not decide what is worth telling, store anything, or read the clock: the outbox is a
//! trait that the caller implements, and `now` comes in as a value.
//!
//! **Invariants.** A bulletin is sent at least once or ends as a dead letter with its reason; it
//! is sent again only when the process died between sending and recording, and then with the
//! same id and the same bytes. A channel that is slow or broken delays no other.
//!
//! A channel is one file in `channels/` and one line in [`registry`]. Start reading at
//! [`Channel`], then [`run_due`].

mod backoff;
mod body;
mod channel;
mod channels;
mod deliver;
mod registry;
#[cfg(test)]
mod samples;
mod secrets;
#[cfg(test)]
mod test_receiver;
mod unready;

pub use backoff::{ATTEMPTS_MAX, backoff};
pub use body::json as bulletin_json;
pub use channel::{Channel, DeliveryFault, Pause, Sending, Trying};
pub use channels::Log;
pub use deliver::{Channels, Due, Outbox, OutboxFault, Report, Settlement, run_due};
pub use registry::{ChannelKind, KINDS, read_channel};
pub use secrets::{MachineSecrets, Secrets};
pub use unready::faults_of;
