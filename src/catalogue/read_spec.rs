//! Spec values out of a TOML table, as [`SPECS`] describes them.

use super::kind::Kind;
use super::sorted::Sorted;
use super::spec::{Entry, Field, SPECS, Shape, Spec, SpecValue};
use super::table::Table;

/// Reads every spec that a part of this kind may have; without a kind, every spec there is, so
/// that only the kind is reported.
pub fn read_specs(table: &mut Table<'_, '_>, kind: Option<Kind>) -> Sorted<Spec, SpecValue> {
    let belonging = SPECS
        .iter()
        .filter(|def| kind.is_none_or(|kind| def.kinds.contains(&kind)));
    belonging
        .filter_map(|def| Some((def.spec, read_value(table, def.key, &def.shape)?)))
        .collect()
}

fn read_value(table: &mut Table<'_, '_>, key: &'static str, shape: &Shape) -> Option<SpecValue> {
    match shape {
        Shape::Text => table
            .text(key)
            .map(|text| SpecValue::Text(text.value.into())),
        Shape::Texts => table.texts(key).map(|texts| {
            SpecValue::Texts(texts.value.into_iter().map(|text| text.value).collect())
        }),
        Shape::Flag => table.flag(key).map(|flag| SpecValue::Flag(flag.value)),
        Shape::Number { unit, plausible } => table
            .measure(key, unit, plausible.clone())
            .map(|number| SpecValue::Number(number.value)),
        Shape::Numbers { plausible, .. } => {
            let numbers = table.integers(key)?;
            if let Some(odd) = numbers.value.iter().find(|one| !plausible.contains(one)) {
                let (low, high) = (plausible.start, plausible.end - 1);
                let message = format!("`{key}` holds {odd}, outside {low} to {high}");
                table
                    .document()
                    .fault(&numbers.span, message, "write plausible numbers");
                return None;
            }
            Some(SpecValue::Numbers(numbers.value.into()))
        }
        Shape::Entries(fields) => table.has(key).then(|| {
            let entries = table.tables(key).into_iter();
            SpecValue::Entries(entries.map(|entry| read_entry(entry, fields)).collect())
        }),
    }
}

fn read_entry(mut table: Table<'_, '_>, fields: &'static [Field]) -> Entry {
    let mut entry = Entry::default();
    for field in fields {
        if field.is_required {
            table.require(field.key);
        }
        if let Some(value) = read_value(&mut table, field.key, &field.shape) {
            entry.0.insert(field.key, value);
        }
    }
    table.finish();
    entry
}
