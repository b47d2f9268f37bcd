//! A first look at lines of fields.

use super::{Candidate, Found, quoted};
use crate::feeds::decode::csv_records::{CsvRecords, Dialect, Found as Row, Splitter};
use crate::feeds::decode::fault::DecodeFault;

const DELIMITERS: [u8; 4] = [b';', b',', b'\t', b'|'];
const ROWS_LOOKED_AT: usize = 40;

pub(super) fn look(sample: &str, is_whole: bool) -> Result<Found, DecodeFault> {
    let readings = DELIMITERS.map(|delimiter| (delimiter, rows(sample, is_whole, delimiter)));
    let mut best: Option<(usize, u8, Vec<Vec<String>>)> = None;
    for (delimiter, rows) in readings {
        let rows = rows?;
        let width = rows.first().map_or(0, Vec::len);
        let alike = rows.iter().filter(|row| row.len() == width).count();
        // Rows of equal width speak for a delimiter, and more fields for it than fewer.
        let score = if width > 1 {
            alike * 100 / rows.len() * width
        } else {
            1
        };
        if best.as_ref().is_none_or(|(known, ..)| score > *known) {
            best = Some((score, delimiter, rows));
        }
    }
    let Some((_, delimiter, rows)) = best else {
        let detail = "there is no row".to_owned();
        return Err(DecodeFault::NoData { detail });
    };
    let (names, values) = rows
        .split_first()
        .map_or((&[][..], &[][..]), |(first, rest)| (first.as_slice(), rest));
    let has_header = !names.iter().any(|name| is_value(name));
    let delimiter_text = if delimiter == b'\t' {
        "tab".to_owned()
    } else {
        char::from(delimiter).to_string()
    };
    let mut found = Found {
        format: "csv",
        keys: vec![("delimiter", quoted(&delimiter_text))],
        candidates: Vec::new(),
        reasons: vec![format!(
            "{} columns divided by \"{delimiter_text}\"",
            names.len()
        )],
    };
    if !has_header {
        found.keys.push(("header", "false".to_owned()));
        found
            .reasons
            .push("the first row holds values, so there is no header".to_owned());
    }
    for (index, name) in names.iter().enumerate() {
        let from = if has_header { values } else { &rows };
        let number = format!("#{}", index + 1);
        let is_nameless = !has_header || name.trim().is_empty() || name.starts_with('#');
        found.candidates.push(Candidate {
            place: if is_nameless {
                number
            } else {
                name.trim().to_owned()
            },
            name: if has_header {
                name.clone()
            } else {
                String::new()
            },
            values: from
                .iter()
                .filter_map(|row| row.get(index).cloned())
                .collect(),
        });
    }
    Ok(found)
}

fn rows(sample: &str, is_whole: bool, delimiter: u8) -> Result<Vec<Vec<String>>, DecodeFault> {
    let dialect = Dialect {
        delimiter,
        quote: Some(b'"'),
        escape: None,
    };
    let mut bytes = sample.as_bytes();
    let mut records = CsvRecords::new(&mut bytes, dialect);
    let mut splitter = Splitter::new(dialect);
    let mut rows = Vec::new();
    while rows.len() < ROWS_LOOKED_AT
        && let Some(row) = records.next()?
    {
        // The last row of a cut sample is not whole.
        if let Row::Record { bytes, is_ended } = row
            && (is_ended || is_whole)
        {
            splitter.split(&bytes);
            let is_separator_line =
                rows.is_empty() && bytes.to_ascii_lowercase().starts_with(b"sep=");
            if !is_separator_line {
                rows.push(splitter.fields().map(str::to_owned).collect());
            }
        }
    }
    Ok(rows)
}

/// A cell that no column would be called: a number or an address.
fn is_value(cell: &str) -> bool {
    let cell = cell.trim();
    let is_number = cell.chars().any(|c| c.is_ascii_digit())
        && cell
            .chars()
            .all(|c| c.is_ascii_digit() || " .,-€$£".contains(c));
    is_number || cell.contains("://")
}
