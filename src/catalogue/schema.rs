//! The JSON Schema of a catalogue file, for editors that complete and check TOML.
//!
//! Catalogue files are read key by key with [`SPECS`] as the table, not into a Rust type, so there
//! is no type that a derived schema could describe. This one is made of the same table as the
//! reader. It says what a schema can say; names that must exist and numbers that must be unlike
//! (ids, GTINs, workloads) are the loader's business. Draft 7, which editors for TOML know.

use super::kind::Kind;
use super::spec::{Field, SPECS, Shape, SpecDef};
use super::units::spellings_of;
use serde_json::{Map, Value, json};

/// The schema of every file in `catalogue/`.
pub fn catalogue_schema() -> Value {
    let kinds = Kind::NAMES.iter().map(|(name, _)| *name);
    let per_kind = Kind::NAMES.iter();
    let per_kind = per_kind.map(|(name, kind)| ((*name).to_owned(), specs_of(*kind)));
    let mut definitions: Map<String, Value> = per_kind.collect();
    definitions.insert("workload".to_owned(), workload());
    definitions.insert("rate".to_owned(), rate());
    let when = kinds.clone().map(|name| {
        json!({
            "if": { "properties": { "kind": { "const": name } }, "required": ["kind"] },
            "then": { "$ref": format!("#/definitions/{name}") },
        })
    });
    let when: Vec<Value> = when.collect();
    let mut part = Map::new();
    for (key, meaning, schema) in COMMON {
        part.insert((*key).to_owned(), described(schema(), meaning));
    }
    part["kind"]["enum"] = kinds.collect();
    json!({
        "$schema": "http://json-schema.org/draft-07/schema#",
        "title": "A file of a rigtide catalogue",
        "type": "object",
        "additionalProperties": false,
        "properties": {
            "part": {
                "type": "array",
                "description": "the parts that you are willing to build with",
                "items": {
                    "type": "object",
                    "required": ["id", "kind", "name"],
                    "properties": part,
                    "allOf": when,
                },
            },
            "workload": {
                "type": "array",
                "description": "the uses that are measured",
                "items": { "$ref": "#/definitions/workload" },
            },
        },
        "definitions": definitions,
    })
}

/// A key, its meaning, and the schema of its value.
pub type Common = (&'static str, &'static str, fn() -> Value);

/// What a part of any kind may say besides its specs.
pub const COMMON: &[Common] = &[
    (
        "id",
        "a name of your own for the part, unlike all others",
        text,
    ),
    ("kind", "what the part is", text),
    ("name", "its name, as the guide writes it", text),
    ("brand", "who makes it", || json!({ "type": "string" })),
    ("mpn", "its maker's number, or several", texts),
    ("gtin", "the number under its bar code, or several", gtins),
    (
        "source",
        "where the entry was taken from",
        || json!({ "type": "string" }),
    ),
    (
        "guessed",
        "specs that were read out of a text; take a key out once you have confirmed it",
        || json!({ "type": "array", "items": { "enum": keys() } }),
    ),
    (
        "rates",
        "how much of each workload it allows",
        || json!({ "type": "object", "additionalProperties": { "$ref": "#/definitions/rate" } }),
    ),
];

fn keys() -> Vec<&'static str> {
    SPECS.iter().map(|def| def.key).collect()
}

fn described(mut schema: Value, meaning: &str) -> Value {
    schema["description"] = Value::from(meaning);
    schema
}

fn text() -> Value {
    json!({ "type": "string", "pattern": "\\S" })
}

fn texts() -> Value {
    json!({ "type": ["string", "array"], "items": { "type": "string" } })
}

fn gtins() -> Value {
    // GTIN-8, -12, -13 and -14, with blanks or hyphens between the digits.
    let digits =
        json!({ "type": "string", "pattern": "^[ -]*([0-9][ -]*){8}(([0-9][ -]*){4,6})?$" });
    json!({ "anyOf": [digits, { "type": "array", "items": digits }] })
}

/// A kind's specs, and no other keys than these and the common ones.
fn specs_of(kind: Kind) -> Value {
    let common = COMMON
        .iter()
        .map(|(key, ..)| ((*key).to_owned(), json!(true)));
    let mut properties: Map<String, Value> = common.collect();
    let belonging = SPECS.iter().filter(|def| def.kinds.contains(&kind));
    let specs = belonging.map(|def: &SpecDef| {
        let schema = described(shape_schema(&def.shape), &meaning(def.meaning, &def.shape));
        (def.key.to_owned(), schema)
    });
    properties.extend(specs);
    json!({ "properties": properties, "additionalProperties": false })
}

