//! Reads a TOML file that a person edits and reports everything wrong with it at once.
//!
//! A [`Document`] is parsed once. A [`Table`] hands out typed values key by key and remembers
//! which keys were asked for, so that [`Table::finish`] can name the unknown ones together with
//! the nearest known key. Decimals stay text: no amount passes through a float.

mod lists;

use super::fault::Fault;
pub use super::nearest::nearest;
use super::units::{is_plain_decimal, parse_measure, scale_decimal};
use crate::money::{Currency, Money};
use std::cell::RefCell;
use std::ops::Range;
use toml::Spanned;
use toml::de::{DeTable, DeValue};

/// One TOML file with its text, for positions, and the faults found so far.
pub struct Document<'t> {
    file: &'t str,
    text: &'t str,
    root: Spanned<DeTable<'t>>,
    /// Whether its syntax has faults.
    is_broken: bool,
    faults: RefCell<Vec<Fault>>,
}

/// A value together with where it stands.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct At<T> {
    pub value: T,
    pub span: Range<usize>,
}

/// One table of a [`Document`], read key by key.
pub struct Table<'d, 't> {
    document: &'d Document<'t>,
    table: &'d DeTable<'t>,
    span: Range<usize>,
    /// In the order of asking, with repeats: every table asks for all that it may hold.
    asked: Vec<&'static str>,
}

impl<'t> Document<'t> {
    /// Parses `text`; syntax errors become faults and what can be read stands.
    pub fn parse(file: &'t str, text: &'t str) -> Document<'t> {
        let (root, errors) = DeTable::parse_recoverable(text);
        let document = Document {
            file,
            text,
            root,
            is_broken: false,
            faults: RefCell::default(),
        };
        for error in errors {
            let message = error
                .message()
                .lines()
                .next()
                .unwrap_or("not TOML")
                .to_owned();
            let span = error.span().unwrap_or(0..0);
            document.fault(&span, message, "correct the TOML syntax here");
        }
        Document {
            is_broken: !document.is_clean(),
            ..document
        }
    }

    pub fn root(&self) -> Table<'_, 't> {
        Table::new(self, self.root.get_ref(), self.root.span())
    }

    /// The file's name as it was given.
    pub fn file(&self) -> &'t str {
        self.file
    }

    pub fn text(&self) -> &'t str {
        self.text
    }

    /// Records a fault at a place in the text.
    pub fn fault(
        &self,
        span: &Range<usize>,
        message: impl Into<String>,
        remedy: impl Into<String>,
    ) {
        // The parser puts a value of its own, which stands nowhere, where it can make out none.
        if self.is_broken && *span == (0..0) {
            return;
        }
        let (line, column) = self.position(span.start);
        let (message, remedy) = (message.into(), remedy.into());
        let file = self.file.to_owned();
        self.faults.borrow_mut().push(Fault {
            file,
            line,
            column,
            message,
            remedy,
        });
    }

    /// The faults found, in the order of the text.
    pub fn into_faults(self) -> Vec<Fault> {
        let mut faults = self.faults.into_inner();
        faults.sort_by_key(|fault| (fault.line, fault.column));
        faults.dedup();
        faults
    }

    /// True when nothing was found wrong so far.
    pub fn is_clean(&self) -> bool {
        self.faults.borrow().is_empty()
    }

    /// Line and column, from 1, of a byte of the text.
    pub fn position(&self, offset: usize) -> (usize, usize) {
        position_in(self.text, offset)
    }
}

/// Line and column, from 1, of a byte of a text.
pub(super) fn position_in(text: &str, offset: usize) -> (usize, usize) {
    let before = text.get(..offset).unwrap_or(text);
    let line_start = before.rfind('\n').map_or(0, |newline| newline + 1);
    (
        before.matches('\n').count() + 1,
        before[line_start..].chars().count() + 1,
    )
}

impl<'d, 't> Table<'d, 't> {
    fn new(document: &'d Document<'t>, table: &'d DeTable<'t>, span: Range<usize>) -> Self {
        Table {
            document,
            table,
            span,
            asked: Vec::new(),
        }
    }

    pub fn document(&self) -> &'d Document<'t> {
        self.document
    }

    /// Where the table stands.
    pub fn span(&self) -> Range<usize> {
        self.span.clone()
    }

    /// True when the key is there; asking does not count as reading it.
    pub fn has(&self, key: &str) -> bool {
        self.table.contains_key(key)
    }

    /// True when the key leads to a table; asking does not count as reading it.
    pub fn is_table(&self, key: &str) -> bool {
        self.table
            .get(key)
            .is_some_and(|value| matches!(value.get_ref(), DeValue::Table(_)))
    }

    pub fn text(&mut self, key: &'static str) -> Option<At<String>> {
        let value = self.value(key)?;
        match value.get_ref() {
            DeValue::String(text) => Some(at(value, text.as_ref().to_owned())),
            other => self.wrong(key, &value.span(), "text in quotes", other),
        }
    }

