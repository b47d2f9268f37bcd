//! What the catalogue does not say, rule by rule: the parts for which a rule cannot be proven.
//!
//! A spec that is missing is no gap where its absence means something, such as a cooler without a
//! radiator. Only the rule knows, so it is asked: each part that lacks something sits with parts
//! of the other kinds that lack as little as possible, and the rule says what it cannot prove.

use super::registry::RuleBook;
use super::rule::{Finding, FitRule, FitTerms, Gravity, Seat};
use crate::catalogue::{Catalogue, Kind, Part, PartId, Spec};
use std::collections::{BTreeMap, BTreeSet};

/// Parts of one kind for which a rule cannot be proven, because all of them lack one spec.
#[derive(Clone)]
pub struct Gap<'r> {
    pub rule: &'r dyn FitRule,
    pub kind: Kind,
    pub spec: Spec,
    pub parts: Vec<PartId>,
}

/// More company than this teaches nothing new about one part.
const COMPANIES_MAX: usize = 32;

/// Every gap of the catalogue, in the order of the rules.
pub fn gaps<'r>(rules: &'r RuleBook, catalogue: &Catalogue) -> Vec<Gap<'r>> {
    rules
        .iter()
        .flat_map(|rule| gaps_of(rule, catalogue))
        .collect()
}

fn gaps_of<'r>(rule: &'r dyn FitRule, catalogue: &Catalogue) -> Vec<Gap<'r>> {
    let kinds: BTreeSet<Kind> = rule.reads().iter().map(|(kind, _)| *kind).collect();
    let fellows: BTreeMap<Kind, Vec<&Part>> = kinds
        .iter()
        .map(|kind| (*kind, fullest(rule, *kind, catalogue)))
        .collect();
    let mut found: BTreeMap<(Kind, Spec), BTreeSet<PartId>> = BTreeMap::new();
    for kind in kinds {
        let others = fellows.iter().filter(|(other, _)| **other != kind);
        let companies = companies(others.map(|(_, parts)| parts.as_slice()));
        for part in catalogue.parts.values().filter(|part| part.kind == kind) {
            let specs = reads_of(rule, kind);
            let lacking: Vec<Spec> = specs
                .filter(|spec| !part.specs.contains_key(spec))
                .collect();
            if lacking.is_empty() {
                continue;
            }
            for spec in unproven_by(rule, part, &lacking, &companies) {
                found
                    .entry((kind, spec))
                    .or_default()
                    .insert(part.id.clone());
            }
        }
    }
    let gap = |((kind, spec), parts): ((Kind, Spec), BTreeSet<PartId>)| Gap {
        rule,
        kind,
        spec,
        parts: parts.into_iter().collect(),
    };
    found.into_iter().map(gap).collect()
}

fn reads_of(rule: &dyn FitRule, kind: Kind) -> impl Iterator<Item = Spec> {
    let reads = rule.reads().iter().filter(move |(of, _)| *of == kind);
    reads.map(|(_, spec)| *spec)
}

/// For each spec that the rule reads, the part of the kind that has it and lacks least.
fn fullest<'c>(rule: &dyn FitRule, kind: Kind, catalogue: &'c Catalogue) -> Vec<&'c Part> {
    let of_kind = || catalogue.parts.values().filter(|part| part.kind == kind);
    let given = |part: &&Part| {
        reads_of(rule, kind)
            .filter(|spec| part.specs.contains_key(spec))
            .count()
    };
    let mut chosen: Vec<&Part> = Vec::new();
    for spec in reads_of(rule, kind) {
        let having = of_kind().filter(|part| part.specs.contains_key(&spec));
        if let Some(part) = having.max_by_key(given)
            && !chosen.iter().any(|known| known.id == part.id)
        {
            chosen.push(part);
        }
    }
    chosen
}

/// Every choice of one part from each list; a kind that has none is left empty.
fn companies<'c, 'l>(lists: impl Iterator<Item = &'l [&'c Part]>) -> Vec<Vec<&'c Part>>
where
    'c: 'l,
{
    let mut companies = vec![Vec::new()];
    for list in lists.filter(|list| !list.is_empty()) {
        let longer = companies.iter().flat_map(|company: &Vec<&'c Part>| {
            list.iter().map(|part| {
                let mut company = company.clone();
                company.push(*part);
                company
            })
        });
        companies = longer.take(COMPANIES_MAX).collect();
    }
    companies
}

