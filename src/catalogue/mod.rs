//! The catalogue: the parts that the author is willing to build with, their specs and rates.
//!
//! Text goes in; a catalogue and a list of faults come out. May not read files or clocks, and
//! knows nothing of offers, prices or builds. Of the crate it uses `money` alone.
//!
//! Start reading at [`Part`] and [`spec::SPECS`]; [`table`] is how every file that a person edits
//! is read.
#![deny(clippy::disallowed_methods, clippy::disallowed_types)]

mod doubts;
mod fault;
mod gtin;
mod id;
pub mod import;
mod kind;
mod load;
mod nearest;
mod part;
mod pool;
mod propose;
mod read_spec;
pub mod reading;
pub mod schema;
mod side_by_side;
mod sorted;
pub mod spec;
pub mod table;
mod units;
mod workload;
mod write;

pub use doubts::{Doubt, doubts};
pub use fault::Fault;
pub use gtin::{Gtin, GtinFault};
pub(crate) use id::text_id;
pub use id::{PartId, WorkloadId};
pub use kind::Kind;
pub use load::{load_catalogue, load_catalogue_by, names_include, read_kind, read_rate_value};
pub use part::{Catalogue, Evidence, Part, Rate};
pub use propose::{NoDraft, Proposal, Unmatched, propose};
pub use side_by_side::SideBySide;
pub use sorted::Sorted;
pub use spec::{Entry, Spec, SpecValue, same_name};
pub use units::{MeasureFault, parse_measure, scale_decimal};
pub use workload::{TestId, WeightedTest, Workload};
pub use write::{quoted, render_part, render_parts, specs_json, value_json};
