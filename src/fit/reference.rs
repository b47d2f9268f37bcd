//! The reference of the catalogue: every spec with its type, unit and meaning, and the rules that
//! read it. Made of the same tables as the reader and the rules, so that it cannot lag behind.

use super::registry::RULES;
use crate::catalogue::schema::COMMON;
use crate::catalogue::spec::{Field, SPECS, Shape, SpecDef};
use crate::catalogue::{Kind, Spec};
use std::fmt::Write as _;

/// The reference page in Markdown.
pub fn render_reference() -> String {
    let mut page = INTRODUCTION.to_owned();
    page.push_str("\n## Every part\n\n| key | meaning |\n| --- | --- |\n");
    for (key, meaning, _) in COMMON {
        line(&mut page, &[&code(key), &escaped(meaning)]);
    }
    for (name, kind) in Kind::NAMES {
        let belonging = SPECS.iter().filter(|def| def.kinds.contains(kind));
        let defs: Vec<&SpecDef> = belonging.collect();
        // Writing to a text cannot fail.
        let _ = write!(page, "\n## `{name}`: {}\n\n", kind.noun());
        if defs.is_empty() {
            page.push_str("It has no specs.\n");
            continue;
        }
        page.push_str(HEADING);
        for def in &defs {
            let rules = rules_of(*kind, def.spec);
            let cells = shape_cells(&def.shape);
            let meaning = escaped(def.meaning);
            line(
                &mut page,
                &[
                    &code(def.key),
                    &cells[0],
                    &cells[1],
                    &cells[2],
                    &meaning,
                    &rules,
                ],
            );
        }
        for def in defs {
            if let Shape::Entries(fields) = &def.shape {
                let _ = write!(page, "\nEach of `{}` has:\n\n", def.key);
                entries(&mut page, fields);
            }
        }
    }
    rules(&mut page);
    page
}

const INTRODUCTION: &str = "\
# Catalogue reference

Written by `rigtide schema --reference`; do not edit.

A catalogue file is TOML with one `[[part]]` table for each part. Numbers are whole and in the
unit named here, or a text with a unit of the same kind, such as `\"16.5 cm\"`. A spec may be left
out: a fit rule that reads it then calls the parts unproven, which a brief with `strict = true`
refuses. Where a spec's meaning says what its absence means, nothing is unproven.
";

const HEADING: &str = "\
| key | type | unit | range | meaning | fit rules |
| --- | --- | --- | --- | --- | --- |
";

fn entries(page: &mut String, fields: &[Field]) {
    page.push_str("| key | type | unit | range | meaning |\n| --- | --- | --- | --- | --- |\n");
    for field in fields {
        let cells = shape_cells(&field.shape);
        let mut meaning = escaped(field.meaning);
        if field.is_required {
            meaning.push_str(" (required)");
        }
        line(
            page,
            &[&code(field.key), &cells[0], &cells[1], &cells[2], &meaning],
        );
    }
}

/// Type, unit and range.
fn shape_cells(shape: &Shape) -> [String; 3] {
    let none = || String::from("");
    match shape {
        Shape::Text => ["text".to_owned(), none(), none()],
        Shape::Texts => ["list of texts".to_owned(), none(), none()],
        Shape::Flag => ["true or false".to_owned(), none(), none()],
        Shape::Entries(_) => ["list of tables".to_owned(), none(), none()],
        Shape::Number { unit, plausible } | Shape::Numbers { unit, plausible } => {
            let what = match shape {
                Shape::Number { .. } => "number",
                _ => "list of numbers",
            };
            let range = format!("{} to {}", plausible.start, plausible.end - 1);
            [what.to_owned(), escaped(unit), range]
        }
    }
}

fn rules_of(kind: Kind, spec: Spec) -> String {
    let reading = RULES
        .iter()
        .filter(|rule| rule.reads().contains(&(kind, spec)));
    let ids: Vec<String> = reading
        .map(|rule| format!("[{0}](#{0})", rule.id()))
        .collect();
    ids.join(", ")
}

fn rules(page: &mut String) {
    page.push_str("\n## Fit rules\n");
    for rule in RULES {
        let reads: Vec<String> = rule
            .reads()
            .iter()
            .map(|(kind, spec)| format!("`{spec}` of the {}", kind.noun()))
            .collect();
        let _ = write!(
            page,
            "\n### {}\n\n{}\n\nReads {}. Source: {}.\n",
            rule.id(),
            escaped(rule.states()),
            reads.join(", "),
            escaped(rule.source().trim_end_matches('.')),
        );
    }
}

fn code(text: &str) -> String {
    format!("`{text}`")
}

/// What would end a table's cell or begin a tag stands for itself.
fn escaped(text: &str) -> String {
    text.replace('|', "\\|").replace('<', "&lt;")
}

fn line(page: &mut String, cells: &[&str]) {
    let _ = writeln!(page, "| {} |", cells.join(" | "));
}
