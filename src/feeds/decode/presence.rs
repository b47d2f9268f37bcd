//! Remembers which mapped places were found at all, to notice a renamed field.

use super::csv::near_name;
use super::fault::DecodeFault;
use super::records::Records;
use crate::feeds::mapping::{Rule, Source};
use crate::market::Field;

/// Without these a record is worth nothing, so a feed that lost one has changed its shape.
const ESSENTIAL: [Field; 3] = [Field::Sku, Field::Title, Field::Price];
/// Fewer records than these may lack a field by chance, such as one page of one sold-out part.
const RECORDS_THAT_TELL: u64 = 3;

/// What the records of one body had.
pub(super) struct Presence {
    found: Vec<bool>,
    first_names: Vec<String>,
}

impl Presence {
    pub(super) fn new(n_rules: usize) -> Presence {
        Presence {
            found: vec![false; n_rules],
            first_names: Vec::new(),
        }
    }

    pub(super) fn see(&mut self, rule: usize) {
        if let Some(found) = self.found.get_mut(rule) {
            *found = true;
        }
    }

    /// Takes down the names of the first record, for messages.
    pub(super) fn first_names(&mut self, names: impl FnOnce() -> Vec<String>) {
        if self.first_names.is_empty() {
            self.first_names = names();
        }
    }

    /// Fails when an essential field was mapped and is in no record; notes the others.
    pub(super) fn judge<P>(
        &self,
        rules: &[Rule<P>],
        records: &mut Records<'_>,
    ) -> Result<(), DecodeFault> {
        let n_records = records.good();
        for (index, rule) in rules.iter().enumerate() {
            let is_first = !rules[..index]
                .iter()
                .any(|earlier| earlier.field == rule.field);
            let is_found = rules.iter().zip(&self.found).any(|(other, found)| {
                other.field == rule.field && (*found || matches!(other.source, Source::Always(_)))
            });
            if !is_first || is_found || n_records == 0 {
                continue;
            }
            if ESSENTIAL.contains(&rule.field) && n_records >= RECORDS_THAT_TELL {
                let last = rule.place.rsplit(['.', '/']).next().unwrap_or(&rule.place);
                return Err(DecodeFault::FieldNeverFound {
                    field: rule.field.name(),
                    place: rule.place.clone(),
                    near: near_name(last, &self.first_names).map(str::to_owned),
                    records: n_records,
                    present: self.first_names.join(", "),
                });
            }
            let (field, place) = (rule.field.name(), &rule.place);
            records.note(format!("`{field}` was found in no record at \"{place}\""));
        }
        Ok(())
    }
}
