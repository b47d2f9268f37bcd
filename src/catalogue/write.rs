//! Writes parts as a catalogue file, as a person would write it.
//!
//! What is written reads back as the same parts; the same parts give the same bytes.

use super::part::{Evidence, Part};
use super::sorted::Sorted;
use super::spec::{Entry, Shape, Spec, SpecValue};
use serde_json::Value;
use std::fmt::Write as _;

/// A catalogue file of these parts, with lines of comment at its top.
pub fn render_parts<'p>(comment: &[String], parts: impl IntoIterator<Item = &'p Part>) -> String {
    let mut text = String::new();
    for line in comment {
        text.push_str(comment_line(line).trim_end());
        text.push('\n');
    }
    for part in parts {
        text.push('\n');
        text.push_str(&render_part(part));
    }
    text
}

/// A comment may not hold control characters (TOML 1.0, "Comment"); they become blanks.
fn comment_line(line: &str) -> String {
    let harmless = |one: char| if one.is_control() { ' ' } else { one };
    format!("# {}", line.chars().map(harmless).collect::<String>())
}

/// One `[[part]]` table.
pub fn render_part(part: &Part) -> String {
    let mut lines = vec!["[[part]]".to_owned()];
    let mut line = |key: &str, value: String| lines.push(format!("{key} = {value}"));
    line("id", quoted(part.id.as_str()));
    line("kind", quoted(part.kind.name()));
    line("name", quoted(&part.name));
    if let Some(brand) = &part.brand {
        line("brand", quoted(brand));
    }
    if !part.mpns.is_empty() {
        line("mpn", one_or_list(&part.mpns));
    }
    if !part.gtins.is_empty() {
        let gtins = part.gtins.iter().map(|gtin| shortest(&gtin.to_string()));
        line("gtin", one_or_list(&gtins.collect::<Vec<_>>()));
    }
    if let Some(source) = &part.source {
        line("source", quoted(source));
    }
    if !part.guessed.is_empty() {
        let keys: Vec<String> = part
            .guessed
            .iter()
            .map(|spec| spec.key().to_owned())
            .collect();
        line("guessed", list(keys.iter().map(|key| quoted(key))));
    }
    for (spec, value) in part.specs.iter() {
        line(spec.key(), render_value(value, &spec.def().shape));
    }
    for (workload, rate) in part.rates.iter() {
        let evidence = match &rate.evidence {
            Evidence::Measured(source) => format!("source = {}", quoted(source)),
            Evidence::Estimated(how) => format!("estimated = {}", quoted(how)),
            // Worked out anew from the results whenever the catalogue is loaded.
            Evidence::Results(_) | Evidence::Derived(_) => continue,
        };
        lines.push(format!("[part.rates.{}]", quoted(workload.as_str())));
        let (whole, thousandths) = (rate.milli / 1_000, rate.milli % 1_000);
        lines.push(format!("rate = \"{whole}.{thousandths:03}\""));
        lines.push(evidence);
        if rate.error_micro != rate.evidence.usual_error_micro() {
            let hundredths = rate.error_micro / 100;
            let (whole, part) = (hundredths / 100, hundredths % 100);
            lines.push(format!("error_percent = \"{whole}.{part:02}\""));
        }
    }
    lines.push(String::new());
    lines.join("\n")
}

/// Specs as a JSON object, by their keys.
pub fn specs_json(specs: &Sorted<Spec, SpecValue>) -> Value {
    let pairs = specs.iter();
    let pairs = pairs.map(|(spec, value)| (spec.key().to_owned(), value_json(value)));
    Value::Object(pairs.collect())
}

/// A spec's value as JSON.
pub fn value_json(value: &SpecValue) -> Value {
    match value {
        SpecValue::Text(text) => Value::from(&**text),
        SpecValue::Texts(texts) => Value::from(&**texts),
        SpecValue::Flag(flag) => Value::from(*flag),
        SpecValue::Number(number) => Value::from(*number),
        SpecValue::Numbers(numbers) => Value::from(&**numbers),
        SpecValue::Entries(entries) => entries
            .iter()
            .map(|entry| {
                let pairs = entry.0.iter();
                let pairs = pairs.map(|(key, value)| ((*key).to_owned(), value_json(value)));
                Value::Object(pairs.collect())
            })
            .collect(),
    }
}

