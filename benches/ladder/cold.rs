//! The program from its start to its answer, with everything to be read: configuration and ledger.

use crate::world::{World, as_written};
use crate::{BUDGET, SEED};
use anyhow::{Context, Result, ensure};
use rigtide::catalogue::{Kind, Part, render_parts};
use serde_json::Value;
use std::fmt::Write as _;
use std::fs;
use std::path::Path;
use std::process::{Command, Output};
use std::time::Instant;

const N_RUNS: u32 = 20;
const NOW: &str = "2026-06-15T12:00:00Z";

/// Seconds of `rigtide best` as a process of its own.
pub struct Cold {
    /// The mean of processor seconds, of the program and of the system for it.
    pub processor: f64,
    /// The least from start to end that was seen.
    pub least_wall: f64,
    /// Bytes of the catalogue's files.
    pub catalogue_bytes: u64,
}

/// Writes the world's configuration, polls its feeds, and asks for the best build.
pub fn cold(world: &World) -> Result<Cold> {
    let folder = tempfile::tempdir()?;
    let directory = folder.path();
    let catalogue_bytes = write(world, directory)?;
    let polled = run(directory, &["poll", "--json"])?;
    let said = |output: &Output| String::from_utf8_lossy(&output.stderr).into_owned();
    ensure!(polled.status.success(), "{}", said(&polled));
    let before = children_seconds()?;
    let mut least_wall = f64::MAX;
    let mut answers: Vec<Vec<u8>> = Vec::new();
    for _ in 0..N_RUNS {
        let start = Instant::now();
        answers.push(run(directory, &["best", "--json"])?.stdout);
        least_wall = least_wall.min(start.elapsed().as_secs_f64());
    }
    let processor = (children_seconds()? - before) / f64::from(N_RUNS);
    let answer: Value = serde_json::from_slice(&answers[0])?;
    let offers = answer["considered"]["offers"].as_u64();
    ensure!(
        offers == Some(world.listed.len() as u64) && answer["proof"]["status"] == "optimal",
        "not the answer that was asked for: {answer}"
    );
    ensure!(
        answers.iter().all(|one| *one == answers[0]),
        "answers differ"
    );
    Ok(Cold {
        processor,
        least_wall,
        catalogue_bytes,
    })
}

fn run(directory: &Path, arguments: &[&str]) -> Result<Output> {
    let mut command = Command::new(env!("CARGO_BIN_EXE_rigtide"));
    command.arg("-C").arg(directory).args(arguments);
    command
        .env("RIGTIDE_TEST_NOW", NOW)
        .env_remove("RIGTIDE_LOG");
    Ok(command.output()?)
}

/// What the processes that this one started and waited for have run, as the kernel counts it:
/// fields 16 and 17 of proc(5), in hundredths of a second.
fn children_seconds() -> Result<f64> {
    let counts = fs::read_to_string("/proc/self/stat")?;
    // The second field is a name in brackets and may hold blanks.
    let (_, fields) = counts.rsplit_once(')').context("no name")?;
    let ticks = fields.split_whitespace().skip(13).take(2);
    let ticks: Vec<f64> = ticks.map(str::parse).collect::<Result<_, _>>()?;
    Ok(ticks.iter().sum::<f64>() / 100.0)
}

/// A directory as an author would write it: a file for each kind of part, a feed for each retailer.
fn write(world: &World, directory: &Path) -> Result<u64> {
    for folder in ["catalogue", "retailers", "briefs"] {
        fs::create_dir(directory.join(folder))?;
    }
    let contact = "contact = \"mailto:editor@guide.example\"\n";
    fs::write(directory.join("rigtide.toml"), contact)?;
    fs::write(
        directory.join("catalogue/workloads.toml"),
        world.workloads_file(),
    )?;
    let mut bytes = 0;
    for kind in Kind::CORE {
        let parts = world.catalogue.parts.values();
        let parts: Vec<Part> = parts
            .filter(|part| part.kind == kind)
            .map(as_written)
            .collect();
        let text = render_parts(&[], &parts);
        bytes += text.len() as u64;
        let name = format!("catalogue/{kind}.toml");
        fs::write(directory.join(name), text)?;
    }
    for id in world.retailers.keys() {
        let retailer = format!(
            "name = \"{id}\"\ncountry = \"DE\"\ncurrency = \"EUR\"\n[[feed]]\nid = \"all\"\n\
             format = \"csv\"\nfile = \"{id}.csv\"\ndelimiter = \";\"\n[feed.fields]\n\
             sku = \"nr\"\ntitle = \"title\"\ngtin = \"gtin\"\nprice = \"price\"\navailability = \"stock\"\n"
        );
        fs::write(directory.join(format!("retailers/{id}.toml")), retailer)?;
        let mut rows = "nr;title;gtin;price;stock\n".to_owned();
        for offer in world.listed.iter().filter(|one| one.retailer == *id) {
            let gtin = &world.catalogue.parts[&offer.part].gtins[0];
            let price = offer.price.decimal();
            let _ = writeln!(
                rows,
                "{};{};{gtin};{price} EUR;in stock",
                offer.sku, offer.title
            );
        }
        fs::write(directory.join(format!("{id}.csv")), rows)?;
    }
    let mut brief = format!(
        "budget = \"{}.00\"\ncurrency = \"EUR\"\ncountry = \"DE\"\n",
        BUDGET / 100
    );
    for weighted in &world.brief(crate::world::eur(BUDGET)).objective.workloads {
        let _ = writeln!(
            brief,
            "[[workload]]\nuse = \"{}\"\nweight = {}",
            weighted.workload, weighted.weight
        );
    }
    fs::write(directory.join(format!("briefs/seed-{SEED}.toml")), brief)?;
    Ok(bytes)
}