fn meaning(meaning: &str, shape: &Shape) -> String {
    match shape {
        Shape::Number { unit, .. } | Shape::Numbers { unit, .. } => format!("{meaning} ({unit})"),
        _ => meaning.to_owned(),
    }
}

fn shape_schema(shape: &Shape) -> Value {
    match shape {
        Shape::Text => json!({ "type": "string" }),
        Shape::Texts => texts(),
        Shape::Flag => json!({ "type": "boolean" }),
        Shape::Number { unit, plausible } => json!({
            "anyOf": [
                { "type": "integer", "minimum": plausible.start, "maximum": plausible.end - 1 },
                { "type": "string", "pattern": measure_pattern(unit) },
            ],
        }),
        Shape::Numbers { plausible, .. } => json!({
            "type": ["integer", "array"],
            "minimum": plausible.start,
            "maximum": plausible.end - 1,
            "items": { "type": "integer", "minimum": plausible.start, "maximum": plausible.end - 1 },
        }),
        Shape::Entries(fields) => entries(fields),
    }
}

fn entries(fields: &[Field]) -> Value {
    let properties = fields.iter().map(|field| {
        let schema = shape_schema(&field.shape);
        let schema = described(schema, &meaning(field.meaning, &field.shape));
        (field.key.to_owned(), schema)
    });
    let required = fields.iter().filter(|field| field.is_required);
    let required: Vec<&str> = required.map(|field| field.key).collect();
    json!({
        "type": "array",
        "items": {
            "type": "object",
            "properties": properties.collect::<Map<String, Value>>(),
            "required": required,
            "additionalProperties": false,
        },
    })
}

/// A number with a unit that can be reckoned from, in either case, or without one.
fn measure_pattern(unit: &str) -> String {
    let any_case = |one: char| match one {
        one if one.is_ascii_alphabetic() => {
            format!("[{}{}]", one.to_ascii_lowercase(), one.to_ascii_uppercase())
        }
        '(' | ')' | '/' | '.' => format!("\\{one}"),
        one => one.to_string(),
    };
    let spellings = spellings_of(unit).into_iter();
    let patterns = spellings.map(|unit| unit.chars().map(any_case).collect::<String>());
    let units = patterns.collect::<Vec<_>>().join("|");
    format!("^\\s*[0-9]+([.,][0-9]*)?(\\s*|\\s*({units})\\s*|-({units})\\s*)$")
}

fn workload() -> Value {
    let kinds: Vec<&str> = Kind::NAMES.iter().map(|(name, _)| *name).collect();
    json!({
        "type": "object",
        "required": ["id", "unit", "limited_by", "reference"],
        "properties": {
            "id": described(text(), "a name of your own, which rates use"),
            "name": { "type": "string", "description": "its name, as the guide writes it" },
            "unit": described(text(), "the unit of its rates, such as frames/s"),
            "limited_by": {
                "description": "the kinds whose parts limit it",
                "anyOf": [
                    { "enum": kinds },
                    { "type": "array", "items": { "enum": kinds } },
                ],
            },
            "reference": described(positive(), "the rate that counts as 100"),
            "test": {
                "description": "the tests that measure it, with what each counts",
                "type": "array",
                "items": weighted_test(),
            },
        },
        "additionalProperties": false,
    })
}

fn weighted_test() -> Value {
    json!({
        "type": "object",
        "required": ["test"],
        "properties": {
            "test": described(text(), "the test's name, as results state it"),
            "setting": described(text(), "its setting, such as 1440p high"),
            "weight": { "type": "integer", "minimum": 1, "description": "what it counts beside the others; 1 unless told" },
        },
        "additionalProperties": false,
    })
}

fn rate() -> Value {
    json!({
        "type": "object",
        "required": ["rate"],
        "properties": {
            "rate": described(positive(), "in the workload's unit"),
            "source": { "type": "string", "description": "who measured it, and when" },
            "estimated": { "type": "string", "description": "how it was estimated" },
            "error_percent": described(positive(), "its standard error; 3 if measured and 15 if estimated, unless told"),
        },
        "oneOf": [{ "required": ["source"] }, { "required": ["estimated"] }],
        "additionalProperties": false,
    })
}

fn positive() -> Value {
    json!({
        "anyOf": [
            { "type": "number", "exclusiveMinimum": 0 },
            { "type": "string", "pattern": "^\\s*\\+?[0-9]+(\\.[0-9]+)?\\s*$" },
        ],
    })
}
