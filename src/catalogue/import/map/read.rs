//! Reads a mapping file and reports everything wrong with it at once.

use super::source::{read_decimal_mark, read_delimiter, read_encoding, read_format, read_records};
use super::{ImportMap, KindRule, Lookup, Skip};
use crate::catalogue::fault::Fault;
use crate::catalogue::import::value::{Mapped, Piece, Place, ValueRule};
use crate::catalogue::kind::Kind;
use crate::catalogue::load::read_kind;
use crate::catalogue::nearest::nearest;
use crate::catalogue::read_spec::read_specs;
use crate::catalogue::sorted::Sorted;
use crate::catalogue::spec::{SPECS, Shape, Spec, SpecValue};
use crate::catalogue::table::{At, Document, Table};
use crate::catalogue::units::parse_measure;
use regex::Regex;
use std::collections::BTreeMap;
use std::ops::Range;

pub(super) fn read_map(file: &str, text: &str) -> Result<ImportMap, Vec<Fault>> {
    let document = Document::parse(file, text);
    let map = read_root(document.root());
    let faults = document.into_faults();
    match map {
        Some(map) if faults.is_empty() => Ok(map),
        _ => Err(faults),
    }
}

fn read_root(mut table: Table<'_, '_>) -> Option<ImportMap> {
    let source = table.required_text("source");
    let format = read_format(&mut table);
    let encoding = read_encoding(&mut table);
    let delimiter = read_delimiter(&mut table);
    let records = read_records(&mut table);
    let decimal_mark = read_decimal_mark(&mut table);
    let empty = table.texts("empty").map(|texts| plain(texts.value));
    let kind = read_kind_rule(&mut table);
    let fixed = match &kind {
        Some(KindRule::Always(kind)) => Some(*kind),
        _ => None,
    };
    let id = table.text("id").unwrap_or_else(|| At {
        value: "{brand}-{name}".to_owned(),
        span: table.span(),
    });
    let id = pieces(&table, &id);
    table.require("name");
    let name = read_rule(&mut table, "name", None);
    let brand = read_rule(&mut table, "brand", None);
    let mpn = read_rule(&mut table, "mpn", None);
    let gtin = read_rule(&mut table, "gtin", None);
    let needs = read_needs(&mut table);
    let specs = table
        .table("specs")
        .map(|specs| read_spec_rules(specs, fixed));
    let always = table.table("always").map(|mut always| {
        let specs = read_specs(&mut always, fixed);
        always.finish();
        specs
    });
    let skips = table.tables("skip").into_iter().map(read_skip).collect();
    let lookups = table.tables("lookup").into_iter();
    let lookups = lookups.map(|lookup| read_lookup(lookup, fixed)).collect();
    let file = table.document().file().to_owned();
    table.finish();
    let skips: Option<Vec<Skip>> = skips;
    let lookups: Option<Vec<Lookup>> = lookups;
    Some(ImportMap {
        file,
        source: source?.value,
        format: format?,
        encoding: encoding?,
        delimiter: delimiter?,
        records: records?,
        decimal_mark: decimal_mark?,
        empty: empty.unwrap_or_default(),
        kind: kind?,
        id: id?,
        id_is_exact: false,
        name: name?,
        brand,
        mpn,
        gtin,
        specs: specs.unwrap_or_default(),
        lookups: lookups?,
        always: always.unwrap_or_default(),
        needs,
        skips: skips?,
    })
}

fn plain(texts: Vec<At<String>>) -> Vec<String> {
    texts.into_iter().map(|text| text.value).collect()
}

fn read_kind_rule(table: &mut Table<'_, '_>) -> Option<KindRule> {
    table.require("kind")?;
    if table.is_table("kind") {
        return read_rule(table, "kind", None).map(KindRule::Read);
    }
    let kind = table.text("kind")?;
    read_kind(table, &kind).map(KindRule::Always)
}