    pub fn required_text(&mut self, key: &'static str) -> Option<At<String>> {
        self.require(key)?;
        let text = self.text(key)?;
        if text.value.trim().is_empty() {
            self.document
                .fault(&text.span, format!("`{key}` is empty"), "write a value");
            return None;
        }
        Some(text)
    }

    /// A whole number within `range`.
    pub fn integer(&mut self, key: &'static str, range: Range<i64>) -> Option<At<i64>> {
        let value = self.value(key)?;
        let DeValue::Integer(integer) = value.get_ref() else {
            return self.wrong(key, &value.span(), "a whole number", value.get_ref());
        };
        let digits = integer.as_str().replace('_', "");
        match i64::from_str_radix(&digits, integer.radix()) {
            Ok(number) if range.contains(&number) => Some(at(value, number)),
            _ => {
                let (low, high) = (range.start, range.end - 1);
                let message = format!("`{key}` is {digits}, outside {low} to {high}");
                self.document
                    .fault(&value.span(), message, "write a plausible number");
                None
            }
        }
    }

    /// A whole number of `unit` within `range`: a bare number, or a text such as `"16.5 cm"`.
    pub fn measure(
        &mut self,
        key: &'static str,
        unit: &'static str,
        range: Range<i64>,
    ) -> Option<At<i64>> {
        let value = self.value(key)?;
        let DeValue::String(text) = value.get_ref() else {
            return self.integer(key, range);
        };
        let message = match parse_measure(text, unit) {
            Ok(number) if range.contains(&number) => return Some(at(value, number)),
            Ok(number) => {
                let (low, high) = (range.start, range.end - 1);
                format!("`{key}` is {number} {unit}, outside {low} to {high}")
            }
            Err(fault) => format!("`{key}`: {fault}"),
        };
        let remedy = "write a plausible number, or one with its unit";
        self.document.fault(&value.span(), message, remedy);
        None
    }

    /// A decimal number as its text (`12`, `12.5` or `"12.5"`), never as a float.
    pub fn decimal(&mut self, key: &'static str) -> Option<At<String>> {
        let value = self.value(key)?;
        let text = match value.get_ref() {
            DeValue::Integer(integer) if integer.radix() == 10 => integer.as_str().replace('_', ""),
            DeValue::Float(float) => float.as_str().replace('_', ""),
            DeValue::String(text) => text.trim().to_owned(),
            other => return self.wrong(key, &value.span(), "a number", other),
        };
        if is_plain_decimal(&text) {
            return Some(at(value, text));
        }
        let message = format!("`{key}` is \"{text}\", not a plain decimal number");
        self.document.fault(
            &value.span(),
            message,
            "write digits with a point, such as 12.5",
        );
        None
    }

    /// A decimal number scaled by a power of ten to an integer; more places are a fault.
    pub fn scaled(&mut self, key: &'static str, places: u32) -> Option<At<i64>> {
        let decimal = self.decimal(key)?;
        match scale_decimal(&decimal.value, places) {
            Some(value) => Some(At {
                value,
                span: decimal.span,
            }),
            None => {
                let message = format!("`{key}` is {}, too long or too fine", decimal.value);
                let remedy = format!("use at most {places} decimal places");
                self.document.fault(&decimal.span, message, remedy);
                None
            }
        }
    }

    /// An amount in `currency`, written as a decimal: `1500`, `1500.00` or `"1500.00"`.
    pub fn money(&mut self, key: &'static str, currency: Currency) -> Option<At<Money>> {
        let scaled = self.scaled(key, currency.exponent())?;
        if scaled.value < 0 {
            let message = format!("`{key}` is negative");
            self.document
                .fault(&scaled.span, message, "write an amount of zero or more");
            return None;
        }
        Some(At {
            value: Money::from_minor(scaled.value, currency),
            span: scaled.span,
        })
    }

    pub fn flag(&mut self, key: &'static str) -> Option<At<bool>> {
        let value = self.value(key)?;
        match value.get_ref() {
            DeValue::Boolean(flag) => Some(at(value, *flag)),
            other => self.wrong(key, &value.span(), "true or false", other),
        }
    }

    /// The table under a key, `[key]`.
    pub fn table(&mut self, key: &'static str) -> Option<Table<'d, 't>> {
        let value = self.value(key)?;
        match value.get_ref() {
            DeValue::Table(table) => Some(Table::new(self.document, table, value.span())),
            other => self.wrong(key, &value.span(), "a table", other),
        }
    }

    /// The tables under a key, `[[key]]`; none when the key is absent.
    pub fn tables(&mut self, key: &'static str) -> Vec<Table<'d, 't>> {
        let Some(value) = self.value(key) else {
            return Vec::new();
        };
        let DeValue::Array(array) = value.get_ref() else {
            let _: Option<()> =
                self.wrong(key, &value.span(), "tables, as [[..]]", value.get_ref());
            return Vec::new();
        };
        let mut tables = Vec::new();
        for entry in array.iter() {
            match entry.get_ref() {
                DeValue::Table(table) => {
                    tables.push(Table::new(self.document, table, entry.span()));
                }
                other => {
                    let _: Option<()> = self.wrong(key, &entry.span(), "a table", other);
                }
            }
        }
        tables
    }

