//! What is measured: every time is the mean of several runs, in processor seconds.

use crate::cold::{Cold, cold};
use crate::model_json::model_json;
use crate::world::{World, eur, graphics};
use crate::{BUDGET, LADDER, N_DRAWS, N_PARTS, N_PARTS_GROWTH, SEED};
use anyhow::{Context, Result, ensure};
use rigtide::market::{Market, market};
use rigtide::optimise::{
    Answer, Climb, Draws, Effort, Problem, Proof, Question, Standing, Sweeper, Wanted, best,
    encode, entry_prices, ladder, robust, rule_limits, undominated,
};
use serde_json::Value;
use std::io::Write as _;
use std::path::{Path, PathBuf};
use std::process::Command;

const N_RUNS: u32 = 8;

/// The figures of one run.
pub struct Measured {
    pub peers: Peers,
    pub orders: Orders,
    pub n_offers: usize,
    /// Seconds for each question.
    pub best: f64,
    pub ladder: f64,
    pub n_rungs: usize,
    pub entry_prices: f64,
    pub n_cards: usize,
    pub robust: f64,
    pub cold: Cold,
    pub growth: Vec<Growth>,
}

/// The best build where retailers have terms for whole orders.
pub struct Orders {
    pub best: f64,
    pub peers: Peers,
    pub n_choices: usize,
}

