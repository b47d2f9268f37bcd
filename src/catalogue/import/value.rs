//! One value of a row: from which columns, through which pattern, table and unit.

use super::report::Reason;
use super::rows::{Row, Source};
use crate::catalogue::spec::{Shape, SpecValue};
use crate::catalogue::units::parse_measure;
use regex::Regex;
use std::collections::BTreeMap;

/// Where a value stands in a row and how it is read.
#[derive(Debug, Clone)]
pub(super) struct ValueRule {
    /// The field of a part that it gives: a spec's key, `name`, `gtin` ...
    pub field: &'static str,
    pub place: Place,
    pub pattern: Option<Regex>,
    pub table: BTreeMap<String, String>,
    /// The unit of bare numbers.
    pub unit: Option<String>,
    /// What separates the texts of a list.
    pub split: String,
    /// What an empty cell stands for.
    pub default: Option<String>,
    pub leaves_out: bool,
}

#[derive(Debug, Clone)]
pub(super) enum Place {
    /// The first of these columns that is not empty.
    Columns(Vec<Mapped>),
    /// Texts with columns between them.
    Template(Vec<Piece>),
}

#[derive(Debug, Clone)]
pub(super) enum Piece {
    Text(String),
    Column(Mapped),
}

/// A column as the mapping names it.
#[derive(Debug, Clone)]
pub(super) struct Mapped {
    pub name: String,
    pub line: usize,
    pub column: usize,
}

/// The text of a rule in a row, before its shape is read.
pub(super) struct Found {
    pub column: Option<String>,
    /// As it stands in the source.
    pub text: String,
    /// As the pattern and the table made it.
    pub value: String,
}

/// How a mapping wants cells read.
pub(super) struct CellTerms<'m> {
    /// Texts that stand for an empty cell.
    pub empty: &'m [String],
    pub decimal_mark: Option<char>,
}

impl Place {
    pub fn columns(&self) -> Vec<&Mapped> {
        match self {
            Place::Columns(columns) => columns.iter().collect(),
            Place::Template(pieces) => pieces
                .iter()
                .filter_map(|piece| match piece {
                    Piece::Column(column) => Some(column),
                    Piece::Text(_) => None,
                })
                .collect(),
        }
    }
}

impl CellTerms<'_> {
    pub fn cell(&self, source: &Source, row: &Row, column: &str) -> String {
        let cell = source.cell(row, column);
        match self.empty.iter().any(|empty| *empty == cell) {
            true => String::new(),
            false => cell.into_owned(),
        }
    }
}

impl ValueRule {
    /// What the row says; `None` when it says nothing.
    pub fn find(
        &self,
        source: &Source,
        row: &Row,
        terms: &CellTerms<'_>,
    ) -> Result<Option<Found>, Box<(Found, Reason)>> {
        let (column, text) = match &self.place {
            Place::Columns(columns) => {
                let cells = columns.iter().map(|column| {
                    let cell = terms.cell(source, row, &column.name);
                    (Some(column.name.clone()), cell)
                });
                let mut filled = cells.filter(|(_, cell)| !cell.is_empty());
                filled.next().unwrap_or_default()
            }
            Place::Template(pieces) => {
                let texts = pieces.iter().map(|piece| match piece {
                    Piece::Text(text) => text.clone(),
                    Piece::Column(column) => terms.cell(source, row, &column.name),
                });
                let joined: String = texts.collect();
                let words: Vec<&str> = joined.split_whitespace().collect();
                (None, words.join(" "))
            }
        };
        if text.is_empty() {
            let default = self.default.clone();
            return Ok(default.map(|value| Found {
                column,
                text,
                value,
            }));
        }
        let mut found = Found {
            column,
            value: text.clone(),
            text,
        };
        if let Some(pattern) = &self.pattern {
            let Some(captured) = pattern.captures(&found.text) else {
                return Err(Box::new((found, Reason::Pattern(self.field))));
            };
            let group = captured.iter().skip(1).flatten().next();
            let group = group.or_else(|| captured.get(0));
            found.value = group.map_or_else(String::new, |group| group.as_str().trim().to_owned());
        }
        if !self.table.is_empty() {
            match self.table.get(&found.value) {
                Some(value) => found.value.clone_from(value),
                None => return Err(Box::new((found, Reason::Unlisted(self.field)))),
            }
        }
        Ok(Some(found))
    }

