//! The report as Markdown.

use crate::measure::{Growth, Measured, Orders, Peers};
use crate::{BUDGET, LADDER, N_DRAWS, N_PARTS, SEED};
use std::fmt::Write as _;

/// Where the section begins.
pub const HEADING: &str = "\n# Ladder: ";

pub fn render(all: &Measured) -> String {
    let peers = &all.peers;
    let mut text = format!(
        "{HEADING}how fast the questions are answered\n\n\
         Written by `cargo bench --bench ladder`; what is measured, and how, stands in\n\
         [`ladder/main.rs`](ladder/main.rs). {N_PARTS} parts, {} offers, seed {SEED}, one core of {}.\n\
         One best build at {} takes HiGHS {:.2} s and CP-SAT {:.2} s ({}).\n\
         {}.\n\n\
         | question | ms | HiGHS / it | asked | CP-SAT / it | asked |\n\
         | --- | ---: | ---: | ---: | ---: | ---: |\n",
        all.n_offers,
        machine(),
        BUDGET / 100,
        peers.highs,
        peers.cp_sat,
        peers.versions,
        proven(peers),
    );
    let ladder = format!(
        "the whole ladder from {} to {}: {} rungs",
        LADDER[0] / 100,
        LADDER[1] / 100,
        all.n_rungs
    );
    let entries = format!("entry prices of {} graphics cards", all.n_cards);
    let draws = format!("the best build for {N_DRAWS} draws of every rate");
    let questions = [
        ("the best build", all.best, "50", "80"),
        (ladder.as_str(), all.ladder, "25", ""),
        (entries.as_str(), all.entry_prices, "1", ""),
        (draws.as_str(), all.robust, "0.2", ""),
    ];
    for (name, seconds, asked, asked_cp_sat) in questions {
        let _ = writeln!(
            text,
            "| {name} | {:.1} | {:.1} | {asked} | {:.1} | {asked_cp_sat} |",
            1_000.0 * seconds,
            peers.highs / seconds,
            peers.cp_sat / seconds,
        );
    }
    let cold = &all.cold;
    let _ = writeln!(
        text,
        "\nFrom the start of the program to its answer, with a catalogue of {:.1} MiB in TOML and a ledger of\n\
         {} offers: {:.0} ms of the processor, {:.0} ms by the clock at best (150 asked).",
        cold.catalogue_bytes as f64 / 1_048_576.0,
        all.n_offers,
        1_000.0 * cold.processor,
        1_000.0 * cold.least_wall,
    );
    text.push_str(&orders(&all.orders));
    text.push_str(
        "\nThe whole ladder up to the same budget by the number of parts, step by step. *Growth* is \
         the\ntime over that of the row above, *n log n* what it would be at that growth.\n\n\
         | parts | encode, ms | reduce, ms | climb, ms | sum, ms | growth | n log n | parts left | peak, MiB |\n\
         | ---: | ---: | ---: | ---: | ---: | ---: | ---: | ---: | ---: |\n",
    );
    let before = std::iter::once(None).chain(all.growth.iter().map(Some));
    for (before, growth) in before.zip(&all.growth) {
        growth_row(&mut text, before, growth);
    }
    text
}

fn orders(orders: &Orders) -> String {
    format!(
        "\nWith six retailers that deliver free above a threshold and ten bundles, every offer is a\n\
         choice of its own. {N_PARTS} parts ({} choices): the best build takes {:.0} ms, HiGHS {:.2} s, {:.1} times it (10\n\
         asked), CP-SAT {:.2} s, {:.1} times. {}.\n",
        orders.n_choices,
        1_000.0 * orders.best,
        orders.peers.highs,
        orders.peers.highs / orders.best,
        orders.peers.cp_sat,
        orders.peers.cp_sat / orders.best,
        proven(&orders.peers),
    )
}

/// Who proved what of this program's answer.
fn proven(peers: &Peers) -> String {
    let of = |(name, has_score, has_cost): &(&str, bool, bool)| match (has_score, has_cost) {
        (true, true) => format!("{name} proves this program's score and cost"),
        (true, false) => {
            format!("{name} proves this program's score and was not asked for the cost")
        }
        _ => format!("{name} had proven nothing when it was ended"),
    };
    peers.proven.iter().map(of).collect::<Vec<_>>().join("; ")
}

fn growth_row(text: &mut String, before: Option<&Growth>, growth: &Growth) {
    let sum = |growth: &Growth| growth.encode + growth.reduce + growth.climb;
    let n_log_n = |growth: &Growth| growth.n_parts as f64 * (growth.n_parts as f64).ln();
    let ratio = |of: &dyn Fn(&Growth) -> f64| {
        before.map_or(String::new(), |before| {
            format!("{:.1}", of(growth) / of(before))
        })
    };
    let _ = writeln!(
        text,
        "| {} | {:.1} | {:.1} | {:.1} | {:.1} | {} | {} | {} | {:.0} |",
        growth.n_parts,
        1_000.0 * growth.encode,
        1_000.0 * growth.reduce,
        1_000.0 * growth.climb,
        1_000.0 * sum(growth),
        ratio(&sum),
        ratio(&n_log_n),
        growth.n_kept,
        growth.peak_kib as f64 / 1024.0,
    );
}

/// The processor as the kernel names it.
fn machine() -> String {
    let known = std::fs::read_to_string("/proc/cpuinfo").unwrap_or_default();
    let name = known
        .lines()
        .find_map(|line| line.strip_prefix("model name"));
    name.map_or_else(
        || format!("an {} processor", std::env::consts::ARCH),
        |name| format!("an {}", name.trim_start_matches([' ', '\t', ':'])),
    )
}
