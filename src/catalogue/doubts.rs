//! What in a catalogue can hardly be right, though each value of it may be.
//!
//! The loader refuses what is wrong for certain: a value out of its range, a GTIN or a brand's MPN
//! on two parts. Here stands what a person should look at.

use super::id::PartId;
use super::kind::Kind;
use super::part::{Catalogue, Part};
use super::spec::Spec;
use std::collections::BTreeMap;

/// Something to look at.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Doubt {
    pub parts: Vec<PartId>,
    pub message: String,
}

/// Numbers of one part where the first cannot exceed the second.
const NEVER_MORE: &[(Kind, Spec, Spec, &str)] = &[
    // Turbo power is what a processor may draw beyond its sustained power.
    (
        Kind::Cpu,
        Spec::HeatW,
        Spec::TurboW,
        "turbo power is at least the sustained power",
    ),
    (
        Kind::Board,
        Spec::ModuleGbMax,
        Spec::MemoryGbMax,
        "one module is part of all memory",
    ),
    (
        Kind::Board,
        Spec::MemoryMtSMaxFull,
        Spec::MemoryMtSMax,
        "full slots are no faster",
    ),
    // The maker's supply feeds the card and the rest of the PC; common practice, no source.
    (
        Kind::Gpu,
        Spec::BoardPowerW,
        Spec::SupplyWMin,
        "the supply feeds the card and the rest",
    ),
    (
        Kind::Case,
        Spec::FrontFanMm,
        Spec::GpuLengthMmMax,
        "fans sit within the card's room",
    ),
];

/// Every doubt, duplicates first.
pub fn doubts(catalogue: &Catalogue) -> Vec<Doubt> {
    let mut doubts = duplicates(catalogue);
    doubts.extend(catalogue.parts.values().flat_map(impossible));
    doubts
}

/// Parts that may be one: the same number but for its spelling or its brand, or the same name.
fn duplicates(catalogue: &Catalogue) -> Vec<Doubt> {
    let mut bearers: BTreeMap<(String, String), Vec<PartId>> = BTreeMap::new();
    let mut add = |key: (String, String), part: &Part| {
        let bearers = bearers.entry(key).or_default();
        if bearers.last() != Some(&part.id) {
            bearers.push(part.id.clone());
        }
    };
    for part in catalogue.parts.values() {
        for mpn in &part.mpns {
            add(
                ("the same MPN but for its spelling".to_owned(), folded(mpn)),
                part,
            );
        }
        let name = format!("{} {}", part.kind, folded(&part.name));
        add(("the same name".to_owned(), name), part);
    }
    let shared = bearers.into_iter().filter(|(_, parts)| parts.len() > 1);
    shared
        .map(|((message, _), parts)| Doubt { parts, message })
        .collect()
}

fn folded(text: &str) -> String {
    let kept = text.chars().filter(|one| one.is_alphanumeric());
    kept.flat_map(char::to_lowercase).collect()
}

fn impossible(part: &Part) -> Vec<Doubt> {
    let mut messages = Vec::new();
    for (kind, less, more, why) in NEVER_MORE {
        if let (Some(low), Some(high)) = (part.number(*less), part.number(*more))
            && part.kind == *kind
            && low > high
        {
            messages.push(format!(
                "`{less}` is {low}, more than `{more}` with {high}: {why}"
            ));
        }
    }
    if let (Kind::Memory, Some(capacity), Some(modules)) = (
        part.kind,
        part.number(Spec::CapacityGb),
        part.number(Spec::Modules),
    ) && capacity % modules.max(1) != 0
    {
        messages.push(format!(
            "{capacity} GB do not divide into {modules} equal modules"
        ));
    }
    let doubt = |message| Doubt {
        parts: vec![part.id.clone()],
        message,
    };
    messages.into_iter().map(doubt).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::catalogue::load_catalogue;

    #[test]
    fn what_can_hardly_be_right_is_named() {
        let text = r#"
[[part]]
id = "a"
kind = "memory"
name = "Tern 32"
brand = "Q"
mpn = "T-32 X"
capacity_gb = 32
modules = 3
[[part]]
id = "b"
kind = "memory"
name = "tern-32"
brand = "Other"
mpn = "t32x"
capacity_gb = 32
modules = 2
[[part]]
id = "c"
kind = "cpu"
name = "C"
heat_w = 125
turbo_w = 95
"#;
        let (catalogue, faults) = load_catalogue(&[("a.toml", text)]);
        assert_eq!(faults, []);
        let said: Vec<String> = doubts(&catalogue)
            .iter()
            .map(|doubt| {
                let parts: Vec<&str> = doubt.parts.iter().map(PartId::as_str).collect();
                format!("{}: {}", parts.join(" "), doubt.message)
            })
            .collect();
        assert_eq!(
            said,
            [
                "a b: the same MPN but for its spelling",
                "a b: the same name",
                "a: 32 GB do not divide into 3 equal modules",
                "c: `heat_w` is 125, more than `turbo_w` with 95: turbo power is at least the \
                 sustained power",
            ]
        );
    }
}
