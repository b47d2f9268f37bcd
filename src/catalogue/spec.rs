//! Specs: what the catalogue may say of a part, each with its type, unit and meaning.
//!
//! [`SPECS`] is the one table. The TOML reader, the fit rules' needs and the reference are read
//! from it; a new spec is one new variant and one line.

use super::kind::Kind;
use std::fmt;
use std::ops::Range;

/// One property of a part.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Spec {
    Socket,
    Sockets,
    Chipset,
    Chipsets,
    ChipsetsAfterUpdate,
    FlashWithoutCpu,
    Graphics,
    BoxedCooler,
    HeatW,
    BoardPowerW,
    LoadW,
    CoolingW,
    RatedW,
    SupplyWMin,
    Efficiency,
    FormFactor,
    FormFactors,
    PsuFormFactors,
    MemoryGeneration,
    MemoryGenerations,
    ModuleType,
    MemorySlots,
    MemoryGbMax,
    ModuleGbMax,
    Modules,
    TransferMtS,
    CapacityGb,
    Interface,
    ReadMbS,
    LengthMm,
    DepthMm,
    HeightMm,
    SlotsOccupied,
    ExpansionSlots,
    GpuLengthMmMax,
    PsuLengthMmMax,
    BoardDepthMmMax,
    CoolerHeightMmMax,
    NoiseDba,
}

/// The type of a spec's value, with the unit and the range of numbers.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Shape {
    Text,
    Texts,
    Flag,
    Number {
        unit: &'static str,
        plausible: Range<i64>,
    },
}

/// A spec's value.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub enum SpecValue {
    Text(String),
    Texts(Vec<String>),
    Flag(bool),
    Number(i64),
}

/// What the table says of one spec.
pub struct SpecDef {
    pub spec: Spec,
    pub key: &'static str,
    pub kinds: &'static [Kind],
    pub shape: Shape,
    pub meaning: &'static str,
}

const fn number(unit: &'static str, low: i64, high: i64) -> Shape {
    Shape::Number {
        unit,
        plausible: low..high + 1,
    }
}

macro_rules! spec {
    ($spec:ident, $key:literal, [$($kind:ident),*], $shape:expr, $meaning:literal) => {
        SpecDef {
            spec: Spec::$spec,
            key: $key,
            kinds: &[$(Kind::$kind),*],
            shape: $shape,
            meaning: $meaning,
        }
    };
}