    /// A text as the list that it is.
    pub fn texts(&self, value: &str) -> Vec<String> {
        let texts = value.split(self.split.as_str()).map(str::trim);
        let filled = texts.filter(|text| !text.is_empty());
        filled.map(str::to_owned).collect()
    }

    /// Reads a value as a spec of this shape.
    pub fn spec_value(
        &self,
        value: &str,
        shape: &Shape,
        terms: &CellTerms<'_>,
    ) -> Result<SpecValue, Reason> {
        let field = self.field;
        let number = |text: &str, unit: &'static str, plausible: &std::ops::Range<i64>| {
            let number = self.measure(text, unit, terms)?;
            match plausible.contains(&number) {
                true => Ok(number),
                false => Err(Reason::Implausible {
                    field,
                    number,
                    unit,
                    low: plausible.start,
                    high: plausible.end - 1,
                }),
            }
        };
        Ok(match shape {
            Shape::Text => SpecValue::Text(value.into()),
            Shape::Texts => SpecValue::Texts(self.texts(value).into()),
            Shape::Flag => match value.to_lowercase().as_str() {
                "true" | "yes" | "y" | "1" => SpecValue::Flag(true),
                "false" | "no" | "n" | "0" => SpecValue::Flag(false),
                _ => return Err(Reason::Flag(field)),
            },
            Shape::Number { unit, plausible } => SpecValue::Number(number(value, unit, plausible)?),
            Shape::Numbers { unit, plausible } => {
                let texts = self.texts(value);
                let numbers = texts.iter().map(|text| number(text, unit, plausible));
                SpecValue::Numbers(numbers.collect::<Result<_, Reason>>()?)
            }
            // No cell holds these; the mapping's reader refuses a rule for them.
            Shape::Entries(_) => return Err(Reason::Unlisted(field)),
        })
    }

    fn measure(
        &self,
        text: &str,
        unit: &'static str,
        terms: &CellTerms<'_>,
    ) -> Result<i64, Reason> {
        let field = self.field;
        let plain = plain_number(field, text, terms.decimal_mark)?;
        let ends_bare = plain.ends_with(|last: char| last.is_ascii_digit());
        let with_unit = match &self.unit {
            Some(written) if ends_bare => format!("{plain} {written}"),
            _ => plain,
        };
        parse_measure(&with_unit, unit).map_err(|fault| Reason::Measure { field, fault })
    }
}

/// The number at the start of a text with a dot as decimal mark and no other marks in it.
fn plain_number(
    field: &'static str,
    text: &str,
    decimal_mark: Option<char>,
) -> Result<String, Reason> {
    let end = text.find(|one: char| !one.is_ascii_digit() && !matches!(one, '.' | ','));
    let (number, rest) = text.split_at(end.unwrap_or(text.len()));
    let commas = number.matches(',').count();
    match decimal_mark {
        Some(mark) => {
            let thousands = if mark == ',' { '.' } else { ',' };
            let plain = number.replace(thousands, "").replace(mark, ".");
            Ok(format!("{plain}{rest}"))
        }
        None if is_grouped(number) && commas == 1 && !number.contains('.') => {
            Err(Reason::TwoReadings {
                field,
                text: text.to_owned(),
                one: number.replace(',', ""),
                other: number.replace(',', "."),
            })
        }
        None if is_grouped(number) => Ok(format!("{}{rest}", number.replace(',', ""))),
        None => Ok(text.to_owned()),
    }
}

/// True for `1,200` and `1,200,000.5`: groups of three digits after each comma.
fn is_grouped(number: &str) -> bool {
    let whole = number.split_once('.').map_or(number, |(whole, _)| whole);
    let mut groups = whole.split(',');
    let first = groups.next().unwrap_or("");
    let rest: Vec<&str> = groups.collect();
    // Nobody groups after a zero: `0,850` is less than one.
    let is_first = (1..=3).contains(&first.len()) && !first.starts_with('0');
    is_first && !rest.is_empty() && rest.iter().all(|group| group.len() == 3)
}
