//! Paths in XML records: element names joined by `/`, by local name or namespace.
//!
//! Prefixes are the feed's own affair (Namespaces in XML 1.0 section 4), so a prefix in a path
//! stands for the address that the settings give it under `namespaces`. Without one it is a
//! preference: elements written with that prefix first, any with the same local name else.

use super::xml_element::{Element, Name};
use std::borrow::Cow;
use std::collections::BTreeMap;

/// Addresses of the prefixes that the author uses in paths.
pub(super) type Prefixes = BTreeMap<String, String>;

#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub(super) struct XmlPath {
    /// Starts at the record around a variant.
    pub is_outer: bool,
    pub steps: Vec<Step>,
    pub attribute: Option<NamePattern>,
}

/// One element on the way, `name` or `name[@attribute='value']`.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Step {
    pub name: NamePattern,
    /// An absent attribute counts as empty.
    condition: Option<(NamePattern, String)>,
}

#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct NamePattern {
    namespace: Option<String>,
    prefix: Option<String>,
    local: String,
}

impl XmlPath {
    pub(super) fn parse(text: &str, prefixes: &Prefixes) -> Result<XmlPath, String> {
        let (is_outer, rest) = match text.strip_prefix('^') {
            Some(rest) => (true, rest.strip_prefix('/').unwrap_or(rest)),
            None => (false, text),
        };
        let mut path = XmlPath {
            is_outer,
            ..XmlPath::default()
        };
        let parts = split_steps(rest);
        let n_parts = parts.len();
        for (index, part) in parts.into_iter().enumerate() {
            let is_last = index + 1 == n_parts;
            match part.strip_prefix('@') {
                Some(name) if is_last => path.attribute = Some(NamePattern::parse(name, prefixes)?),
                Some(_) => return Err(format!("\"{text}\" goes on behind an attribute")),
                None if part == "." && n_parts == 1 => {}
                None => path.steps.push(Step::parse(part, prefixes)?),
            }
        }
        Ok(path)
    }

    /// The texts at the path, starting at `record`. `true` beside those of an attribute.
    pub(super) fn texts<'e>(&self, record: &'e Element) -> Vec<(Cow<'e, str>, bool)> {
        let elements = self.elements(record);
        match &self.attribute {
            None => elements
                .into_iter()
                .map(|element| (element.text(), false))
                .collect(),
            Some(name) => elements
                .into_iter()
                .filter_map(|element| attribute(element, name))
                .map(|value| (value.into(), true))
                .collect(),
        }
    }

    /// The elements at the path.
    pub(super) fn elements<'e>(&self, record: &'e Element) -> Vec<&'e Element> {
        let mut elements = vec![record];
        for step in &self.steps {
            elements = elements
                .into_iter()
                .flat_map(|element| step.best(element, record))
                .collect();
        }
        elements
    }
}

impl Step {
    fn parse(text: &str, prefixes: &Prefixes) -> Result<Step, String> {
        let Some((name, condition)) = text.split_once("[@") else {
            let name = NamePattern::parse(text, prefixes)?;
            let condition = None;
            return Ok(Step { name, condition });
        };
        let wrong = || format!("\"{text}\" should be name[@attribute='value']");
        let condition = condition.strip_suffix(']').ok_or_else(wrong)?;
        let (attribute, value) = condition.split_once('=').ok_or_else(wrong)?;
        let value = value.trim().trim_matches(['\'', '"']).to_owned();
        let attribute = NamePattern::parse(attribute.trim(), prefixes)?;
        Ok(Step {
            name: NamePattern::parse(name, prefixes)?,
            condition: Some((attribute, value)),
        })
    }

    /// The children that fit best: those of the record's own namespace, or of the prefix that
    /// the path names, before all others.
    fn best<'e>(&self, parent: &'e Element, record: &Element) -> impl Iterator<Item = &'e Element> {
        let fit = move |child: &Element| {
            let fit = self.name.fit(&child.name, &record.name);
            fit.filter(|_| self.admits(child))
        };
        let has_best = parent.children().any(|child| fit(child) == Some(true));
        let children = parent.children();
        children.filter(move |child| fit(child) == Some(has_best))
    }

    /// Whether an element has the attribute that the step asks for.
    pub(super) fn admits(&self, element: &Element) -> bool {
        self.condition
            .as_ref()
            .is_none_or(|(name, wanted)| attribute(element, name).unwrap_or("") == wanted)
    }
}

impl NamePattern {
    pub(super) fn parse(text: &str, prefixes: &Prefixes) -> Result<NamePattern, String> {
        let (namespace, prefix, local) = match text.strip_prefix('{') {
            Some(rest) => {
                let (namespace, local) = rest
                    .split_once('}')
                    .ok_or_else(|| format!("\"{text}\" has no closing brace"))?;
                (Some(namespace.to_owned()), None, local)
            }
            None => match text.split_once(':') {
                Some((prefix, local)) => (
                    prefixes.get(prefix).cloned(),
                    Some(prefix.to_owned()),
                    local,
                ),
                None => (None, None, text),
            },
        };
        let is_name = !local.is_empty()
            && !local.contains(|c: char| c.is_whitespace() || "<>[]{}@='\"".contains(c));
        if !is_name {
            return Err(format!(
                "\"{text}\" is not the name of an element or attribute"
            ));
        }
        Ok(NamePattern {
            namespace,
            prefix,
            local: local.to_owned(),
        })
    }

    /// None when the name differs; `Some(true)` when it fits best.
    pub(super) fn fit(&self, name: &Name, record: &Name) -> Option<bool> {
        if *name.local != *self.local {
            return None;
        }
        match (&self.namespace, &self.prefix) {
            (Some(namespace), _) => (name.namespace.as_deref() == Some(namespace)).then_some(true),
            (None, Some(prefix)) => Some(*name.prefix == **prefix),
            (None, None) => Some(name.namespace == record.namespace),
        }
    }

    /// Whether the name fits at all.
    pub(super) fn is_met(&self, name: &Name) -> bool {
        self.fit(name, name).is_some()
    }
}

pub(super) fn attribute<'e>(element: &'e Element, pattern: &NamePattern) -> Option<&'e str> {
    let mut fitting = element.attributes.iter();
    let found = fitting.find(|(name, _)| pattern.is_met(name));
    found.map(|(_, value)| value.as_str())
}

/// Splits at `/` outside braces and brackets, whose contents may hold slashes themselves.
fn split_steps(text: &str) -> Vec<&str> {
    let mut parts = Vec::new();
    let (mut start, mut depth) = (0, 0usize);
    for (at, c) in text.char_indices() {
        match c {
            '{' | '[' => depth += 1,
            '}' | ']' => depth = depth.saturating_sub(1),
            '/' if depth == 0 => {
                parts.push(&text[start..at]);
                start = at + 1;
            }
            _ => {}
        }
    }
    parts.push(&text[start..]);
    parts
}
