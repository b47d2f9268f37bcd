//! The daemon: polls on schedule, stores, decides and delivers.
//!
//! Joins the edges; what it decides comes from the pure modules. A feed that fails delays no other
//! and changes nothing that stood. The system clock is read in [`clock`] alone.
//!
//! Start reading at [`daemon`] (the loop), then [`cycle`] (one round), then [`poll`] (one feed).

pub mod clock;
pub mod schedule;
pub mod settings;
pub mod failure;
pub mod gather;
mod in_order;
mod held_news;
pub mod intake;
pub mod judge;
mod marks;
pub mod match_word;
pub mod preview;
pub mod past;
pub mod price_past;
mod remembering;
pub mod refusals;
pub mod responses;
pub mod poll;
pub mod questions;
pub mod reading;
pub mod reasons;
pub mod saving;
pub mod trial;
pub mod answer;
pub mod asking;
pub mod attention;
pub mod decision;
pub mod desk;
pub mod delivery;
pub mod edition;
pub mod join;
mod backlog;
pub mod due;
mod reload;
pub mod status;
pub mod cycle;
pub mod calls;
pub mod metrics;
pub mod words;
pub mod daemon;
