//! Parts for the rules' own tests.

use super::rule::{Finding, FitRule, FitTerms, Gravity, Seat};
use crate::catalogue::{Kind, Part, PartId, Spec, SpecValue};

pub fn part(kind: Kind, specs: &[(Spec, SpecValue)]) -> Part {
    Part {
        id: PartId::new(kind.name()),
        kind,
        name: format!("sample {kind}"),
        brand: None,
        mpns: Vec::new(),
        gtins: Vec::new(),
        specs: specs.iter().cloned().collect(),
        rates: Default::default(),
        source: None,
        guessed: std::collections::BTreeSet::new(),
    }
}

pub fn number(value: i64) -> SpecValue {
    SpecValue::Number(value)
}

pub fn text(value: &str) -> SpecValue {
    SpecValue::Text(value.into())
}

pub fn texts(values: &[&str]) -> SpecValue {
    SpecValue::Texts(values.iter().map(|value| (*value).to_owned()).collect())
}

pub fn findings(rule: &dyn FitRule, parts: &[&Part]) -> Vec<Finding> {
    findings_under(rule, parts, &FitTerms::default())
}

pub fn findings_under(rule: &dyn FitRule, parts: &[&Part], terms: &FitTerms) -> Vec<Finding> {
    let seats: Vec<Seat<'_>> = parts
        .iter()
        .map(|part| Seat {
            role: part.kind.name(),
            part,
            quantity: 1,
        })
        .collect();
    rule.check(&seats, terms)
}

/// The gravest thing that the rule finds in these parts, or none.
pub fn gravity(rule: &dyn FitRule, parts: &[&Part]) -> Option<Gravity> {
    findings(rule, parts)
        .iter()
        .map(|finding| finding.gravity)
        .max()
}
