//! Results: what somebody measured of a part or of a whole build, and the files that hold them.
//!
//! One row is one number: the parts it is of, the test at its setting, the value with its unit,
//! and who found it when. Text goes in; results and every fault come out.

use super::unit::ResultUnit;
use crate::catalogue::table::{At, Document, Table, nearest};
use crate::catalogue::{Catalogue, Fault, Kind, PartId, TestId, scale_decimal};
use chrono::NaiveDate;
use std::ops::Range;

mod readings;
mod rows;

pub use readings::{Reading, Readings};
pub use rows::{COLUMNS, render_csv};

/// One measured number.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct BenchResult {
    /// One part, held back by nothing else, or the parts of a whole build that could limit it.
    pub parts: Vec<PartId>,
    pub test: TestId,
    /// Millionths of the unit; more than zero.
    pub value_micro: i64,
    pub unit: ResultUnit,
    /// Which kind of part held the build back, where that is known.
    pub limited_by: Option<Kind>,
    /// Who measured it.
    pub source: String,
    pub date: Option<NaiveDate>,
    pub note: String,
    /// What was read off meanwhile.
    pub readings: Readings,
    /// Where it is written.
    pub file: String,
    pub line: usize,
}

/// Places behind the point that a value is kept with.
const VALUE_PLACES: u32 = 6;

impl BenchResult {
    /// The value in its unit.
    pub fn value(&self) -> f64 {
        self.value_micro as f64 / 1e6
    }

    /// The rate that it stands for, as a natural logarithm.
    pub fn log_rate(&self) -> f64 {
        self.unit.log_rate(self.value())
    }

    /// The value as it is written.
    pub fn decimal(&self) -> String {
        let (whole, rest) = (self.value_micro / 1_000_000, self.value_micro % 1_000_000);
        match rest {
            0 => whole.to_string(),
            rest => format!("{whole}.{rest:06}")
                .trim_end_matches('0')
                .to_owned(),
        }
    }

    /// File and line, as messages name it.
    pub fn place(&self) -> String {
        format!("{}:{}", self.file, self.line)
    }
}

/// Reads every `(file name, text)`, CSV or TOML by its ending.
///
/// What could be read comes with all faults; use it only when there are none.
pub fn load_results(
    files: &[(&str, &str)],
    catalogue: &Catalogue,
) -> (Vec<BenchResult>, Vec<Fault>) {
    let mut results = Vec::new();
    let mut faults = Vec::new();
    for (file, text) in files {
        let (of_file, faults_of_file) = match file.ends_with(".toml") {
            true => load_toml(file, text, catalogue),
            false => rows::load_csv(file, text, catalogue),
        };
        results.extend(of_file);
        faults.extend(faults_of_file);
    }
    (results, faults)
}

/// The fields of a result as text, before they are checked.
#[derive(Default)]
struct Raw {
    parts: Vec<String>,
    test: String,
    setting: String,
    value: String,
    unit: String,
    limited_by: String,
    source: String,
    date: String,
    note: String,
    /// In the order of [`Reading::ALL`].
    readings: [String; Reading::ALL.len()],
}