/// What the peers took for one best build.
pub struct Peers {
    pub highs: f64,
    pub cp_sat: f64,
    pub versions: String,
    /// Which of them proved the score, and which the least cost at it as well. One that proved
    /// nothing was ended, and its seconds are those until then.
    pub proven: Vec<(&'static str, bool, bool)>,
}

/// Seconds of each step of a ladder, and memory, for so many parts.
pub struct Growth {
    pub n_parts: usize,
    pub encode: f64,
    pub reduce: f64,
    pub climb: f64,
    pub n_kept: usize,
    pub peak_kib: u64,
}

pub fn all() -> Result<Measured> {
    let world = World::generate(SEED, N_PARTS);
    let brief = world.brief(eur(BUDGET));
    let market = market(&brief, &world.catalogue, &world.retailers, &world.listed);
    let standing = Standing::new();
    let question = || Question::new(&market, &world.catalogue, &standing, &Sweeper);
    let (best_s, answer) = timed(|| best(&market, &world.catalogue, &standing, Effort::default()))?;
    let Answer::Best(found) = answer? else {
        anyhow::bail!("the market holds no build");
    };
    ensure!(
        found.proof == Proof::Optimal,
        "the best build is not proven"
    );
    let optimum = (found.build.score.0, found.build.total.minor());
    let peers = ask_peers(&whole_problem(&market), optimum)?;
    let orders = with_orders()?;
    let (ladder_s, rungs) = timed(|| ladder(&question(), eur(LADDER[0]), eur(LADDER[1])))?;
    let (entry_s, prices) = timed(|| entry_prices(&question(), graphics(&brief)))?;
    Ok(Measured {
        peers,
        orders,
        n_offers: world.listed.len(),
        best: best_s,
        ladder: ladder_s,
        n_rungs: rungs?.rungs.len(),
        entry_prices: entry_s,
        n_cards: prices?.len(),
        robust: robust_seconds(&world)?,
        cold: cold(&world)?,
        growth: N_PARTS_GROWTH
            .into_iter()
            .map(growth_of)
            .collect::<Result<_>>()?,
    })
}

/// How long it takes to answer for every draw of the rates.
fn robust_seconds(world: &World) -> Result<f64> {
    let brief = world.brief(eur(BUDGET));
    let (asked, listed) = ((&brief, &world.catalogue), world.listed.as_slice());
    let market = market(&brief, &world.catalogue, &world.retailers, listed);
    let effort = Effort::default();
    let Answer::Best(found) = best(&market, &world.catalogue, &Standing::new(), effort)? else {
        anyhow::bail!("the market holds no build");
    };
    let draws = Draws {
        number: N_DRAWS,
        seed: SEED,
    };
    let shops = (&world.retailers, listed);
    let start = processor_seconds()?;
    let robustness = robust(asked, shops, &found.build, draws, effort, |_| {})?;
    let seconds = processor_seconds()? - start;
    ensure!(robustness.without_build == 0, "a draw has no build");
    Ok(seconds)
}

fn with_orders() -> Result<Orders> {
    let world = World::generate(SEED, N_PARTS).with_orders();
    let brief = world.brief(eur(BUDGET));
    let market = market(&brief, &world.catalogue, &world.retailers, &world.listed);
    let standing = Standing::new();
    let (seconds, answer) =
        timed(|| best(&market, &world.catalogue, &standing, Effort::default()))?;
    let Answer::Best(found) = answer? else {
        anyhow::bail!("the market with orders holds no build");
    };
    let problem = whole_problem(&market);
    let optimum = (found.build.score.0, found.build.total.minor());
    Ok(Orders {
        best: seconds,
        peers: ask_peers(&problem, optimum)?,
        n_choices: problem.groups.iter().map(Vec::len).sum(),
    })
}

/// The model as the market makes it, before anything is left out.
fn whole_problem(market: &Market<'_>) -> Problem {
    let limits = rule_limits(market);
    encode(market, &Standing::new(), limits.iter())
}

/// An answer, and the mean of the processor seconds that it took: others may use the core too.
fn timed<T>(ask: impl Fn() -> T) -> Result<(f64, T)> {
    let start = processor_seconds()?;
    let mut answer = ask();
    for _ in 1..N_RUNS {
        answer = ask();
    }
    let mean = (processor_seconds()? - start) / f64::from(N_RUNS);
    Ok((mean, answer))
}

/// What this thread has run so far, as the kernel counts it in nanoseconds.
fn processor_seconds() -> Result<f64> {
    let counts = std::fs::read_to_string("/proc/thread-self/schedstat")?;
    let nanoseconds = counts.split_whitespace().next().context("no count")?;
    Ok(nanoseconds.parse::<f64>()? / 1e9)
}

/// Holds the peers to this program's optimum.
fn ask_peers(problem: &Problem, optimum: (i64, i64)) -> Result<Peers> {
    let file = tempfile::NamedTempFile::new()?;
    std::fs::write(file.path(), model_json(problem).to_string())?;
    let report = solvers(file.path())?;
    let mut proven = Vec::new();
    for name in ["highspy", "ortools"] {
        let number = |key: &str| report[name][key].as_i64();
        let (score, cost) = (number("score"), number("cost"));
        ensure!(
            score.is_none_or(|score| score == optimum.0)
                && cost.is_none_or(|cost| cost == optimum.1),
            "{name} proves {score:?} and {cost:?}, not {optimum:?}"
        );
        proven.push((name, score.is_some(), cost.is_some()));
    }
    let seconds = |name: &str| report[name]["seconds"].as_f64().context("no seconds");
    let versions = report["versions"].as_array().context("no versions")?;
    let versions: Vec<&str> = versions.iter().filter_map(Value::as_str).collect();
    Ok(Peers {
        highs: seconds("highspy")?,
        cp_sat: seconds("ortools")?,
        versions: versions.join(", "),
        proven,
    })
}

fn solvers(model: &Path) -> Result<Value> {
    let script = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("benches/solvers.py");
    let output = Command::new("python3").arg(script).arg(model).output()?;
    let errors = String::from_utf8_lossy(&output.stderr);
    ensure!(output.status.success(), "the solvers failed: {errors}");
    let text = String::from_utf8(output.stdout)?;
    // The solvers greet on the lines before.
    let last = text.lines().last().context("the solvers said nothing")?;
    Ok(serde_json::from_str(last)?)
}

/// In a process of its own, so that its peak of memory is its own.
fn growth_of(n_parts: usize) -> Result<Growth> {
    let output = Command::new(std::env::current_exe()?)
        .args(["--growth", &n_parts.to_string()])
        .output()?;
    ensure!(
        output.status.success(),
        "{}",
        String::from_utf8_lossy(&output.stderr)
    );
    let text = String::from_utf8(output.stdout)?;
    let numbers: Vec<f64> = text
        .split_whitespace()
        .filter_map(|one| one.parse().ok())
        .collect();
    let [encode, reduce, climb, n_kept, peak_kib] = numbers[..] else {
        anyhow::bail!("not five numbers: {text}");
    };
    Ok(Growth {
        n_parts,
        encode,
        reduce,
        climb,
        n_kept: n_kept as usize,
        peak_kib: peak_kib as u64,
    })
}

/// Prints seconds for the best build with orders on so many parts: quicker to look at than the whole.
pub fn show_orders(n_parts: usize) -> Result<()> {
    let world = World::generate(SEED, n_parts).with_orders();
    let brief = world.brief(eur(BUDGET));
    let market = market(&brief, &world.catalogue, &world.retailers, &world.listed);
    let (encode, problem) = timed(|| whole_problem(&market))?;
    let (reduce, reduced) = timed(|| problem.restricted(&undominated(&problem)))?;
    let n_kept: usize = reduced.groups.iter().map(Vec::len).sum();
    let (seconds, top) = timed(|| Sweeper.top(&reduced))?;
    let found = top?.map(|step| (step.score.0, step.cost));
    writeln!(
        std::io::stdout(),
        "{encode} {reduce} {n_kept} {seconds} {found:?}"
    )?;
    Ok(())
}

/// Prints seconds for the best build and the ladder on so many parts: what a profiler looks at.
pub fn show_ladder(n_parts: usize) -> Result<()> {
    let world = World::generate(SEED, n_parts);
    let brief = world.brief(eur(BUDGET));
    let market = market(&brief, &world.catalogue, &world.retailers, &world.listed);
    let standing = Standing::new();
    let question = || Question::new(&market, &world.catalogue, &standing, &Sweeper);
    let (best_s, _) = timed(|| best(&market, &world.catalogue, &standing, Effort::default()))?;
    let (ladder_s, rungs) = timed(|| ladder(&question(), eur(LADDER[0]), eur(LADDER[1])))?;
    writeln!(
        std::io::stdout(),
        "{best_s} {ladder_s} {}",
        rungs?.rungs.len()
    )?;
    Ok(())
}

/// Prints seconds to encode, reduce and climb, the choices left, and the peak of memory in KiB.
pub fn show_growth(n_parts: usize) -> Result<()> {
    let world = World::generate(SEED, n_parts);
    let brief = world.brief(eur(LADDER[1]));
    let market = market(&brief, &world.catalogue, &world.retailers, &world.listed);
    let (encode, problem) = timed(|| whole_problem(&market))?;
    let (reduce, (n_kept, reduced)) = timed(|| {
        let keep = undominated(&problem);
        let n_kept = keep.iter().flatten().filter(|keep| **keep).count();
        (n_kept, problem.restricted(&keep))
    })?;
    let (climb, steps) = timed(|| Sweeper.climb(&reduced, Wanted::LADDER))?;
    ensure!(!steps?.is_empty(), "the market holds no build");
    let peak = peak_kib()?;
    writeln!(
        std::io::stdout(),
        "{encode} {reduce} {climb} {n_kept} {peak}"
    )?;
    Ok(())
}

fn peak_kib() -> Result<u64> {
    let status = std::fs::read_to_string("/proc/self/status")?;
    let peak = status.lines().find_map(|line| line.strip_prefix("VmHWM:"));
    let words = peak.context("no peak of memory")?.split_whitespace().next();
    Ok(words.context("no peak of memory")?.parse()?)
}

/// Prints seconds for the draws and for the program from its start, without the peers.
pub fn show_robust_and_cold() -> Result<()> {
    let world = World::generate(SEED, N_PARTS);
    let robust = robust_seconds(&world)?;
    writeln!(std::io::stdout(), "draws: {robust} s")?;
    let cold = cold(&world)?;
    let (processor, wall) = (cold.processor, cold.least_wall);
    writeln!(
        std::io::stdout(),
        "cold: {processor} s of the processor, {wall} s at best"
    )?;
    Ok(())
}
