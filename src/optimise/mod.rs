//! Optimise: the best build for a brief in today's market, exactly and with a proof.
//!
//! A market becomes a [`Problem`] in integers; a floating-point solver suggests, and the integers
//! judge. May not do I/O or read a clock (a time limit is handed to the solver as a value). Of the
//! crate it uses everything to its left: `money` to `market`.
#![deny(clippy::disallowed_methods, clippy::disallowed_types)]

mod exhaust;
mod lexicographic;
mod possible;
mod problem;
mod reduce;
mod solve;
mod tolerance;

pub use lexicographic::{Effort, Solved, solve_lexicographically};
pub use problem::{Balance, Bottleneck, Choice, Pairing, Problem, Selection};
pub use solve::{Engine, SolverFault};