/// What is wrong with one field: the field, what, and what to do.
type FieldFault = (&'static str, String, String);

impl Raw {
    /// The result, or everything that is wrong with it.
    fn check(
        self,
        catalogue: &Catalogue,
        place: (&str, usize),
    ) -> Result<BenchResult, Vec<FieldFault>> {
        let mut faults = Vec::new();
        let parts = check_parts(&self.parts, catalogue, &mut faults);
        if self.test.trim().is_empty() {
            let remedy = "write the test's name".to_owned();
            faults.push(("test", "no test is named".to_owned(), remedy));
        }
        let value_micro = scale_decimal(self.value.trim(), VALUE_PLACES).filter(|value| *value > 0);
        if value_micro.is_none() {
            let message = format!("\"{}\" is no number above zero", self.value);
            let remedy =
                "write digits with a point, such as 61.4; leave the row out if the test failed";
            faults.push(("value", message, remedy.to_owned()));
        }
        let unit = ResultUnit::parse(&self.unit);
        if let Err(fault) = &unit {
            let remedy = format!("write {}", ResultUnit::KNOWN);
            faults.push(("unit", fault.to_string(), remedy));
        }
        let limited_by = check_limit(&self.limited_by, &parts, catalogue, &mut faults);
        let date = check_date(&self.date, &mut faults);
        let readings = check_readings(&self.readings, &mut faults);
        if self.source.trim().is_empty() {
            let remedy = "write who measured it, such as \"own bench\"".to_owned();
            faults.push(("source", "no source is named".to_owned(), remedy));
        }
        match (value_micro, unit) {
            (Some(value_micro), Ok(unit)) if faults.is_empty() => Ok(BenchResult {
                parts,
                test: TestId::new(&self.test, &self.setting),
                value_micro,
                unit,
                limited_by,
                source: self.source.trim().to_owned(),
                date,
                note: self.note.trim().to_owned(),
                readings,
                file: place.0.to_owned(),
                line: place.1,
            }),
            _ => Err(faults),
        }
    }
}

fn check_parts(
    names: &[String],
    catalogue: &Catalogue,
    faults: &mut Vec<FieldFault>,
) -> Vec<PartId> {
    let mut parts = Vec::new();
    for name in names {
        let id = PartId::new(name.trim());
        if catalogue.parts.contains_key(&id) {
            parts.push(id);
            continue;
        }
        let known = catalogue.parts.keys().map(PartId::as_str);
        let remedy = match nearest(name, known) {
            Some(near) => format!("did you mean \"{near}\"?"),
            None => "write the part's id in the catalogue".to_owned(),
        };
        faults.push(("parts", format!("no part is called \"{name}\""), remedy));
    }
    if names.is_empty() {
        let remedy =
            "write a part's id, or several with + between them for a whole build".to_owned();
        faults.push(("parts", "no part is named".to_owned(), remedy));
    }
    parts
}

/// The kind that held a build back: one of the kinds of its parts.
fn check_limit(
    text: &str,
    parts: &[PartId],
    catalogue: &Catalogue,
    faults: &mut Vec<FieldFault>,
) -> Option<Kind> {
    let text = text.trim();
    if text.is_empty() {
        return None;
    }
    let kinds = parts
        .iter()
        .filter_map(|id| Some(catalogue.parts.get(id)?.kind));
    let kinds: Vec<Kind> = kinds.collect();
    let kind = Kind::parse(text);
    if kind.is_none_or(|kind| !parts.is_empty() && !kinds.contains(&kind)) {
        let names: Vec<String> = kinds.iter().map(ToString::to_string).collect();
        let remedy = format!("write the kind of one of its parts: {}", names.join(", "));
        let message = format!("\"{text}\" is no kind of a part of this result");
        faults.push(("limited_by", message, remedy));
    }
    kind
}

fn check_readings(texts: &[String], faults: &mut Vec<FieldFault>) -> Readings {
    let mut readings = Readings::default();
    for (reading, text) in Reading::ALL.into_iter().zip(texts) {
        match reading.parse(text) {
            Ok(value) => readings.set(reading, value),
            Err((message, remedy)) => faults.push((reading.column(), message, remedy)),
        }
    }
    readings
}

fn check_date(text: &str, faults: &mut Vec<FieldFault>) -> Option<NaiveDate> {
    let text = text.trim();
    if text.is_empty() {
        return None;
    }
    // A month is often all that is known of a bench.
    let whole = match text.len() {
        7 => format!("{text}-01"),
        _ => text.to_owned(),
    };
    let date = NaiveDate::parse_from_str(&whole, "%Y-%m-%d").ok();
    if date.is_none() {
        let remedy = "write it as 2026-09-30, or 2026-09 when the day is not known";
        faults.push(("date", format!("\"{text}\" is no date"), remedy.to_owned()));
    }
    date
}

fn load_toml(file: &str, text: &str, catalogue: &Catalogue) -> (Vec<BenchResult>, Vec<Fault>) {
    let document = Document::parse(file, text);
    let mut results = Vec::new();
    let mut root = document.root();
    for table in root.tables("result") {
        results.extend(read_table(table, catalogue));
    }
    root.finish();
    (results, document.into_faults())
}

fn read_table(mut table: Table<'_, '_>, catalogue: &Catalogue) -> Option<BenchResult> {
    let document = table.document();
    let whole = table.span();
    let parts = table.texts("parts").map(|at| at.value).unwrap_or_default();
    let mut spans: Vec<(&'static str, Range<usize>)> = Vec::new();
    let mut text = |key: &'static str, at: Option<At<String>>| match at {
        Some(at) => {
            spans.push((key, at.span));
            at.value
        }
        None => String::new(),
    };
    let raw = Raw {
        parts: parts
            .into_iter()
            .map(|part| text("parts", Some(part)))
            .collect(),
        test: text("test", table.text("test")),
        setting: text("setting", table.text("setting")),
        value: text("value", table.decimal("value")),
        unit: text("unit", table.text("unit")),
        limited_by: text("limited_by", table.text("limited_by")),
        source: text("source", table.text("source")),
        date: text("date", table.text("date")),
        note: text("note", table.text("note")),
        readings: Reading::ALL.map(|one| text(one.column(), table.decimal(one.column()))),
    };
    table.finish();
    let (line, _) = document.position(whole.start);
    let checked = raw.check(catalogue, (document.file(), line));
    match checked {
        Ok(result) => Some(result),
        Err(faults) => {
            for (field, message, remedy) in faults {
                let span = spans.iter().find(|(key, _)| *key == field);
                let span = span.map_or(&whole, |(_, span)| span);
                document.fault(span, format!("{field}: {message}"), remedy);
            }
            None
        }
    }
}
