//! `rigtide measure`: results in, and what in them can hardly be right.
//!
//! `--json` gives
//!
//! ```text
//! { file, taken, known_already, written,            of `import` and `add`
//!   results [{ parts [], test, setting, value, unit, limited_by, source, date, note,
//!              temperature_c, wall_w, clock_mhz, voltage_v, at }],
//!   doubts  [{ kind, message, results [] }] }        numbers into `results`
//! ```

use crate::catalogue::table::nearest;
use crate::catalogue::{Fault, PartId};
use crate::cli::args::{
    MeasureAddArguments, MeasureCommand, MeasureImportArguments, MeasureListArguments, Output,
};
use crate::cli::report::Failure;
use crate::cli::screen::{Screen, Set, Tone, columns, harmless, harmless_source};
use crate::cli::wire;
use crate::rates::doubts::{ResultDoubt, result_doubts};
use crate::rates::result::{BenchResult, COLUMNS, Reading, load_results, render_csv};
use crate::watch::clock::Clock;
use crate::watch::settings::{MEASUREMENTS, Settings};
use anyhow::Context as _;
use serde_json::{Value, json};
use std::path::{Path, PathBuf};

/// How many columns a file had before results had readings.
const BEFORE_READINGS: usize = 9;

pub fn run(directory: &Path, command: &MeasureCommand, screen: &Screen) -> Result<(), Failure> {
    let settings = wire::settings(directory)?;
    match command {
        MeasureCommand::Import(arguments) => import(&settings, arguments, screen),
        MeasureCommand::Add(arguments) => add(&settings, arguments, screen),
        MeasureCommand::List(arguments) => list(&settings, arguments, screen),
    }
}

/// New results, and the file that they go into.
struct Taken {
    file: PathBuf,
    new: Vec<BenchResult>,
    known_already: usize,
    is_written: bool,
}

fn import(
    settings: &Settings,
    arguments: &MeasureImportArguments,
    screen: &Screen,
) -> Result<(), Failure> {
    let path = &arguments.file;
    let text =
        std::fs::read_to_string(path).with_context(|| format!("cannot read {}", path.display()))?;
    let shown = path.display().to_string();
    let (results, faults) = load_results(&[(&shown, &text)], &settings.catalogue);
    if !faults.is_empty() {
        return Err(Failure::Configuration(faults));
    }
    let stem = path.file_stem().unwrap_or_default().to_string_lossy();
    let file = PathBuf::from(MEASUREMENTS).join(format!("{stem}.csv"));
    take(
        settings,
        file,
        results,
        !arguments.dry_run,
        arguments.output,
        screen,
    )
}

fn add(
    settings: &Settings,
    arguments: &MeasureAddArguments,
    screen: &Screen,
) -> Result<(), Failure> {
    let today = Clock::from_environment().now().date_naive().to_string();
    let row = [
        &arguments.parts.join(" + "),
        &arguments.test,
        &arguments.setting,
        &arguments.value,
        &arguments.unit,
        &arguments.limited_by,
        &arguments.source,
        arguments.date.as_ref().unwrap_or(&today),
        &arguments.note,
        &arguments.temperature_c,
        &arguments.wall_w,
        &arguments.clock_mhz,
        &arguments.voltage_v,
    ];
    let mut writer = csv::Writer::from_writer(Vec::new());
    writer.write_record(COLUMNS)?;
    writer.write_record(row)?;
    let text = String::from_utf8(writer.into_inner().map_err(|error| error.into_error())?)?;
    let (results, faults) = load_results(&[("the command line", &text)], &settings.catalogue);
    if let Some(Fault {
        message, remedy, ..
    }) = faults.first()
    {
        return Err(Failure::usage(message, remedy));
    }
    let file = PathBuf::from(MEASUREMENTS).join("own.csv");
    take(settings, file, results, true, arguments.output, screen)
}

