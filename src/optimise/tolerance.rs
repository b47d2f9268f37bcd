//! Every tolerance of the floating-point shadow, and what it decides.
//!
//! The shadow is relaxed outwards by these margins, so that it admits every selection that the
//! integers admit; what it admits beyond that is found by the exact judgement and excluded.

/// A score or amount may miss its limit by this part of one unit in the shadow. Below one half,
/// so that the neighbouring integer stays outside; far above the solver's own 1e-7.
pub const LIMIT_MARGIN: f64 = 0.25;

/// Millionths of log-rate in one unit of the shadow's bottleneck variables. Keeps coefficients
/// within a few thousands while one millionth stays far above the solver's 1e-10.
pub const MICRO_PER_SHADOW_UNIT: f64 = 1_000.0;

/// Minor units in one unit of the shadow's budget row.
pub const MINOR_PER_SHADOW_UNIT: f64 = 100.0;

/// A variable above this is taken as chosen. Exactly one per group is, whatever the rounding.
pub const CHOSEN: f64 = 0.5;

/// How many selections that the integers refuse are excluded, one by one, before the solver is
/// declared at fault.
pub const MOST_EXCLUSIONS: usize = 200;

/// How many cuts of joints the solver may need before it is declared at fault. Each refuses as
/// much as its table allows, so that a few dozen are usual.
pub const MOST_CUTS: usize = 2_000;
