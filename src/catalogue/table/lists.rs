//! Lists of texts, of pairs and of numbers under a key.

use super::{At, Table, at};
use toml::Spanned;
use toml::de::DeValue;

impl<'t> Table<'_, 't> {
    /// A list of texts; a single text counts as a list of one.
    pub fn texts(&mut self, key: &'static str) -> Option<At<Vec<At<String>>>> {
        let value = self.value(key)?;
        let entries: Vec<&Spanned<DeValue<'t>>> = match value.get_ref() {
            DeValue::Array(array) => array.iter().collect(),
            _ => vec![value],
        };
        let mut texts = Vec::new();
        for entry in entries {
            match entry.get_ref() {
                DeValue::String(text) => texts.push(at(entry, text.as_ref().to_owned())),
                other => return self.wrong(key, &entry.span(), "a list of texts", other),
            }
        }
        Some(at(value, texts))
    }

    /// A list of pairs of texts, `[["a", "b"], ...]`.
    pub fn text_pairs(&mut self, key: &'static str) -> Option<Vec<(String, String)>> {
        let value = self.value(key)?;
        let pair = |pair: &Spanned<DeValue<'t>>| match pair.get_ref() {
            DeValue::Array(two) => match (two.first()?.get_ref(), two.get(1)?.get_ref()) {
                (DeValue::String(one), DeValue::String(other)) if two.len() == 2 => {
                    Some((one.to_string(), other.to_string()))
                }
                _ => None,
            },
            _ => None,
        };
        let pairs = match value.get_ref() {
            DeValue::Array(pairs) => pairs.iter().map(pair).collect(),
            _ => None,
        };
        match pairs {
            Some(pairs) => Some(pairs),
            None => self.wrong(
                key,
                &value.span(),
                "a list of pairs of texts",
                value.get_ref(),
            ),
        }
    }

    /// A list of whole numbers; a single number counts as a list of one.
    pub fn integers(&mut self, key: &'static str) -> Option<At<Vec<i64>>> {
        let value = self.value(key)?;
        let entries: Vec<&Spanned<DeValue<'t>>> = match value.get_ref() {
            DeValue::Array(array) => array.iter().collect(),
            _ => vec![value],
        };
        let mut numbers = Vec::new();
        for entry in entries {
            match entry.get_ref() {
                DeValue::Integer(integer) if integer.radix() == 10 => {
                    match integer.as_str().replace('_', "").parse() {
                        Ok(number) => numbers.push(number),
                        Err(_) => {
                            return self.wrong(
                                key,
                                &entry.span(),
                                "numbers of at most 18 digits",
                                entry.get_ref(),
                            );
                        }
                    }
                }
                other => return self.wrong(key, &entry.span(), "a list of whole numbers", other),
            }
        }
        Some(at(value, numbers))
    }
}
