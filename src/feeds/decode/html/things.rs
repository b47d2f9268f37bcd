//! Things: what JSON-LD, microdata and RDFa say alike, before schema.org's meaning is read.

use crate::market::{Origin, RawText};
use serde_json::Value as Json;

/// Something with types and properties. Names are local: `Product`, whatever its prefix.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub(super) struct Thing {
    pub types: Vec<String>,
    pub id: Option<String>,
    pub properties: Vec<(String, Value)>,
}

#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) enum Value {
    Text(RawText),
    Thing(Thing),
}

impl Thing {
    pub(super) fn is_any(&self, types: &[&str]) -> bool {
        self.types.iter().any(|own| types.contains(&own.as_str()))
    }

    pub(super) fn values<'t>(
        &'t self,
        property: &str,
    ) -> impl Iterator<Item = &'t Value> + use<'t> {
        let named = self
            .properties
            .iter()
            .filter(move |(name, _)| name == property);
        let values: Vec<&Value> = named.map(|(_, value)| value).collect();
        values.into_iter()
    }

    pub(super) fn things<'t>(
        &'t self,
        property: &str,
    ) -> impl Iterator<Item = &'t Thing> + use<'t> {
        self.values(property).filter_map(|value| match value {
            Value::Thing(thing) => Some(thing),
            Value::Text(_) => None,
        })
    }

    /// The texts of a property. A thing stands for its name, its value or its identity, as in
    /// `"brand": {"@type": "Brand", "name": "…"}`.
    pub(super) fn texts<'t>(&'t self, property: &str) -> impl Iterator<Item = RawText> + use<'t> {
        self.values(property).filter_map(Value::text)
    }

    /// The first text of a property that is not blank.
    pub(super) fn text(&self, property: &str) -> Option<RawText> {
        self.texts(property)
            .find(|value| !value.text.trim().is_empty())
    }

    pub(super) fn has(&self, property: &str) -> bool {
        self.properties.iter().any(|(name, _)| name == property)
    }

    /// Nothing but an identity: it points at a thing that stands elsewhere.
    pub(super) fn is_reference(&self) -> bool {
        self.id.is_some() && self.properties.is_empty()
    }
}

impl Value {
    fn text(&self) -> Option<RawText> {
        match self {
            Value::Text(text) => Some(text.clone()),
            Value::Thing(thing) => {
                let named = ["name", "value"].into_iter().find_map(|property| {
                    let mut values = thing.values(property);
                    values.find_map(|value| match value {
                        Value::Text(text) => Some(text.clone()),
                        Value::Thing(_) => None,
                    })
                });
                named.or_else(|| thing.id.clone().map(RawText::machine))
            }
        }
    }
}

/// The last part of `http://schema.org/Product`, `schema:Product` or `Product`.
pub(super) fn local_name(name: &str) -> &str {
    let name = name.trim().trim_end_matches('/');
    name.rsplit(['/', '#', ':']).next().unwrap_or(name)
}

/// Adds the things of one JSON-LD block. `@graph` and arrays are lists of things.
pub(super) fn collect_json_ld(json: &Json, things: &mut Vec<Thing>) {
    match json {
        Json::Array(elements) => {
            for element in elements {
                collect_json_ld(element, things);
            }
        }
        Json::Object(members) => {
            if let Some(graph) = members.get("@graph") {
                collect_json_ld(graph, things);
            }
            let thing = thing_of(members);
            if !thing.properties.is_empty() {
                things.push(thing);
            }
        }
        _ => {}
    }
}

fn thing_of(members: &serde_json::Map<String, Json>) -> Thing {
    let mut thing = Thing::default();
    for (name, value) in members {
        match (name.as_str(), value) {
            ("@type" | "type", _) => thing.types.extend(type_names(value)),
            ("@id", Json::String(id)) => thing.id = Some(id.trim().to_owned()),
            ("@context" | "@graph" | "@id", _) => {}
            _ => add_values(local_name(name), value, &mut thing),
        }
    }
    thing
}

fn type_names(value: &Json) -> Vec<String> {
    match value {
        Json::String(name) => vec![local_name(name).to_owned()],
        Json::Array(names) => names.iter().flat_map(type_names).collect(),
        _ => Vec::new(),
    }
}

fn add_values(name: &str, value: &Json, thing: &mut Thing) {
    let text = match value {
        Json::Null => return,
        Json::Array(elements) => {
            for element in elements {
                add_values(name, element, thing);
            }
            return;
        }
        Json::Object(members) => {
            let inner = ["@value", "@list", "@set"]
                .into_iter()
                .find_map(|key| members.get(key));
            match inner {
                Some(inner) => add_values(name, inner, thing),
                None => {
                    let inner = Value::Thing(thing_of(members));
                    thing.properties.push((name.to_owned(), inner));
                }
            }
            return;
        }
        Json::String(text) => text.clone(),
        Json::Bool(flag) => flag.to_string(),
        Json::Number(number) => number.to_string(),
    };
    let value = Value::Text(RawText {
        text,
        origin: Origin::Machine,
    });
    thing.properties.push((name.to_owned(), value));
}
