//! Everything that needs more than one module of the library, a server, or data from outside.
//!
//! One binary with a module for each capability, so that it links once. What the modules share
//! is in `tests/support`.
#![expect(
    clippy::unwrap_used,
    clippy::too_many_lines,
    reason = "a test that cannot go on fails where it stands"
)]

#[path = "../support/mod.rs"]
mod support;

mod answer;
mod architecture;
mod climbing;
mod copies;
mod doubts;
mod editions;
mod drawing;
mod endurance;
mod examples;
mod daemon;
mod desk;
mod faults;
mod faulty_settings;
mod fetching;
mod fit;
mod fuzz;
mod guarding;
mod guide;
mod history;
mod hostile;
mod asking;
mod buying;
mod catalogue;
mod importing;
mod ledger_files;
mod keeping;
mod losses;
mod market;
mod measuring;
mod marks;
mod operating;
mod optima;
mod orders;
mod outages;
mod past;
mod polite;
mod program;
mod proposing;
mod questions;
mod rates;
mod readers;
mod redirects;
mod reloading;
mod robots;
mod scale;
mod schedules;
mod service;
mod serving;
mod sparing;
mod telling;
mod tls;
mod trying;
mod watching;