fn read_needs(table: &mut Table<'_, '_>) -> Vec<Spec> {
    let needs = table.texts("needs").map(|texts| texts.value);
    let mut specs = Vec::new();
    for need in needs.unwrap_or_default() {
        match Spec::parse(&need.value) {
            Some(spec) => specs.push(spec),
            None => {
                let remedy = match nearest(&need.value, SPECS.iter().map(|def| def.key)) {
                    Some(near) => format!("did you mean \"{near}\"?"),
                    None => "name specs by their keys".to_owned(),
                };
                let message = format!("unknown spec \"{}\"", need.value);
                table.document().fault(&need.span, message, remedy);
            }
        }
    }
    specs
}

fn read_spec_rules(mut table: Table<'_, '_>, kind: Option<Kind>) -> Vec<(Spec, ValueRule)> {
    let mut rules = Vec::new();
    let belonging = SPECS
        .iter()
        .filter(|def| kind.is_none_or(|kind| def.kinds.contains(&kind)));
    for def in belonging {
        if let Some(rule) = read_rule(&mut table, def.key, Some(&def.shape)) {
            rules.push((def.spec, rule));
        }
    }
    table.finish();
    rules
}

/// A value: a column, several, a template, or a table that says more.
fn read_rule(
    table: &mut Table<'_, '_>,
    key: &'static str,
    shape: Option<&Shape>,
) -> Option<ValueRule> {
    if table.has(key) && matches!(shape, Some(Shape::Entries(_))) {
        let span = table.texts(key).map_or_else(|| table.span(), |at| at.span);
        let message = format!("`{key}` holds tables, which no cell gives");
        let remedy = "give it under [always] or in a [[lookup]]";
        table.document().fault(&span, message, remedy);
        return None;
    }
    if !table.is_table(key) {
        let places = table.texts(key)?;
        let place = read_place(table, &places.value, &places.span)?;
        return Some(simple(key, place));
    }
    let mut rule = table.table(key)?;
    let place = match (rule.texts("column"), rule.text("template")) {
        (Some(columns), None) => Place::Columns(mapped(&rule, &columns.value)),
        (None, Some(template)) => Place::Template(pieces(&rule, &template)?),
        _ => {
            let message = format!("`{key}` needs `column` or `template`, one of the two");
            rule.document()
                .fault(&rule.span(), message, "name the column");
            return None;
        }
    };
    let pattern = match rule.text("pattern") {
        Some(text) => Some(read_pattern(&rule, &text)?),
        None => None,
    };
    let named = rule.table("table").map(Table::named_texts);
    let named = named.unwrap_or_default().into_iter();
    let read = ValueRule {
        pattern,
        table: named
            .map(|(text, value)| (text.value, value.value))
            .collect(),
        unit: read_unit(&mut rule, key, shape)?,
        split: read_split(&mut rule)?,
        default: rule.text("default").map(|text| text.value),
        leaves_out: read_otherwise(&mut rule)?,
        ..simple(key, place)
    };
    rule.finish();
    Some(read)
}

fn simple(field: &'static str, place: Place) -> ValueRule {
    ValueRule {
        field,
        place,
        pattern: None,
        table: BTreeMap::new(),
        unit: None,
        split: ";".to_owned(),
        default: None,
        leaves_out: false,
    }
}

fn read_place(table: &Table<'_, '_>, texts: &[At<String>], span: &Range<usize>) -> Option<Place> {
    match texts {
        [one] if one.value.contains('{') => pieces(table, one).map(Place::Template),
        [] => {
            let message = "no column is named";
            table.document().fault(span, message, "name the column");
            None
        }
        _ => Some(Place::Columns(mapped(table, texts))),
    }
}

fn mapped(table: &Table<'_, '_>, columns: &[At<String>]) -> Vec<Mapped> {
    let at = |text: &At<String>| {
        let (line, column) = table.document().position(text.span.start);
        Mapped {
            name: text.value.clone(),
            line,
            column,
        }
    };
    columns.iter().map(at).collect()
}