/// Every spec, in the order of the enum.
pub static SPECS: &[SpecDef] = &[
    spec!(
        Socket,
        "socket",
        [Cpu, Board],
        Shape::Text,
        "processor socket"
    ),
    spec!(
        Sockets,
        "sockets",
        [Cooler],
        Shape::Texts,
        "sockets that it mounts on as sold"
    ),
    spec!(
        Chipset,
        "chipset",
        [Board],
        Shape::Text,
        "chipset, such as B850"
    ),
    spec!(
        Chipsets,
        "chipsets",
        [Cpu],
        Shape::Texts,
        "chipsets whose boards run it as shipped"
    ),
    spec!(
        ChipsetsAfterUpdate,
        "chipsets_after_update",
        [Cpu],
        Shape::Texts,
        "chipsets whose boards run it after a firmware update"
    ),
    spec!(
        FlashWithoutCpu,
        "flash_without_cpu",
        [Board],
        Shape::Flag,
        "its firmware can be updated without a processor"
    ),
    spec!(
        Graphics,
        "graphics",
        [Cpu],
        Shape::Flag,
        "the processor can drive a display"
    ),
    spec!(
        BoxedCooler,
        "boxed_cooler",
        [Cpu],
        Shape::Flag,
        "there is a cooler in its box"
    ),
    spec!(
        HeatW,
        "heat_w",
        [Cpu],
        number("W", 1, 1_000),
        "heat to be carried off under sustained load"
    ),
    spec!(
        BoardPowerW,
        "board_power_w",
        [Gpu],
        number("W", 1, 1_000),
        "sustained power of the whole card"
    ),
    spec!(
        LoadW,
        "load_w",
        [Board, Memory, Storage, Fan, Network, Cooler],
        number("W", 0, 500),
        "sustained power that it draws"
    ),
    spec!(
        CoolingW,
        "cooling_w",
        [Cooler],
        number("W", 1, 1_000),
        "heat that it can carry off"
    ),
    spec!(
        RatedW,
        "rated_w",
        [Psu],
        number("W", 50, 5_000),
        "rated continuous output"
    ),
    spec!(
        SupplyWMin,
        "supply_w_min",
        [Gpu],
        number("W", 50, 5_000),
        "rating of the supply that the card's maker asks for"
    ),
    spec!(
        Efficiency,
        "efficiency",
        [Psu],
        Shape::Text,
        "80 PLUS level, such as Gold"
    ),
    spec!(
        FormFactor,
        "form_factor",
        [Board, Psu],
        Shape::Text,
        "its form factor, such as microATX or SFX"
    ),
    spec!(
        FormFactors,
        "form_factors",
        [Case],
        Shape::Texts,
        "board form factors that it takes"
    ),
    spec!(
        PsuFormFactors,
        "psu_form_factors",
        [Case],
        Shape::Texts,
        "supply form factors that it takes"
    ),
    spec!(
        MemoryGeneration,
        "memory_generation",
        [Board, Memory],
        Shape::Text,
        "memory generation, such as DDR5"
    ),
    spec!(
        MemoryGenerations,
        "memory_generations",
        [Cpu],
        Shape::Texts,
        "memory generations that its controller knows"
    ),
    spec!(
        ModuleType,
        "module_type",
        [Board, Memory],
        Shape::Text,
        "module type: UDIMM, SO-DIMM, RDIMM"
    ),
    spec!(
        MemorySlots,
        "memory_slots",
        [Board],
        number("slots", 1, 64),
        "memory slots"
    ),
    spec!(
        MemoryGbMax,
        "memory_gb_max",
        [Board],
        number("GB", 1, 100_000),
        "most memory that it takes in all"
    ),
    spec!(
        ModuleGbMax,
        "module_gb_max",
        [Board],
        number("GB", 1, 10_000),
        "largest memory module that a slot takes"
    ),
    spec!(
        Modules,
        "modules",
        [Memory],
        number("modules", 1, 16),
        "modules in the kit"
    ),
    spec!(
        TransferMtS,
        "transfer_mt_s",
        [Memory],
        number("MT/s", 100, 20_000),
        "rated transfer rate"
    ),
    spec!(
        CapacityGb,
        "capacity_gb",
        [Memory, Storage],
        number("GB", 1, 1_000_000),
        "capacity: of the whole kit, or of the drive"
    ),
    spec!(
        Interface,
        "interface",
        [Storage],
        Shape::Text,
        "PCIe or SATA"
    ),
    spec!(
        ReadMbS,
        "read_mb_s",
        [Storage],
        number("MB/s", 1, 100_000),
        "sequential read rate"
    ),
    spec!(
        LengthMm,
        "length_mm",
        [Gpu, Psu],
        number("mm", 20, 1_000),
        "length"
    ),
    spec!(
        DepthMm,
        "depth_mm",
        [Board],
        number("mm", 100, 500),
        "depth from the rear edge with the connectors"
    ),
    spec!(
        HeightMm,
        "height_mm",
        [Cooler],
        number("mm", 5, 400),
        "height over the processor"
    ),
    spec!(
        SlotsOccupied,
        "slots_occupied",
        [Gpu],
        number("slots", 1, 8),
        "slots that it covers, rounded up"
    ),
    spec!(
        ExpansionSlots,
        "expansion_slots",
        [Case],
        number("slots", 1, 20),
        "openings for cards at the rear"
    ),
    spec!(
        GpuLengthMmMax,
        "gpu_length_mm_max",
        [Case],
        number("mm", 20, 1_000),
        "longest graphics card that fits"
    ),
    spec!(
        PsuLengthMmMax,
        "psu_length_mm_max",
        [Case],
        number("mm", 20, 1_000),
        "longest power supply that fits"
    ),
    spec!(
        BoardDepthMmMax,
        "board_depth_mm_max",
        [Case],
        number("mm", 100, 500),
        "deepest board that fits"
    ),
    spec!(
        CoolerHeightMmMax,
        "cooler_height_mm_max",
        [Case],
        number("mm", 5, 400),
        "highest cooler that fits"
    ),
    spec!(
        NoiseDba,
        "noise_dba",
        [Cooler, Psu, Gpu, Case, Fan],
        number("dBA", 0, 120),
        "noise under load, as its maker states it"
    ),
];

impl Spec {
    pub fn def(self) -> &'static SpecDef {
        // `SPECS` has the order of the enum; a test holds that.
        &SPECS[self as usize]
    }

    pub fn key(self) -> &'static str {
        self.def().key
    }

    pub fn parse(key: &str) -> Option<Spec> {
        SPECS.iter().find(|def| def.key == key).map(|def| def.spec)
    }
}

impl fmt::Display for Spec {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.key())
    }
}

/// Two names of one thing: case, blanks, hyphens and underscores do not tell them apart.
pub fn same_name(left: &str, right: &str) -> bool {
    let fold = |text: &str| -> String {
        text.chars()
            .filter(|character| !matches!(character, ' ' | '-' | '_' | '\u{a0}'))
            .flat_map(char::to_lowercase)
            .collect()
    };
    fold(left) == fold(right)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_table_lists_every_spec_in_order_with_its_own_key() {
        for (position, def) in SPECS.iter().enumerate() {
            assert_eq!(def.spec as usize, position);
            assert_eq!(Spec::parse(def.key), Some(def.spec));
            assert!(!def.kinds.is_empty() && !def.meaning.is_empty());
        }
        assert_eq!(SPECS.len(), Spec::NoiseDba as usize + 1);
    }

    #[test]
    fn names_compare_without_case_blanks_and_hyphens() {
        assert!(same_name("Mini-ITX", "mini itx") && same_name("LGA 1700", "LGA1700"));
        assert!(!same_name("ATX", "microATX"));
    }
}
