//! The values of one record by field, in two flat lists: most records have ten values, for which
//! a map would take an allocation each.

use super::raw::{Field, RawText};
use std::ops::Range;

/// The values of a record, in the order of their fields; those of one field keep theirs.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Fields {
    // Invariant: ascending, and as long as `values`.
    fields: Vec<Field>,
    values: Vec<RawText>,
}

/// Most records have no more, so that their lists grow once.
const USUAL_VALUES: usize = 10;

impl Fields {
    /// The values of a field; none where the record does not have it.
    pub fn get(&self, field: Field) -> &[RawText] {
        &self.values[self.range(field)]
    }

    pub fn get_mut(&mut self, field: Field) -> &mut [RawText] {
        let range = self.range(field);
        &mut self.values[range]
    }

    pub fn has(&self, field: Field) -> bool {
        self.fields.contains(&field)
    }

    pub fn is_empty(&self) -> bool {
        self.fields.is_empty()
    }

    /// Adds a value behind those that the field has.
    pub fn push(&mut self, field: Field, value: RawText) {
        if self.fields.is_empty() {
            self.fields.reserve(USUAL_VALUES);
            self.values.reserve(USUAL_VALUES);
        }
        let at = self.range(field).end;
        self.fields.insert(at, field);
        self.values.insert(at, value);
    }

    /// Puts values in the place of those that the field has.
    pub fn replace(&mut self, field: Field, values: &[RawText]) {
        let range = self.range(field);
        let fields = std::iter::repeat_n(field, values.len());
        self.fields.splice(range.clone(), fields);
        self.values.splice(range, values.iter().cloned());
    }

    /// Every field that the record has, with its values.
    pub fn iter(&self) -> impl Iterator<Item = (Field, &[RawText])> {
        let runs = self.fields.chunk_by(|one, next| one == next);
        runs.map(|run| (run[0], self.get(run[0])))
    }

    /// Where the values of a field stand, or would.
    fn range(&self, field: Field) -> Range<usize> {
        let start = self.fields.partition_point(|known| *known < field);
        let behind = self.fields[start..].iter();
        start..start + behind.take_while(|known| **known == field).count()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn values_stand_by_field_and_keep_their_order() {
        let mut fields = Fields::default();
        for (field, text) in [
            (Field::Title, "t"),
            (Field::Gtin, "1"),
            (Field::Sku, "s"),
            (Field::Gtin, "2"),
        ] {
            fields.push(field, RawText::person(text));
        }
        let all: Vec<(Field, usize)> = fields.iter().map(|(f, values)| (f, values.len())).collect();
        assert_eq!(all, [(Field::Sku, 1), (Field::Title, 1), (Field::Gtin, 2)]);
        let texts = |fields: &Fields, field| -> Vec<String> {
            let values = fields.get(field).iter();
            values.map(|value| value.text.clone()).collect()
        };
        assert_eq!(texts(&fields, Field::Gtin), ["1", "2"]);
        assert!(fields.has(Field::Title) && !fields.has(Field::Brand));
        assert_eq!(fields.get(Field::Brand), []);

        fields.replace(Field::Gtin, &[RawText::person("3")]);
        fields.replace(Field::Brand, &[RawText::person("b")]);
        fields.get_mut(Field::Sku)[0].text.push('!');
        assert_eq!(texts(&fields, Field::Gtin), ["3"]);
        assert_eq!(texts(&fields, Field::Brand), ["b"]);
        assert_eq!(texts(&fields, Field::Sku), ["s!"]);
    }
}
