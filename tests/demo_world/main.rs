//! The demo's world: that it is what it claims to be, and that its sale changes the answer.

#[path = "../../demo/mod.rs"]
mod demo;

// `cfg(test)` tells clippy that the helpers in here may unwrap as tests may.
#[cfg(test)]
mod change;
#[cfg(test)]
mod configuration;
#[cfg(test)]
mod exhaustive;
#[cfg(test)]
mod guessing;
#[cfg(test)]
mod library;
#[cfg(test)]
#[path = "../support/offer.rs"]
mod offer;
#[cfg(test)]
mod reading;
#[cfg(test)]
mod shops;
#[cfg(test)]
mod starter;
#[cfg(test)]
mod world;

/// The seed that the demo starts from.
const SEED: u64 = 2026;
