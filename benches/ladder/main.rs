//! How fast the best build, the ladder and entry prices are found, against one solve of an integer
//! program, and how that grows with the market.
//!
//! `cargo bench --bench ladder` measures and rewrites its section of `benches/README.md`, all on
//! one thread. The market is generated: parts of eight kinds with an offer at each of five
//! retailers, three workloads, and all the fit rules there are. *Best*, *ladder* and *entry prices*
//! are what a person asks for, from the market in memory: the model is made, reduced, answered, and
//! the answer checked from the parts. *Draws* is the question how far the answer rests on rates that err
//! by 3 %. *Cold* is the program as a process of its own, from its start to its answer: it reads
//! configuration and ledger, which hold the same market. The peers, HiGHS and CP-SAT with one worker, get the model
//! before it is reduced; only their search for the best score is counted, not the making of their
//! model. All times are processor seconds, so that a busy machine changes them little. Both must
//! prove this program's score, and its cost as the least.
//!
//! Needs python3 with its venv module; the pinned solvers are fetched as
//! `tests/reference/models.py` says.

#[path = "../../tests/support/generated.rs"]
#[expect(
    dead_code,
    reason = "tests of the engines use the model written by hand"
)]
mod generated;
mod cold;
mod measure;
#[path = "../../tests/support/model_json.rs"]
mod model_json;
mod report;
#[path = "../../tests/support/specs.rs"]
#[expect(dead_code, reason = "tests of the fit rules use the rest")]
mod specs;
mod world;

use anyhow::Result;
use std::io::Write as _;
use std::path::PathBuf;

const SEED: u64 = 2026;
const N_PARTS: usize = 5_000;
const N_DRAWS: usize = 1_000;
const N_PARTS_GROWTH: [usize; 4] = [1_000, 5_000, 20_000, 50_000];
/// In minor units.
const BUDGET: i64 = 150_000;
const LADDER: [i64; 2] = [50_000, 300_000];

/// The section on matching, which rewrites all from its heading on, comes after this one.
const NEXT_HEADING: &str = "\n# Matching: ";

fn main() -> Result<()> {
    // `cargo test --all-targets` starts this too; only `cargo bench` asks for the measurement.
    let arguments: Vec<String> = std::env::args().collect();
    if let [_, what, n_parts] = arguments.as_slice() {
        match what.as_str() {
            "--growth" => return measure::show_growth(n_parts.parse()?),
            "--orders" => return measure::show_orders(n_parts.parse()?),
            "--ladder" => return measure::show_ladder(n_parts.parse()?),
            _ => {}
        }
    }
    if let [_, what] = arguments.as_slice()
        && what == "--fresh"
    {
        return measure::show_robust_and_cold();
    }
    if !arguments.iter().any(|argument| argument == "--bench") {
        return Ok(());
    }
    let text = report::render(&measure::all()?);
    let path = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("benches/README.md");
    let before = std::fs::read_to_string(&path).unwrap_or_default();
    let start = before.find(report::HEADING).or(before.find(NEXT_HEADING));
    let start = start.unwrap_or(before.len());
    let rest = before[start..]
        .find(NEXT_HEADING)
        .map_or("", |at| &before[start + at..]);
    std::fs::write(&path, format!("{}{text}{rest}", &before[..start]))?;
    std::io::stdout().write_all(text.as_bytes())?;
    Ok(())
}
