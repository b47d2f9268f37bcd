//! How fast offers are matched by their titles, how that grows, and against comparing all pairs.
//!
//! `cargo bench --bench matching` measures and rewrites the section on matching in
//! `benches/README.md`. The offers carry no GTIN and no part number, so that every one goes the
//! longest way. *All pairs* is the obvious other way: the best of a string similarity (`strsim`,
//! Sørensen–Dice) between the title and every part's name.

#[path = "../../demo/prng.rs"]
#[cfg_attr(test, expect(unused_imports, reason = "its tests run with the demo's"))]
mod prng;

#[path = "../../tests/support/offer.rs"]
mod offer;
mod world;

use anyhow::{Context, Result};
use rigtide::catalogue::{Catalogue, load_catalogue};
use rigtide::market::{Matcher, Matching, Offer};
use std::fmt::Write as _;
use std::io::Write as _;
use std::path::PathBuf;
use std::time::Instant;

const SEED: u64 = 2026;
const N_PARTS: usize = 5_000;
const N_OFFERS: [usize; 3] = [25_000, 50_000, 100_000];
const N_PARTS_GROWTH: [usize; 3] = [1_250, 2_500, 5_000];
/// All pairs of more offers than these would take minutes.
const N_NAIVE: usize = 200;
const N_RUNS: usize = 3;
/// Where the section begins in the report.
const HEADING: &str = "\n# Matching: ";
const NEXT_HEADING: &str = "\n# Idle: ";

struct Measured {
    seconds: f64,
    n_right: usize,
    n_wrong: usize,
}

fn main() -> Result<()> {
    // `cargo test --all-targets` starts this too; only `cargo bench` asks for the measurement.
    if !std::env::args().any(|argument| argument == "--bench") {
        return Ok(());
    }
    let text = measure()?;
    let path = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("benches/README.md");
    let report = std::fs::read_to_string(&path).unwrap_or_default();
    let kept = report.split(HEADING).next().unwrap_or_default();
    let rest = report.find(NEXT_HEADING).map_or("", |at| &report[at..]);
    std::fs::write(&path, format!("{kept}{text}{rest}"))?;
    std::io::stdout().write_all(text.as_bytes())?;
    Ok(())
}

fn measure() -> Result<String> {
    let world = world::World::generate(SEED, N_PARTS, N_OFFERS[2]);
    let catalogue = read(&world.catalogue(N_PARTS))?;
    let start = Instant::now();
    let matcher = Matcher::new(&catalogue);
    let preparing = start.elapsed().as_secs_f64();
    let mut text = format!(
        "{HEADING}how fast titles are matched\n\n\
         Written by `cargo bench --bench matching`; what is measured, and how, stands in\n\
         [`matching/main.rs`](matching/main.rs). Seed {SEED}, one thread. {N_PARTS} parts take\n\
         {preparing:.2} s to prepare; offers carry no keys.\n\n\
         | offers | parts | s | offers/s | growth | right | wrong | not taken |\n\
         | ---: | ---: | ---: | ---: | ---: | ---: | ---: | ---: |\n"
    );
    let mut before = None;
    for n_offers in N_OFFERS {
        let offers = &world.offers[..n_offers];
        row(&mut text, &matcher, offers, N_PARTS, &mut before)?;
    }
    before = None;
    for n_parts in N_PARTS_GROWTH {
        let catalogue = read(&world.catalogue(n_parts))?;
        let matcher = Matcher::new(&catalogue);
        row(
            &mut text,
            &matcher,
            &world.offers[..N_OFFERS[0]],
            n_parts,
            &mut before,
        )?;
    }
    naive(&mut text, &matcher, &world, &catalogue)?;
    Ok(text)
}

fn row(
    text: &mut String,
    matcher: &Matcher,
    offers: &[(Offer, Option<String>)],
    n_parts: usize,
    before: &mut Option<f64>,
) -> Result<()> {
    let measured = best_of(offers, |offer| match matcher.match_offer(offer, None) {
        Matching::Part(found) => Some(found.part.to_string()),
        _ => None,
    });
    let n = offers.len();
    let growth = before.map_or(String::new(), |before| {
        format!("{:.2}", measured.seconds / before)
    });
    let not_taken = n - measured.n_right - measured.n_wrong;
    writeln!(
        text,
        "| {n} | {n_parts} | {:.2} | {:.0} | {growth} | {} | {} | {not_taken} |",
        measured.seconds,
        n as f64 / measured.seconds,
        measured.n_right,
        measured.n_wrong,
    )?;
    *before = Some(measured.seconds);
    Ok(())
}

fn best_of(
    offers: &[(Offer, Option<String>)],
    answer: impl Fn(&Offer) -> Option<String>,
) -> Measured {
    let mut best = Measured {
        seconds: f64::INFINITY,
        n_right: 0,
        n_wrong: 0,
    };
    for _ in 0..N_RUNS {
        let start = Instant::now();
        let found: Vec<Option<String>> = offers.iter().map(|(offer, _)| answer(offer)).collect();
        best.seconds = best.seconds.min(start.elapsed().as_secs_f64());
        let pairs = || {
            found
                .iter()
                .zip(offers)
                .filter(|(found, _)| found.is_some())
        };
        best.n_right = pairs()
            .filter(|(found, (_, label))| *found == label)
            .count();
        best.n_wrong = pairs()
            .filter(|(found, (_, label))| *found != label)
            .count();
    }
    best
}

fn naive(
    text: &mut String,
    matcher: &Matcher,
    world: &world::World,
    catalogue: &Catalogue,
) -> Result<()> {
    let offers = &world.offers[..N_NAIVE];
    let ours = best_of(offers, |offer| match matcher.match_offer(offer, None) {
        Matching::Part(found) => Some(found.part.to_string()),
        _ => None,
    });
    let all_pairs = best_of(offers, |offer| {
        let scored = catalogue.parts.values().map(|part| {
            let similarity = strsim::sorensen_dice(&offer.title, &part.name);
            (similarity, part)
        });
        let best = scored.max_by(|left, right| left.0.total_cmp(&right.0))?;
        Some(best.1.id.to_string())
    });
    writeln!(
        text,
        "\n*Growth* is the time over that of the row above, which has half as many offers or parts.\n\
         Of {N_NAIVE} offers all pairs take {:.2} s ({} right, {} wrong), the matcher {:.4} s \
         ({} right, {} wrong): {:.0} times as fast.",
        all_pairs.seconds,
        all_pairs.n_right,
        all_pairs.n_wrong,
        ours.seconds,
        ours.n_right,
        ours.n_wrong,
        all_pairs.seconds / ours.seconds,
    )?;
    Ok(())
}

fn read(text: &str) -> Result<Catalogue> {
    let (catalogue, faults) = load_catalogue(&[("catalogue.toml", text)]);
    faults.first().map_or(Ok(catalogue), |fault| {
        Err(anyhow::anyhow!("{fault:?}")).context("the invented catalogue cannot be read")
    })
}