/// Takes the results that are not known yet, and tells what of all can hardly be right.
fn take(
    settings: &Settings,
    file: PathBuf,
    results: Vec<BenchResult>,
    write: bool,
    output: Output,
    screen: &Screen,
) -> Result<(), Failure> {
    let count = results.len();
    let mut all = settings.results.clone();
    for result in results {
        if !all.iter().any(|known| is_same(known, &result)) {
            all.push(result);
        }
    }
    let new = all.split_off(settings.results.len());
    let taken = Taken {
        file,
        known_already: count - new.len(),
        is_written: write && !new.is_empty(),
        new,
    };
    if taken.is_written {
        append(&settings.directory, &taken)?;
    }
    all.extend(taken.new.iter().cloned());
    let doubts = doubts_of(settings, &all);
    let fresh = settings.results.len();
    let about_new = |doubt: &&ResultDoubt| doubt.results.iter().any(|one| *one >= fresh);
    let doubts: Vec<&ResultDoubt> = doubts.iter().filter(about_new).collect();
    if output.json {
        let mut report = report(&all, &doubts);
        report["file"] = json!(taken.file.display().to_string());
        report["taken"] = json!(taken.new.len());
        report["known_already"] = json!(taken.known_already);
        report["written"] = json!(taken.is_written);
        screen.line(harmless_source(&report.to_string()));
        return Ok(());
    }
    let verb = match (taken.is_written, taken.new.is_empty()) {
        (true, _) => format!("taken into {}", taken.file.display()),
        (false, true) => "new".to_owned(),
        (false, false) => format!("would go into {}", taken.file.display()),
    };
    screen.line(format!(
        "{} results: {} {verb}, {} known already",
        count,
        taken.new.len(),
        taken.known_already
    ));
    show_doubts(&doubts, screen);
    Ok(())
}

/// The same number of the same run, wherever it is written.
fn is_same(one: &BenchResult, other: &BenchResult) -> bool {
    one.parts == other.parts
        && one.test == other.test
        && one.value_micro == other.value_micro
        && one.unit == other.unit
        && one.source == other.source
        && one.date == other.date
        && one.readings == other.readings
}

/// Appends results to a file of `measurements/`, which is replaced whole or not at all.
fn append(directory: &Path, taken: &Taken) -> Result<(), Failure> {
    let path = directory.join(&taken.file);
    let folder = directory.join(MEASUREMENTS);
    std::fs::create_dir_all(&folder)
        .with_context(|| format!("cannot make {}", folder.display()))?;
    let before = match std::fs::read_to_string(&path) {
        Ok(text) => text,
        Err(error) if error.kind() == std::io::ErrorKind::NotFound => String::new(),
        Err(error) => {
            return Err(anyhow::Error::new(error)
                .context(format!("cannot read {}", path.display()))
                .into());
        }
    };
    let header = before.lines().next().unwrap_or_default();
    let is_narrow = header == COLUMNS[..BEFORE_READINGS].join(",");
    let is_ours = before.is_empty() || is_narrow || header == COLUMNS.join(",");
    if !is_ours {
        let message = format!("{} has columns of its own order", taken.file.display());
        let hint = format!(
            "import under another file name, or make its first line {}",
            COLUMNS.join(",")
        );
        return Err(Failure::usage(message, hint));
    }
    let before = match is_narrow {
        true => widened(&before)?,
        false => before,
    };
    let end = match before.is_empty() || before.ends_with('\n') {
        true => "",
        false => "\n",
    };
    let rows = render_csv(&taken.new, before.is_empty());
    wire::write_whole(&path, &format!("{before}{end}{rows}"))
}

/// The rows of a file that was written before results had readings, with their columns, empty.
fn widened(narrow: &str) -> Result<String, Failure> {
    let mut reader = csv::ReaderBuilder::new()
        .flexible(true)
        .from_reader(narrow.as_bytes());
    let mut writer = csv::Writer::from_writer(Vec::new());
    writer.write_record(COLUMNS)?;
    for record in reader.records() {
        let record = record?;
        let empty = COLUMNS.len().saturating_sub(record.len());
        writer.write_record(record.iter().chain(std::iter::repeat_n("", empty)))?;
    }
    let bytes = writer.into_inner().map_err(|error| error.into_error())?;
    Ok(String::from_utf8(bytes)?)
}

