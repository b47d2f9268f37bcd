//! What a poll refused: each reason with its count and a few examples, for a person to see what to do.
//!
//! Bounded, however many records a feed has. The ledger keeps that of the newest poll that could be read,
//! as text.

use serde::{Deserialize, Serialize};

/// Reasons that are told apart; further ones are counted together.
const REASONS_MAX: usize = 32;
/// Examples of each reason.
const EXAMPLES_MAX: usize = 3;
/// Characters of an example's texts.
const TEXT_MAX: usize = 200;
/// The reason of those beyond.
const OTHERS: &str = "others";

/// Reasons by the first record that had them.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Refusals(Vec<Refused>);

/// One reason. Keys are only ever added.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Refused {
    /// A stable word.
    pub code: String,
    pub count: u64,
    /// The first records of them.
    pub examples: Vec<RefusedRecord>,
}

#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct RefusedRecord {
    /// From 1, in the order of its document.
    pub record: u64,
    pub sku: Option<String>,
    /// What could not be taken, as it stands in the feed.
    pub field: Option<String>,
    pub text: Option<String>,
    /// Why, in words.
    pub reason: String,
}

impl Refusals {
    pub fn count(&mut self, code: &str, example: RefusedRecord) {
        let known = self.0.iter().position(|one| one.code == code);
        let code = match known {
            None if self.0.len() >= REASONS_MAX => OTHERS,
            _ => code,
        };
        let at = self.0.iter().position(|one| one.code == code);
        let at = at.unwrap_or_else(|| {
            self.0.push(Refused {
                code: code.to_owned(),
                count: 0,
                examples: Vec::new(),
            });
            self.0.len() - 1
        });
        let refused = &mut self.0[at];
        refused.count += 1;
        if refused.examples.len() < EXAMPLES_MAX {
            refused.examples.push(example.shortened());
        }
    }

    /// As the ledger keeps it.
    pub fn written(&self) -> Option<String> {
        serde_json::to_string(self).ok()
    }

    /// What the ledger kept; nothing of what another version wrote otherwise.
    pub fn read(text: Option<&str>) -> Refusals {
        let read = text.and_then(|text| serde_json::from_str(text).ok());
        read.unwrap_or_default()
    }

    /// The most frequent first.
    pub fn by_count(mut self) -> Vec<Refused> {
        self.0.sort_by_key(|one| std::cmp::Reverse(one.count));
        self.0
    }
}

impl RefusedRecord {
    /// As one line, such as `record 3 (EX-1): price "free": no amount`.
    pub fn in_words(&self) -> String {
        let sku = self.sku.as_ref();
        let sku = sku.map_or_else(String::new, |sku| format!(" ({sku})"));
        let said = match (&self.field, &self.text) {
            (Some(field), Some(text)) => format!("{field} \"{text}\": "),
            _ => String::new(),
        };
        format!("record {}{sku}: {said}{}", self.record, self.reason)
    }

    fn shortened(self) -> RefusedRecord {
        RefusedRecord {
            record: self.record,
            sku: self.sku.map(short),
            field: self.field,
            text: self.text.map(short),
            reason: short(self.reason),
        }
    }
}

fn short(text: String) -> String {
    match text.char_indices().nth(TEXT_MAX) {
        Some((end, _)) => format!("{}…", &text[..end]),
        None => text,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn record(number: u64) -> RefusedRecord {
        RefusedRecord {
            record: number,
            sku: Some("EX-1".to_owned()),
            field: Some("price".to_owned()),
            text: Some("x".repeat(1000)),
            reason: "no amount".to_owned(),
        }
    }

    #[test]
    fn reasons_are_counted_and_a_few_examples_kept_however_many_there_are() {
        let mut refusals = Refusals::default();
        for number in 1..=1000 {
            refusals.count("no_title", record(number));
        }
        for number in 0..1000 {
            refusals.count(&format!("code {number}"), record(number));
        }
        let text = refusals.written().unwrap();
        assert!(text.len() < 64 * 1024, "{}", text.len());
        assert_eq!(Refusals::read(Some(&text)), refusals);
        let found = refusals.by_count();
        let counts: Vec<(&str, u64)> = found
            .iter()
            .map(|one| (one.code.as_str(), one.count))
            .collect();
        assert_eq!(
            counts[..3],
            [("no_title", 1000), ("others", 969), ("code 0", 1)]
        );
        assert_eq!(found[0].examples.len(), EXAMPLES_MAX);
        let words = found[0].examples[0].in_words();
        assert!(words.starts_with("record 1 (EX-1): price \"xxx"), "{words}");
        assert!(words.ends_with("x…\": no amount"), "{words}");
    }

    #[test]
    fn what_cannot_be_read_says_nothing() {
        assert_eq!(Refusals::read(None), Refusals::default());
        assert_eq!(Refusals::read(Some("{")), Refusals::default());
    }
}