/// Which of the specs that a part lacks leave the rule unproven in some company.
fn unproven_by(
    rule: &dyn FitRule,
    part: &Part,
    lacking: &[Spec],
    companies: &[Vec<&Part>],
) -> BTreeSet<Spec> {
    let seat = |part| Seat {
        role: "",
        part,
        quantity: 1,
    };
    let mut specs = BTreeSet::new();
    for company in companies {
        let seats: Vec<Seat<'_>> = company
            .iter()
            .map(|part| seat(*part))
            .chain([seat(part)])
            .collect();
        for finding in rule.check(&seats, &FitTerms::default()) {
            if finding.gravity == Gravity::Unproven && is_about(&finding, part, company) {
                specs.extend(named_in(&finding, lacking));
            }
        }
    }
    specs
}

/// A reason names the part that it is about; one that names nobody is about the newcomer.
fn is_about(finding: &Finding, part: &Part, company: &[&Part]) -> bool {
    let names = |part: &Part| finding.reason.contains(&format!("\"{}\"", part.name));
    names(part) || !company.iter().any(|other| names(other))
}

/// The lacking specs that a reason names, or all of them where it names none.
fn named_in(finding: &Finding, lacking: &[Spec]) -> Vec<Spec> {
    let names = |spec: &&Spec| finding.reason.contains(&format!("`{spec}`"));
    let named: Vec<Spec> = lacking.iter().filter(names).copied().collect();
    match named.is_empty() {
        true => lacking.to_vec(),
        false => named,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::catalogue::SpecValue;
    use crate::fit::sample::{number, part};

    type Sample = (&'static str, Kind, Vec<(Spec, SpecValue)>);

    fn catalogue(parts: Vec<Sample>) -> Catalogue {
        let mut catalogue = Catalogue::default();
        for (id, kind, specs) in parts {
            let mut part = part(kind, &specs);
            part.id = PartId::new(id);
            part.name = id.to_owned();
            catalogue.parts.insert(part.id.clone(), part);
        }
        catalogue
    }

    fn of(found: &[Gap<'_>], rule: &str, spec: Spec) -> Vec<String> {
        let gaps = found
            .iter()
            .filter(|gap| gap.rule.id() == rule && gap.spec == spec);
        gaps.flat_map(|gap| gap.parts.iter().map(ToString::to_string))
            .collect()
    }

    #[test]
    fn parts_that_leave_a_rule_unproven_are_named_and_others_are_not() {
        let catalogue = catalogue(vec![
            ("silent-card", Kind::Gpu, vec![]),
            ("card", Kind::Gpu, vec![(Spec::LengthMm, number(300))]),
            (
                "case",
                Kind::Case,
                vec![(Spec::GpuLengthMmMax, number(320))],
            ),
            ("silent-case", Kind::Case, vec![]),
            ("water", Kind::Cooler, vec![(Spec::RadiatorMm, number(280))]),
            ("air", Kind::Cooler, vec![(Spec::HeightMm, number(150))]),
        ]);
        let rules = RuleBook::default();
        let found = gaps(&rules, &catalogue);
        assert_eq!(
            of(&found, "graphics-length", Spec::LengthMm),
            ["silent-card"]
        );
        assert_eq!(
            of(&found, "graphics-length", Spec::GpuLengthMmMax),
            ["silent-case"]
        );
        // Without front fans in its figure a case lacks nothing.
        assert_eq!(
            of(&found, "graphics-length", Spec::FrontFanMm),
            Vec::<String>::new()
        );
        // The example: cases without radiator mounts, because there is a radiator.
        let mounts = of(&found, "radiator-mount", Spec::RadiatorMounts);
        assert_eq!(mounts, ["case", "silent-case"]);
        // A cooler without a radiator cools with air; it lacks no radiator.
        assert_eq!(
            of(&found, "radiator-mount", Spec::RadiatorMm),
            Vec::<String>::new()
        );
    }

    #[test]
    fn what_every_part_says_is_no_gap() {
        let whole = catalogue(vec![
            ("card", Kind::Gpu, vec![(Spec::LengthMm, number(300))]),
            (
                "case",
                Kind::Case,
                vec![(Spec::GpuLengthMmMax, number(320))],
            ),
        ]);
        let rules = RuleBook::default();
        let found = gaps(&rules, &whole);
        assert!(!found.iter().any(|gap| gap.rule.id() == "graphics-length"));
        assert!(gaps(&rules, &Catalogue::default()).is_empty());
    }
}
