//! Specs: what the catalogue may say of a part, each with its type, unit and meaning.
//!
//! [`SPECS`] is the one table. The TOML and CSV readers, the JSON Schema, the reference and the
//! title reader are driven by it; a new spec is one new line.

use super::kind::Kind;
use super::sorted::Sorted;
use std::fmt;
use std::ops::Range;
use std::sync::Arc;

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
    Numbers {
        unit: &'static str,
        plausible: Range<i64>,
    },
    /// Several things of one make-up, such as the M.2 slots of a board.
    Entries(&'static [Field]),
}

/// One property of an entry.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Field {
    pub key: &'static str,
    pub shape: Shape,
    pub is_required: bool,
    pub meaning: &'static str,
}

/// A spec's value. Texts and lists are many parts' alike, so that a value can be had twice in the room of one.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub enum SpecValue {
    Text(Arc<str>),
    Texts(Arc<[String]>),
    Flag(bool),
    Number(i64),
    Numbers(Arc<[i64]>),
    Entries(Arc<[Entry]>),
}

/// One of several things that a part has, by the keys of its [`Field`]s.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Default)]
pub struct Entry(pub Sorted<&'static str, SpecValue>);

impl Entry {
    pub fn number(&self, key: &str) -> Option<i64> {
        match self.0.get(key)? {
            SpecValue::Number(number) => Some(*number),
            _ => None,
        }
    }

    pub fn numbers(&self, key: &str) -> &[i64] {
        match self.0.get(key) {
            Some(SpecValue::Numbers(numbers)) => numbers,
            _ => &[],
        }
    }

    pub fn text(&self, key: &str) -> Option<&str> {
        match self.0.get(key)? {
            SpecValue::Text(text) => Some(text),
            _ => None,
        }
    }

    /// A flag that is not given is not set.
    pub fn flag(&self, key: &str) -> bool {
        self.0.get(key) == Some(&SpecValue::Flag(true))
    }
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

const fn field(key: &'static str, shape: Shape, meaning: &'static str) -> Field {
    Field {
        key,
        shape,
        is_required: false,
        meaning,
    }
}

const fn required(key: &'static str, shape: Shape, meaning: &'static str) -> Field {
    Field {
        key,
        shape,
        is_required: true,
        meaning,
    }
}

/// An M.2 slot of a board.
const M2_SLOT: &[Field] = &[
    required(
        "length_mm_max",
        number("mm", 30, 110),
        "longest drive that it holds: 80 for 2280",
    ),
    field(
        "pcie_generation",
        number("generation", 1, 7),
        "generation of its PCIe lanes; without it, it takes no PCIe drive",
    ),
    field("sata", Shape::Flag, "it takes SATA drives"),
    field(
        "sata_ports_lost",
        number("ports", 0, 8),
        "SATA ports that it switches off when it is filled",
    ),
    field(
        "from_cpu",
        Shape::Flag,
        "its lanes come from the processor, which may have none for it",
    ),
    field(
        "shares_with",
        Shape::Text,
        "what it takes lanes from when it is filled, such as \"second x16 slot\"",
    ),
];

/// A place for a radiator in a case.
const RADIATOR_MOUNT: &[Field] = &[
    required("position", Shape::Text, "front, top, rear, side or floor"),
    required(
        "sizes_mm",
        Shape::Numbers {
            unit: "mm",
            plausible: 80..481,
        },
        "sizes that it takes; a 280 is not a 240",
    ),
    field(
        "thickness_mm_max",
        number("mm", 20, 200),
        "room for radiator and fans together",
    ),
    field(
        "memory_height_mm_max",
        number("mm", 20, 100),
        "highest memory under a radiator here",
    ),
];

/// Turns the lines of the table into the enum and the table, so that neither can miss one.
macro_rules! specs {
    ($($spec:ident $key:literal [$($kind:ident)+] $shape:tt $meaning:literal;)+) => {
        /// One property of a part.
        #[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
        pub enum Spec { $(#[doc = $meaning] $spec,)+ }

        /// Every spec, in the order of the enum.
        pub static SPECS: &[SpecDef] = &[$(SpecDef {
            spec: Spec::$spec,
            key: $key,
            kinds: &[$(Kind::$kind),+],
            shape: shape!($shape),
            meaning: $meaning,
        },)+];
    };
}

macro_rules! shape {
    ((text)) => {
        Shape::Text
    };
    ((texts)) => {
        Shape::Texts
    };
    ((flag)) => {
        Shape::Flag
    };
    ((entries $fields:ident)) => {
        Shape::Entries($fields)
    };
    (($unit:literal $low:literal to $high:literal)) => {
        number($unit, $low, $high)
    };
}

specs! {
    Socket "socket" [Cpu Board] (text) "processor socket";
    Sockets "sockets" [Cooler] (texts) "sockets that it mounts on as sold";
    Chipset "chipset" [Board] (text) "chipset, such as B850";
    Chipsets "chipsets" [Cpu] (texts) "chipsets whose boards run it as shipped";
    ChipsetsAfterUpdate "chipsets_after_update" [Cpu] (texts) "chipsets whose boards run it after a firmware update";
    FlashWithoutCpu "flash_without_cpu" [Board] (flag) "its firmware can be updated without a processor";
    Cores "cores" [Cpu] ("cores" 1 to 512) "processor cores";
    Threads "threads" [Cpu] ("threads" 1 to 1_024) "hardware threads";
    BoostMhz "boost_mhz" [Cpu Gpu] ("MHz" 100 to 20_000) "highest clock that its maker states";
    CacheMb "cache_mb" [Cpu Gpu] ("MB" 1 to 4_096) "last-level cache";
    Fp32Gflops "fp32_gflops" [Gpu] ("GFLOPS" 1 to 10_000_000) "single-precision throughput at its highest clock";
    BandwidthGbS "bandwidth_gb_s" [Gpu] ("GB/s" 1 to 100_000) "bandwidth of its memory";
    VideoMemoryGb "video_memory_gb" [Gpu] ("GB" 1 to 1_024) "its own memory";
    Graphics "graphics" [Cpu] (flag) "the processor can drive a display";
    BoxedCooler "boxed_cooler" [Cpu] (flag) "there is a cooler in its box";
    M2Lanes "m2_lanes" [Cpu] ("lanes" 0 to 32) "lanes that the processor itself gives to M.2 slots";
    HeatW "heat_w" [Cpu] ("W" 1 to 1_000) "heat to be carried off under sustained load";
    TurboW "turbo_w" [Cpu] ("W" 1 to 1_000) "power under turbo, as its maker states it";
    ProcessorWMax "processor_w_max" [Board] ("W" 1 to 1_000) "heat of the largest processor that its maker allows";
    BoardPowerW "board_power_w" [Gpu] ("W" 1 to 1_000) "sustained power of the whole card";
    LoadW "load_w" [Board Memory Storage Fan Network Cooler] ("W" 0 to 500) "sustained power that it draws";
    CoolingW "cooling_w" [Cooler] ("W" 1 to 1_000) "heat that it can carry off";
    RatedW "rated_w" [Psu] ("W" 50 to 5_000) "rated continuous output";
    SupplyWMin "supply_w_min" [Gpu] ("W" 50 to 5_000) "rating of the supply that the card's maker asks for";
    Efficiency "efficiency" [Psu] (text) "80 PLUS level, such as Gold";
    CpuPlugs8Pin "cpu_plugs_8pin" [Board Psu] ("plugs" 0 to 8) "8-pin (4+4) plugs for the processor (EPS)";
    CpuPlugs4Pin "cpu_plugs_4pin" [Board] ("plugs" 0 to 8) "further 4-pin plugs for the processor";
    PciePlugs6Pin "pcie_plugs_6pin" [Gpu] ("plugs" 0 to 8) "6-pin PCIe plugs (75 W) that it needs";
    PciePlugs8Pin "pcie_plugs_8pin" [Gpu Psu] ("plugs" 0 to 24) "8-pin (6+2) PCIe plugs (150 W) that it needs or has";
    PciePlugs16Pin "pcie_plugs_16pin" [Gpu Psu] ("plugs" 0 to 4) "16-pin plugs (12VHPWR, 12V-2x6) that it needs or has";
    Plug16PinW "plug_16pin_w" [Psu] ("W" 150 to 600) "what each 16-pin plug is rated for";
    Adapter8Pins "adapter_8pins" [Gpu] ("plugs" 0 to 6) "8-pin plugs that the 16-pin adapter in its box takes";
    PcieCables "pcie_cables" [Psu] ("cables" 0 to 12) "separate cables that carry the 8-pin PCIe plugs";
    SataPlugs "sata_plugs" [Psu] ("plugs" 0 to 40) "SATA power plugs";
    FormFactor "form_factor" [Board Psu Storage] (text) "its form factor, such as microATX, SFX or M.2";
    FormFactors "form_factors" [Case] (texts) "board form factors that it takes";
    PsuFormFactors "psu_form_factors" [Case] (texts) "supply form factors that it takes";
    MemoryGeneration "memory_generation" [Board Memory] (text) "memory generation, such as DDR5";
    MemoryGenerations "memory_generations" [Cpu] (texts) "memory generations that its controller knows";
    ModuleType "module_type" [Board Memory] (text) "module type: UDIMM, SO-DIMM, RDIMM";
    Ecc "ecc" [Cpu Board Memory] (flag) "module ECC: the kit has it; the processor or board supports it";
    MemorySlots "memory_slots" [Board] ("slots" 1 to 64) "memory slots";
    MemoryGbMax "memory_gb_max" [Board] ("GB" 1 to 100_000) "most memory that it takes in all";
    ModuleGbMax "module_gb_max" [Board] ("GB" 1 to 10_000) "largest memory module that a slot takes";
    MemoryMtSMax "memory_mt_s_max" [Cpu Board] ("MT/s" 100 to 20_000) "highest transfer rate that it lists";
    MemoryMtSMaxFull "memory_mt_s_max_full" [Board] ("MT/s" 100 to 20_000) "highest transfer rate that it lists with every slot filled";
    Modules "modules" [Memory] ("modules" 1 to 16) "modules in the kit";
    TransferMtS "transfer_mt_s" [Memory] ("MT/s" 100 to 20_000) "rated transfer rate";
    Latency "latency_cl" [Memory] ("clocks" 1 to 100) "CAS latency at the rated transfer rate";
    CapacityGb "capacity_gb" [Memory Storage] ("GB" 1 to 1_000_000) "capacity: of the whole kit, or of the drive";
    Interface "interface" [Storage Network] (text) "PCIe, SATA or USB";
    PcieGeneration "pcie_generation" [Storage] ("generation" 1 to 7) "generation of a drive's PCIe lanes";
    M2LengthMm "m2_length_mm" [Storage] ("mm" 30 to 110) "length of an M.2 drive: 80 for 2280";
    ReadMbS "read_mb_s" [Storage] ("MB/s" 1 to 100_000) "sequential read rate";
    M2Slots "m2_slots" [Board] (entries M2_SLOT) "M.2 slots for drives";
    SataPorts "sata_ports" [Board] ("ports" 0 to 32) "SATA ports";
    VideoOutputs "video_outputs" [Board] ("outputs" 0 to 8) "outputs for the processor's own graphics";
    Wifi "wifi" [Board Network] (flag) "it has Wi-Fi";
    SlotPositions "slot_positions" [Board] ("slots" 1 to 10) "slot pitches from the graphics slot to the last slot";
    FanHeaders "fan_headers" [Board] ("headers" 0 to 24) "fan headers besides the processor's own";
    LightHeaders "light_headers" [Board] (texts) "headers for lights: 5 V, 12 V";
    Lights "lights" [Fan Cooler] (text) "what its lights connect to: 5 V or 12 V";
    UsbCHeaders "usb_c_headers" [Board] ("headers" 0 to 4) "headers for a front USB-C port";
    Usb3Headers "usb3_headers" [Board] ("headers" 0 to 4) "19-pin USB headers";
    UsbCLeads "usb_c_leads" [Case] ("leads" 0 to 4) "front USB-C ports";
    Usb3Leads "usb3_leads" [Case] ("leads" 0 to 4) "19-pin USB leads";
    RearConnectors "rear_connectors" [Board Case] (flag) "connectors on the back of the board, or openings for them";
    LengthMm "length_mm" [Gpu Psu] ("mm" 20 to 1_000) "length";
    DepthMm "depth_mm" [Board] ("mm" 100 to 500) "depth from the rear edge with the connectors";
    HeightMm "height_mm" [Cooler Memory Gpu] ("mm" 5 to 400) "height: over the processor, the slot or the bracket";
    MemoryHeightMmMax "memory_height_mm_max" [Cooler] ("mm" 5 to 200) "highest memory that its fan clears where it sits lowest";
    RadiatorMm "radiator_mm" [Cooler] ("mm" 80 to 480) "size of its radiator; without it, it cools with air alone";
    RadiatorThicknessMm "radiator_thickness_mm" [Cooler] ("mm" 10 to 120) "thickness of the radiator without fans";
    RadiatorFanMm "radiator_fan_mm" [Cooler] ("mm" 10 to 120) "thickness of the radiator's fans";
    RadiatorMounts "radiator_mounts" [Case] (entries RADIATOR_MOUNT) "places for a radiator";
    FanMounts "fan_mounts" [Case] ("places" 0 to 40) "places for fans of 120 or 140 mm, those behind radiators included";
    SizeMm "size_mm" [Fan] ("mm" 40 to 250) "size of a fan's frame";
    SlotsOccupied "slots_occupied" [Gpu] ("slots" 1 to 8) "slots that it covers, rounded up";
    ExpansionSlots "expansion_slots" [Case] ("slots" 1 to 20) "openings for cards at the rear";
    GpuLengthMmMax "gpu_length_mm_max" [Case] ("mm" 20 to 1_000) "longest graphics card that fits";
    FrontFanMm "front_fan_mm" [Case] ("mm" 0 to 120) "depth of front fans that the longest graphics card does not count";
    GpuHeightMmMax "gpu_height_mm_max" [Case] ("mm" 20 to 400) "room from the slot to the side panel";
    PsuLengthMmMax "psu_length_mm_max" [Case] ("mm" 20 to 1_000) "longest power supply that fits";
    BoardDepthMmMax "board_depth_mm_max" [Case] ("mm" 100 to 500) "deepest board that fits";
    CoolerHeightMmMax "cooler_height_mm_max" [Case] ("mm" 5 to 400) "highest cooler that fits";
    Bays35 "bays_3_5" [Case] ("bays" 0 to 40) "bays for 3.5-inch drives alone";
    Bays25 "bays_2_5" [Case] ("bays" 0 to 40) "bays for 2.5-inch drives alone";
    BaysEither "bays_either" [Case] ("bays" 0 to 40) "bays that take a 2.5-inch or a 3.5-inch drive";
    Colour "colour" [Case Cooler Fan Gpu Memory Psu Board] (text) "colour, where it tells parts apart";
    WeightG "weight_g" [Cpu Cooler Board Memory Gpu Storage Psu Case Fan Os Display Network] ("g" 1 to 200_000) "weight as it is sent, packaging included";
    NoiseDba "noise_dba" [Cooler Psu Gpu Case Fan] ("dBA" 0 to 120) "noise under load, as its maker states it";
}

impl Spec {
    pub fn def(self) -> &'static SpecDef {
        // `SPECS` has the order of the enum: both come from the same lines.
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
    // Compared as they are folded: tables over thousands of sets of parts ask this of each set.
    fn folded(text: &str) -> impl Iterator<Item = char> {
        let kept = |character: &char| !matches!(character, ' ' | '-' | '_' | '\u{a0}');
        text.chars().filter(kept).flat_map(char::to_lowercase)
    }
    folded(left).eq(folded(right))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_spec_has_a_key_of_its_own_that_ends_in_its_unit() {
        for def in SPECS {
            assert_eq!(Spec::parse(def.key), Some(def.spec), "{}", def.key);
            let unit = match &def.shape {
                Shape::Number { unit, .. } => *unit,
                _ => continue,
            };
            // Counts are named after what they count.
            let suffix = match unit {
                "W" => "_w",
                "g" => "_g",
                "mm" => "_mm",
                "GB" => "_gb",
                "MT/s" => "_mt_s",
                "MB/s" => "_mb_s",
                "MHz" => "_mhz",
                "GB/s" => "_gb_s",
                "GFLOPS" => "_gflops",
                "dBA" => "_dba",
                _ => continue,
            };
            assert!(def.key.contains(suffix), "{} is in {unit}", def.key);
        }
    }

    #[test]
    fn names_compare_without_case_blanks_and_hyphens() {
        assert!(same_name("Mini-ITX", "mini itx") && same_name("LGA 1700", "LGA1700"));
        assert!(!same_name("ATX", "microATX"));
    }
}