    /// Every key of a table whose keys are names that the author chose, with texts as values.
    pub fn named_texts(self) -> Vec<(At<String>, At<String>)> {
        let mut pairs = Vec::new();
        for (key, value) in self.table.iter() {
            let name = At {
                value: key.get_ref().as_ref().to_owned(),
                span: key.span(),
            };
            match value.get_ref() {
                DeValue::String(text) => pairs.push((name, at(value, text.as_ref().to_owned()))),
                other => {
                    let expected = format!("expected text in quotes, found {}", type_name(other));
                    self.document
                        .fault(&value.span(), expected, "put quotes around the value");
                }
            }
        }
        pairs
    }

    /// Every key of a table whose keys are names that the author chose, with tables as values.
    pub fn named_tables(self) -> Vec<(At<String>, Table<'d, 't>)> {
        let mut pairs = Vec::new();
        for (key, value) in self.table.iter() {
            let name = At {
                value: key.get_ref().as_ref().to_owned(),
                span: key.span(),
            };
            match value.get_ref() {
                DeValue::Table(table) => {
                    pairs.push((name, Table::new(self.document, table, value.span())));
                }
                other => {
                    let message = format!("expected a table, found {}", type_name(other));
                    self.document
                        .fault(&value.span(), message, "write it as { key = value }");
                }
            }
        }
        pairs
    }

    /// Records a fault when the key is missing.
    pub fn require(&self, key: &'static str) -> Option<()> {
        if self.table.contains_key(key) {
            return Some(());
        }
        self.document.fault(
            &self.span,
            format!("`{key}` is missing"),
            format!("add `{key} = ...`"),
        );
        None
    }

    /// Names every key that nobody asked for, with the nearest that is known.
    pub fn finish(mut self) {
        self.asked.sort_unstable();
        self.asked.dedup();
        for (key, _) in self.table.iter() {
            let name = key.get_ref().as_ref();
            if self.asked.binary_search(&name).is_ok() {
                continue;
            }
            let remedy = match nearest(name, self.asked.iter().copied()) {
                Some(known) => format!("did you mean `{known}`?"),
                None => format!("known keys here: {}", self.asked.join(", ")),
            };
            self.document
                .fault(&key.span(), format!("unknown key `{name}`"), remedy);
        }
    }

    fn value(&mut self, key: &'static str) -> Option<&'d Spanned<DeValue<'t>>> {
        self.asked.push(key);
        self.table.get(key)
    }

    fn wrong<T>(
        &self,
        key: &str,
        span: &Range<usize>,
        expected: &str,
        found: &DeValue<'_>,
    ) -> Option<T> {
        let message = format!("`{key}` should be {expected}, found {}", type_name(found));
        self.document
            .fault(span, message, format!("write {expected}"));
        None
    }
}

fn at<T>(value: &Spanned<DeValue<'_>>, inner: T) -> At<T> {
    At {
        value: inner,
        span: value.span(),
    }
}

fn type_name(value: &DeValue<'_>) -> &'static str {
    match value {
        DeValue::String(_) => "text",
        DeValue::Integer(_) => "a whole number",
        DeValue::Float(_) => "a decimal number",
        DeValue::Boolean(_) => "true or false",
        DeValue::Datetime(_) => "a date",
        DeValue::Array(_) => "a list",
        DeValue::Table(_) => "a table",
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_fault_is_reported_at_once_with_line_and_column() {
        let text = "name = 5\nbudgett = \"1\"\nprice = 1.005\n\n[sub]\nx = true\n";
        let document = Document::parse("briefs/a.toml", text);
        let mut root = document.root();
        assert_eq!(root.required_text("name"), None);
        assert_eq!(root.money("price", Currency::EUR), None);
        assert_eq!(root.money("budget", Currency::EUR), None);
        let mut sub = root.table("sub").unwrap();
        assert_eq!(sub.flag("x").map(|x| x.value), Some(true));
        sub.finish();
        root.finish();
        let faults: Vec<String> = document
            .into_faults()
            .iter()
            .map(Fault::to_string)
            .collect();
        assert_eq!(
            faults,
            [
                "briefs/a.toml:1:8: `name` should be text in quotes, found a whole number; \
                 write text in quotes",
                "briefs/a.toml:2:1: unknown key `budgett`; did you mean `budget`?",
                "briefs/a.toml:3:9: `price` is 1.005, too long or too fine; \
                 use at most 2 decimal places",
            ]
        );
    }

    #[test]
    fn broken_syntax_is_a_fault_and_not_a_panic() {
        for text in ["a = ", "[[", "x = \"", "\u{0}", "a.b.c = [1, {", "= 1"] {
            assert!(!Document::parse("f", text).is_clean(), "{text:?}");
        }
    }
}
