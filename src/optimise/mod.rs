//! Optimise: the best build for a brief in today's market, exactly and with a proof.
//!
//! A market becomes a [`Problem`] in integers; a floating-point solver suggests, the integers
//! judge, and [`verify`] checks the finished build once more from the parts. May not do I/O or read a clock (a time limit is handed to the solver as a value). Of the
//! crate it uses everything to its left: `money` to `market`.
#![deny(clippy::disallowed_methods, clippy::disallowed_types)]

mod alike;
mod best;
mod binding;
mod branch;
mod build;
mod conflict;
mod engine;
mod entry;
mod exhaust;
mod joint;
mod ladder;
mod leeway;
mod lexicographic;
mod model;
mod orders;
mod pairing;
mod possible;
mod problem;
mod question;
mod redraw;
mod reduce;
mod relax;
mod robust;
mod search;
mod solve;
mod sweep;
mod tolerance;
mod verify;
mod why;
mod work;

pub use best::{Answer, BestBuild, BestFault, Obstacle, Proof, best, reprice};
pub use binding::{Binding, BindingLimit, Bindings, HeldBy, NextStep, bindings};
pub use branch::Equals;
pub use build::{Build, Limit, Pick, Reached};
pub use engine::{Climb, ClimbFault, Programme, Sweeper, SweeperFirst};
pub use entry::{EntryPrice, entry_price_at, entry_prices, unoffered_entry_prices};
pub use joint::Joint;
pub use ladder::{Ladder, Rung, ladder};
pub use leeway::{Gain, Spare};
pub use lexicographic::{Effort, Solved, solve_lexicographically};
pub use model::{RuleLimits, Standing, encode, rule_limits};
pub use pairing::Pairing;
pub use problem::{Balance, Bottleneck, Choice, OrderSides, Problem, Selection};
pub use question::{Question, QuestionFault};
pub use reduce::undominated;
pub use relax::{Relaxation, relaxations};
pub use robust::{Draws, NearTie, Robustness, robust};
pub use search::{Engine, SolverFault};
pub use sweep::{Step, TooWide, Wanted, first_among_equals, sweep, top};
pub use verify::{VerifyFault, verify};
pub use why::{
    Alternative, KeptOut, Reason, Why, alternatives, best_per_platform, substitutes, why,
};
