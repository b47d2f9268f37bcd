//! Claims: what a title may say of a part.

use super::Place;
use crate::catalogue::{Spec, SpecValue};
use std::ops::Range;

/// One thing that a title says, with the text that says it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Claim {
    pub what: What,
    pub value: SpecValue,
    pub place: Place,
    /// The first atom that says it.
    pub atom: usize,
    /// The bytes of the source that say it.
    pub span: Range<usize>,
}

/// What a claim is about.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum What {
    CapacityGb,
    Modules,
    MemoryGeneration,
    TransferMtS,
    ModuleType,
    Socket,
    Chipset,
    FormFactor,
    RatedW,
    Efficiency,
    Interface,
    LengthMm,
    BoxedCooler,
    Latency,
    Colour,
    // What follows tells listings or siblings apart and is no spec.
    DriveForm,
    CardSize,
    AtxVersion,
    Generation,
    Modularity,
    Packaging,
    Wear,
    Region,
    Pack,
    Revision,
}

/// Every claim: its name in sentences, and the spec that it states where there is one.
const WHATS: &[(What, &str, Option<Spec>)] = &[
    (What::CapacityGb, "capacity", Some(Spec::CapacityGb)),
    (What::Modules, "module count", Some(Spec::Modules)),
    (
        What::MemoryGeneration,
        "memory generation",
        Some(Spec::MemoryGeneration),
    ),
    (What::TransferMtS, "transfer rate", Some(Spec::TransferMtS)),
    (What::ModuleType, "module type", Some(Spec::ModuleType)),
    (What::Socket, "socket", Some(Spec::Socket)),
    (What::Chipset, "chipset", Some(Spec::Chipset)),
    (What::FormFactor, "form factor", Some(Spec::FormFactor)),
    (What::RatedW, "watts", Some(Spec::RatedW)),
    (What::Efficiency, "efficiency level", Some(Spec::Efficiency)),
    (What::Interface, "interface", Some(Spec::Interface)),
    (What::LengthMm, "length", Some(Spec::LengthMm)),
    (
        What::BoxedCooler,
        "cooler in the box",
        Some(Spec::BoxedCooler),
    ),
    (What::Latency, "CAS latency", Some(Spec::Latency)),
    (What::Colour, "colour", Some(Spec::Colour)),
    (What::DriveForm, "drive form", None),
    (What::CardSize, "card size", None),
    (What::AtxVersion, "ATX version", None),
    (What::Generation, "generation", None),
    (What::Modularity, "modularity", None),
    (What::Packaging, "packaging", None),
    (What::Wear, "condition", None),
    (What::Region, "region", None),
    (What::Pack, "pack count", None),
    (What::Revision, "revision", None),
];

impl What {
    /// Its name in sentences.
    pub fn name(self) -> &'static str {
        // `WHATS` has the order of the enum; a test holds that.
        WHATS[self as usize].1
    }

    /// The spec that it states, where the catalogue has one.
    pub fn spec(self) -> Option<Spec> {
        WHATS[self as usize].2
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_table_lists_every_claim_in_order() {
        for (position, (what, name, _)) in WHATS.iter().enumerate() {
            assert_eq!(*what as usize, position);
            assert!(!name.is_empty());
        }
        assert_eq!(WHATS.len(), What::Revision as usize + 1);
    }
}