/// Splits `{Maker} {Model}` into columns and the texts between them.
fn pieces(table: &Table<'_, '_>, template: &At<String>) -> Option<Vec<Piece>> {
    let (line, column) = table.document().position(template.span.start);
    let mut pieces = Vec::new();
    let mut rest = template.value.as_str();
    while let Some((before, after)) = rest.split_once('{') {
        let Some((name, behind)) = after.split_once('}') else {
            let message = "a brace is opened and not closed";
            let remedy = "write columns as {name}";
            table.document().fault(&template.span, message, remedy);
            return None;
        };
        pieces.push(Piece::Text(before.to_owned()));
        pieces.push(Piece::Column(Mapped {
            name: name.to_owned(),
            line,
            column,
        }));
        rest = behind;
    }
    pieces.push(Piece::Text(rest.to_owned()));
    Some(pieces)
}

fn read_pattern(table: &Table<'_, '_>, text: &At<String>) -> Option<Regex> {
    match Regex::new(&text.value) {
        Ok(pattern) => Some(pattern),
        Err(error) => {
            let last = error.to_string();
            let last = last.lines().last().unwrap_or("unreadable").trim();
            let message = format!("the pattern is no regular expression: {last}");
            let remedy = "correct it, or write \\ before a character that means itself";
            table.document().fault(&text.span, message, remedy);
            None
        }
    }
}

/// The outer `None` is a fault: a unit that the spec's own cannot be reckoned from.
fn read_unit(rule: &mut Table<'_, '_>, key: &str, shape: Option<&Shape>) -> Option<Option<String>> {
    let Some(written) = rule.text("unit") else {
        return Some(None);
    };
    let fault = match shape {
        Some(Shape::Number { unit, .. } | Shape::Numbers { unit, .. }) => {
            match parse_measure(&format!("1 {}", written.value), unit) {
                Ok(_) => return Some(Some(written.value)),
                Err(fault) => fault.to_string(),
            }
        }
        _ => format!("`{key}` is no number"),
    };
    let message = format!("`unit` of `{key}`: {fault}");
    let remedy = "write a unit of the same kind, or none";
    rule.document().fault(&written.span, message, remedy);
    None
}

fn read_split(rule: &mut Table<'_, '_>) -> Option<String> {
    let Some(split) = rule.text("split") else {
        return Some(";".to_owned());
    };
    if split.value.is_empty() {
        let message = "`split` is empty";
        rule.document()
            .fault(&split.span, message, "write what separates the texts");
        return None;
    }
    Some(split.value)
}

fn read_otherwise(table: &mut Table<'_, '_>) -> Option<bool> {
    let Some(otherwise) = table.text("otherwise") else {
        return Some(false);
    };
    match otherwise.value.as_str() {
        "skip" => Some(false),
        "leave out" => Some(true),
        other => {
            let message = format!("`otherwise` is \"{other}\"");
            let remedy = "write \"skip\" or \"leave out\"";
            table.document().fault(&otherwise.span, message, remedy);
            None
        }
    }
}

fn read_skip(mut table: Table<'_, '_>) -> Option<Skip> {
    let column = table.required_text("column");
    let reason = table.required_text("reason");
    let (matches, unless) = (table.text("matches"), table.text("unless"));
    let (text, on_match) = match (matches, unless) {
        (Some(text), None) => (text, true),
        (None, Some(text)) => (text, false),
        _ => {
            let message = "a [[skip]] needs `matches` or `unless`, one of the two";
            let remedy = "write a pattern for the rows to skip, or for those to keep";
            table.document().fault(&table.span(), message, remedy);
            return None;
        }
    };
    let pattern = read_pattern(&table, &text);
    let column = mapped(&table, &[column?]).pop();
    table.finish();
    Some(Skip {
        column: column?,
        pattern: pattern?,
        on_match,
        reason: reason?.value,
    })
}

fn read_lookup(mut table: Table<'_, '_>, kind: Option<Kind>) -> Option<Lookup> {
    let column = table.required_text("column");
    let leaves_out = read_otherwise(&mut table);
    table.require("values");
    let values = table.table("values").map(|values| {
        let read = values.named_tables().into_iter().map(|(text, mut specs)| {
            let read: Sorted<Spec, SpecValue> = read_specs(&mut specs, kind);
            specs.finish();
            (text.value, read)
        });
        read.collect()
    });
    let column = mapped(&table, &[column?]).pop();
    table.finish();
    Some(Lookup {
        column: column?,
        values: values?,
        leaves_out: leaves_out?,
    })
}
