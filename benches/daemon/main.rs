//! How long a changed price takes to become a bulletin, how often it needs no solve, and how many feeds
//! a second are polled.
//!
//! `cargo bench --bench daemon` measures and rewrites its section of `benches/README.md`. The market is
//! that of the ladder's benchmark: parts of eight kinds with an offer at each of five retailers, and a
//! hundred briefs with budgets from 600 to 2,580. Each change moves the price of one offer by the dice,
//! as shops do: most by some percent up or down, one in ten a sale. *To the bulletin's row* runs from
//! the commit of the poll that saw the change to the commit of the decisions of all briefs, by the
//! clock on the wall. The feeds that are polled are answered by a server in this process, each under a host
//! name of its own; a third of the offers of each move at every poll.

#[path = "../../tests/support/generated.rs"]
#[expect(
    dead_code,
    reason = "tests of the engines use the model written by hand"
)]
mod generated;
mod change;
mod many;
#[path = "../../tests/support/specs.rs"]
#[expect(dead_code, reason = "tests of the fit rules use the rest")]
mod specs;
#[path = "../ladder/world.rs"]
#[expect(dead_code, reason = "the ladder's benchmark uses the rest")]
mod world;

use anyhow::Result;
use std::io::Write as _;
use std::path::PathBuf;

const SEED: u64 = 2026;
const N_PARTS: usize = 5_000;
const N_BRIEFS: usize = 100;
const N_CHANGES: usize = 400;
const N_FEEDS: usize = 1_000;
const OFFERS_A_FEED: usize = 25;
const N_ROUNDS: usize = 10;
const HEADING: &str = "\n# Daemon: ";

fn main() -> Result<()> {
    // `cargo test --all-targets` starts this too; only `cargo bench` asks for the measurement.
    if !std::env::args().any(|argument| argument == "--bench") {
        return Ok(());
    }
    let text = render(&change::measure()?, &many::measure()?);
    let path = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("benches/README.md");
    let before = std::fs::read_to_string(&path).unwrap_or_default();
    let kept = before.split(HEADING).next().unwrap_or_default();
    std::fs::write(&path, format!("{kept}{text}"))?;
    std::io::stdout().write_all(text.as_bytes())?;
    Ok(())
}

fn render(changes: &change::Changes, many: &many::Many) -> String {
    let looks = (N_CHANGES * N_BRIEFS) as f64;
    let counters = &changes.counters;
    let spared = counters.unmoved + counters.unread + counters.worse + counters.beaten;
    let ms = |seconds: f64| 1_000.0 * seconds;
    format!(
        "{HEADING}how soon a changed price is told\n\n\
         Written by `cargo bench --bench daemon`; what is measured, and how, stands in\n\
         [`daemon/main.rs`](daemon/main.rs). {N_PARTS} parts, {} offers, {N_BRIEFS} briefs, seed {SEED}.\n\n\
         | from the stored change to the bulletins' rows | changes | median, ms | 99th percentile, ms |\n\
         | --- | ---: | ---: | ---: |\n\
         | every change | {} | {:.1} | {:.1} |\n\
         | changes that were told | {} | {:.1} | {:.1} |\n\n\
         {:.1} % of the changes needed no solve for any brief. Of the {} looks at a brief {:.1} % needed none:\n\
         {} read nothing that moved, {} saw something become worse that is not in the build, {} something\n\
         cheaper that cannot be in the best build. The {} solves took {:.1} ms each; the first look at all\n\
         {N_BRIEFS} briefs {:.1} s.\n\n\
         {N_FEEDS} feeds of {OFFERS_A_FEED} offers on loopback, each on a host of its own: {:.0} polls a second over {N_ROUNDS}\n\
         rounds, every poll a transaction that is synchronised to the disk. Resident after the second round {:.1} MiB,\n\
         after the last {:.1} MiB, at most {:.1} MiB, the server included.\n",
        changes.n_offers,
        changes.all.len(),
        ms(quantile(&changes.all, 0.5)),
        ms(quantile(&changes.all, 0.99)),
        changes.told.len(),
        ms(quantile(&changes.told, 0.5)),
        ms(quantile(&changes.told, 0.99)),
        100.0 * changes.n_without_solve as f64 / N_CHANGES as f64,
        N_CHANGES * N_BRIEFS,
        100.0 * spared as f64 / looks,
        counters.unmoved + counters.unread,
        counters.worse,
        counters.beaten,
        counters.solves,
        counters.solve_us as f64 / 1_000.0 / counters.solves.max(1) as f64,
        changes.first_look,
        many.polls_a_second,
        many.resident_early_mib,
        many.resident_late_mib,
        many.peak_mib,
    )
}

/// Of sorted values; the nearest rank.
fn quantile(sorted: &[f64], part: f64) -> f64 {
    let rank = (part * sorted.len() as f64).ceil() as usize;
    sorted.get(rank.max(1) - 1).copied().unwrap_or(f64::NAN)
}