fn doubts_of(settings: &Settings, results: &[BenchResult]) -> Vec<ResultDoubt> {
    let today = Clock::from_environment().now().date_naive();
    result_doubts(results, &settings.catalogue, today)
}

fn list(
    settings: &Settings,
    arguments: &MeasureListArguments,
    screen: &Screen,
) -> Result<(), Failure> {
    let results = match &arguments.part {
        Some(name) => {
            let id = PartId::new(name);
            let known = settings.catalogue.parts.keys().map(PartId::as_str);
            if !settings.catalogue.parts.contains_key(&id) {
                let hint = match nearest(name, known) {
                    Some(near) => format!("did you mean \"{near}\"?"),
                    None => "the catalogue's parts are in catalogue/".to_owned(),
                };
                return Err(Failure::usage(
                    format!("no part is called \"{name}\""),
                    hint,
                ));
            }
            let of_part = settings
                .results
                .iter()
                .filter(|one| one.parts.contains(&id));
            of_part.cloned().collect()
        }
        None => settings.results.clone(),
    };
    let doubts = doubts_of(settings, &results);
    let doubts: Vec<&ResultDoubt> = doubts.iter().collect();
    if arguments.output.json {
        screen.line(harmless_source(&report(&results, &doubts).to_string()));
        return Ok(());
    }
    if results.is_empty() {
        screen.line("no results yet; `rigtide measure add` writes one down, `rigtide measure import` takes a file");
        return Ok(());
    }
    let heading = [
        "parts",
        "test",
        "value",
        "limited by",
        "source",
        "date",
        "read off",
    ];
    let mut rows = vec![heading.map(str::to_owned).to_vec()];
    for result in &results {
        let parts: Vec<&str> = result.parts.iter().map(PartId::as_str).collect();
        rows.push(vec![
            parts.join(" + "),
            harmless(&result.test.to_string()),
            format!("{} {}", result.decimal(), result.unit),
            result.limited_by.map_or("", |kind| kind.noun()).to_owned(),
            harmless(&result.source),
            result.date.map_or(String::new(), |date| date.to_string()),
            result.readings.words(),
        ]);
    }
    let set = [
        Set::Left,
        Set::Left,
        Set::Right,
        Set::Left,
        Set::Left,
        Set::Left,
        Set::Left,
    ];
    let mut lines = columns(&rows, &set);
    lines[0] = screen.tone(Tone::Quiet, &lines[0]);
    lines.iter().for_each(|line| screen.line(line));
    show_doubts(&doubts, screen);
    Ok(())
}

fn show_doubts(doubts: &[&ResultDoubt], screen: &Screen) {
    if !doubts.is_empty() {
        screen.line("");
    }
    for doubt in doubts {
        let label = screen.tone(Tone::Strong, doubt.kind.label());
        screen.line(format!("{label}: {}", harmless(&doubt.text)));
    }
}

fn report(results: &[BenchResult], doubts: &[&ResultDoubt]) -> Value {
    let results: Vec<Value> = results
        .iter()
        .map(|result| {
            json!({
                "parts": result.parts,
                "test": result.test.name,
                "setting": result.test.setting,
                "value": result.value(),
                "unit": result.unit.to_string(),
                "limited_by": result.limited_by.map(|kind| kind.to_string()),
                "source": result.source,
                "date": result.date.map(|date| date.to_string()),
                "note": result.note,
                "temperature_c": result.readings.get(Reading::Temperature),
                "wall_w": result.readings.get(Reading::Wall),
                "clock_mhz": result.readings.get(Reading::Clock),
                "voltage_v": result.readings.get(Reading::Voltage),
                "at": result.place(),
            })
        })
        .collect();
    let doubts: Vec<Value> = doubts
        .iter()
        .map(|doubt| {
            json!({
                "kind": doubt.kind.label(),
                "message": doubt.text,
                "results": doubt.results,
            })
        })
        .collect();
    json!({ "results": results, "doubts": doubts })
}
