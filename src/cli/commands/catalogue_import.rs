//! `rigtide catalogue import SOURCE --map MAP.toml`: parts out of any table.
//!
//! Without `--out` the catalogue file goes to standard output and the report to standard error;
//! otherwise the report goes to standard output. `--json` gives
//!
//! ```text
//! { source, rows, imported,
//!   skipped  [{ row, line, column, text, reason }],     every row that is no part
//!   left_out [{ row, line, column, text, reason }],     values that a part goes without
//!   reasons  [{ reason, count }],                       of the skipped rows
//!   unread_columns [], out,
//!   parts [{ id, kind, name, brand, mpn [], gtin [], specs {} }] }
//! ```

use crate::catalogue::import::{
    Import, ImportFault, ImportMap, Refusal, SourceForm, counts, import,
};
use crate::catalogue::{Catalogue, Part, render_parts, specs_json};
use crate::cli::args::ImportArguments;
use crate::cli::report::Failure;
use crate::cli::screen::{Screen, harmless, harmless_source, shortened};
use crate::cli::wire;
use crate::watch::settings::load_catalogue_of;
use anyhow::{Context as _, anyhow};
use serde_json::{Value, json};
use std::path::Path;

/// The first line of every file that this command writes, and may therefore write again.
const MARK: &str = "Taken by `rigtide catalogue import`; another import may replace this file.";

pub fn run(directory: &Path, arguments: &ImportArguments, screen: &Screen) -> Result<(), Failure> {
    let map = read_map(&arguments.map)?;
    let source = &arguments.source;
    screen.progress(&format!("reading {}", source.display()));
    let cannot = || format!("cannot read {}", source.display());
    let bytes = std::fs::read(source).with_context(cannot)?;
    let existing = existing(directory, arguments.out.as_deref())?;
    let form = SourceForm::of_name(&source.to_string_lossy());
    let taken = import(&map, form, &bytes, &existing).map_err(|fault| match fault {
        ImportFault::Mapping(faults) => Failure::Configuration(faults),
        fault @ ImportFault::Source(_) => anyhow!(fault).context(cannot()).into(),
    })?;
    screen.clear_progress();
    let text = render_parts(&comment(&map, &arguments.map, &taken), &taken.parts);
    let out = arguments.out.as_deref().filter(|_| !arguments.dry_run);
    if let Some(out) = out {
        wire::write_generated(out, MARK, &text)?;
    }
    if arguments.output.json {
        screen.line(harmless_source(&report(&map, &taken, out).to_string()));
    } else {
        let lines = lines(&taken, arguments.explain, out);
        if out.is_some() || arguments.dry_run {
            lines.iter().for_each(|line| screen.line(line));
        } else {
            screen.line(text.trim_end());
            lines.iter().for_each(|line| screen.complain(line));
        }
    }
    match taken.parts.is_empty() {
        true => Err(anyhow!("no row of {} became a part", source.display()).into()),
        false => Ok(()),
    }
}

fn read_map(path: &Path) -> Result<ImportMap, Failure> {
    let text = std::fs::read_to_string(path);
    let text = text.with_context(|| format!("cannot read {}", path.display()))?;
    ImportMap::read(&path.to_string_lossy(), &text).map_err(Failure::Configuration)
}

/// The catalogue that the parts are to join; none where there is no configuration.
fn existing(directory: &Path, out: Option<&Path>) -> Result<Catalogue, Failure> {
    if !directory.join("catalogue").is_dir() {
        return Ok(Catalogue::default());
    }
    let (catalogue, faults) = load_catalogue_of(directory, out);
    match faults.is_empty() {
        true => Ok(catalogue),
        false => Err(Failure::Configuration(faults)),
    }
}

fn comment(map: &ImportMap, path: &Path, taken: &Import) -> Vec<String> {
    let file = path.file_name().unwrap_or(path.as_os_str());
    vec![
        MARK.to_owned(),
        format!("Source: {}", map.source),
        format!("Mapping: {}", file.to_string_lossy()),
        format!(
            "{} of {} rows; {} were not taken.",
            taken.parts.len(),
            taken.n_rows,
            taken.skipped.len()
        ),
    ]
}

fn report(map: &ImportMap, taken: &Import, out: Option<&Path>) -> Value {
    let refusals = |refusals: &[Refusal]| -> Vec<Value> {
        let entry = |refusal: &Refusal| {
            json!({
                "row": refusal.row,
                "line": refusal.line,
                "column": refusal.column,
                "text": refusal.text,
                "reason": refusal.reason.to_string(),
            })
        };
        refusals.iter().map(entry).collect()
    };
    let reasons = counts(&taken.skipped).into_iter();
    let reasons = reasons.map(|one| json!({ "reason": one.summary, "count": one.count }));
    json!({
        "source": map.source,
        "rows": taken.n_rows,
        "imported": taken.parts.len(),
        "skipped": refusals(&taken.skipped),
        "left_out": refusals(&taken.left_out),
        "reasons": reasons.collect::<Vec<_>>(),
        "unread_columns": taken.unread_columns,
        "out": out.map(|out| out.to_string_lossy()),
        "parts": taken.parts.iter().map(part_json).collect::<Vec<_>>(),
    })
}

fn part_json(part: &Part) -> Value {
    json!({
        "id": part.id.as_str(),
        "kind": part.kind.name(),
        "name": part.name,
        "brand": part.brand.as_deref(),
        "mpn": part.mpns,
        "gtin": part.gtins.iter().map(ToString::to_string).collect::<Vec<_>>(),
        "specs": specs_json(&part.specs),
    })
}

fn lines(taken: &Import, explains: bool, out: Option<&Path>) -> Vec<String> {
    let (n_parts, n_rows) = (taken.parts.len(), taken.n_rows);
    let mut lines = vec![match out {
        Some(out) => format!(
            "{n_parts} of {n_rows} rows became parts in {}",
            out.display()
        ),
        None => format!("{n_parts} of {n_rows} rows became parts"),
    }];
    for (what, refusals) in [
        ("rows were not taken", &taken.skipped),
        ("values were left out", &taken.left_out),
    ] {
        if refusals.is_empty() {
            continue;
        }
        lines.push(format!("{} {what}:", refusals.len()));
        if explains {
            lines.extend(refusals.iter().map(|one| format!("  {}", said(one, true))));
            continue;
        }
        for count in counts(refusals) {
            let first = said(count.first, false);
            let summary = harmless(&count.summary);
            lines.push(format!(
                "  {:>6}  {summary}; the first: {first}",
                count.count
            ));
        }
    }
    let n_refused = taken.skipped.len() + taken.left_out.len();
    if !explains && n_refused > 0 {
        lines.push("`--explain` lists each of them".to_owned());
    }
    if !taken.unread_columns.is_empty() {
        let columns = harmless(&taken.unread_columns.join(", "));
        lines.push(format!("columns that the mapping does not read: {columns}"));
    }
    lines
}

/// Where, what, and why.
fn said(refusal: &Refusal, with_reason: bool) -> String {
    let mut said = format!("row {}", refusal.row);
    if let Some(line) = refusal.line {
        said = format!("{said} (line {line})");
    }
    if let Some(column) = &refusal.column {
        let text = shortened(&refusal.text, 60);
        said = format!("{said}, {column} = \"{text}\"");
    }
    if with_reason || refusal.column.is_none() {
        said = format!("{said}: {}", refusal.reason);
    }
    harmless(&said)
}