/// Thirteen digits as a package bears them, or fourteen.
fn shortest(gtin: &str) -> String {
    gtin.strip_prefix('0').unwrap_or(gtin).to_owned()
}

fn render_value(value: &SpecValue, shape: &Shape) -> String {
    match value {
        SpecValue::Text(text) => quoted(text),
        SpecValue::Texts(texts) => list(texts.iter().map(|text| quoted(text))),
        SpecValue::Flag(flag) => flag.to_string(),
        SpecValue::Number(number) => number.to_string(),
        SpecValue::Numbers(numbers) => list(numbers.iter().map(i64::to_string)),
        SpecValue::Entries(entries) if entries.is_empty() => "[]".to_owned(),
        SpecValue::Entries(entries) => {
            let lines = entries.iter().map(|entry| render_entry(entry, shape));
            let lines = lines.map(|entry| format!("    {entry},\n"));
            format!("[\n{}]", lines.collect::<String>())
        }
    }
}

/// The fields in the order of the spec's table, as the reference lists them.
fn render_entry(entry: &Entry, shape: &Shape) -> String {
    let fields = match shape {
        Shape::Entries(fields) => *fields,
        _ => &[],
    };
    let pairs = fields.iter().filter_map(|field| {
        let value = entry.0.get(field.key)?;
        Some(format!(
            "{} = {}",
            field.key,
            render_value(value, &field.shape)
        ))
    });
    format!("{{ {} }}", pairs.collect::<Vec<_>>().join(", "))
}

fn one_or_list(texts: &[String]) -> String {
    match texts {
        [one] => quoted(one),
        several => list(several.iter().map(|text| quoted(text))),
    }
}

fn list(values: impl Iterator<Item = String>) -> String {
    format!("[{}]", values.collect::<Vec<_>>().join(", "))
}

/// A TOML basic string, with everything escaped that could act on a screen.
pub fn quoted(text: &str) -> String {
    let mut quoted = String::with_capacity(text.len() + 2);
    quoted.push('"');
    for character in text.chars() {
        match character {
            '"' => quoted.push_str("\\\""),
            '\\' => quoted.push_str("\\\\"),
            '\n' => quoted.push_str("\\n"),
            '\t' => quoted.push_str("\\t"),
            '\u{61c}'
            | '\u{200e}'
            | '\u{200f}'
            | '\u{2028}'..='\u{202e}'
            | '\u{2066}'..='\u{2069}' => {
                escape(&mut quoted, character);
            }
            one if one.is_control() => escape(&mut quoted, one),
            one => quoted.push(one),
        }
    }
    quoted.push('"');
    quoted
}

fn escape(into: &mut String, character: char) {
    // Writing to a text cannot fail.
    let _ = write!(into, "\\u{:04X}", u32::from(character));
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::catalogue::load_catalogue;

    const FULL: &str = r#"[[workload]]
id = "cut"
unit = "jobs/h"
limited_by = ["board"]
reference = 10

[[part]]
id = "a"
kind = "board"
name = "A \"quoted\" \\ name\u0007"
brand = "B"
mpn = ["M-1", "M-2"]
gtin = "6291041500213"
source = "own notes"
socket = "AM5"
flash_without_cpu = true
m2_slots = [
    { length_mm_max = 80, pcie_generation = 4, sata = true },
    { length_mm_max = 110 },
]
sata_ports = 4
light_headers = ["5 V", "12 V"]
[part.rates.cut]
rate = "12.500"
estimated = "by halves"
"#;

    #[test]
    fn what_is_written_reads_back_as_the_same_parts() {
        let (before, faults) = load_catalogue(&[("a.toml", FULL)]);
        assert_eq!(faults, []);
        let written = render_parts(&["from \u{7} here".to_owned()], before.parts.values());
        let workloads = FULL.split("[[part]]").next().unwrap();
        let (after, faults) = load_catalogue(&[("a.toml", &written), ("w.toml", workloads)]);
        assert_eq!(faults, [], "{written}");
        assert_eq!(after, before);
        assert!(written.starts_with("# from   here\n\n[[part]]\nid = \"a\"\n"));
    }

    proptest::proptest! {
        #[test]
        fn any_text_survives_its_quotes(text in proptest::prelude::any::<String>()) {
            let source = format!("x = {}", quoted(&text));
            let read: toml::Table = toml::from_str(&source).unwrap();
            assert_eq!(read["x"].as_str(), Some(text.as_str()));
        }
    }
}
