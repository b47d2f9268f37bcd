//! Random parts for tests of the fit rules: specs that leave room for everything, and specs by
//! the dice, with limits close enough to needs that either side of them is common.

use rigtide::catalogue::spec::{SPECS, Shape};
use rigtide::catalogue::{Entry, Kind, Part, PartId, Sorted, Spec, SpecValue};
use std::collections::BTreeMap;

/// A small generator of its own (splitmix64), so that a seed names a case for good.
pub struct Dice(pub u64);

impl Dice {
    pub fn roll(&mut self, sides: i64) -> i64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut mixed = self.0;
        mixed = (mixed ^ (mixed >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        mixed = (mixed ^ (mixed >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        ((mixed ^ (mixed >> 31)) % sides.unsigned_abs()) as i64
    }

    pub fn pick<'t, T: ?Sized>(&mut self, of: &[&'t T]) -> &'t T {
        of[self.roll(of.len() as i64) as usize]
    }
}

/// A part of this kind with these specs and nothing else.
pub fn part(kind: Kind, id: &str, specs: BTreeMap<Spec, SpecValue>) -> Part {
    Part {
        id: PartId::new(id),
        kind,
        name: id.to_owned(),
        brand: None,
        mpns: vec![id.to_owned()],
        gtins: Vec::new(),
        specs: specs.into(),
        rates: Sorted::new(),
        source: None,
        guessed: std::collections::BTreeSet::new(),
    }
}

/// Every spec of a kind, such that any parts made so go together.
pub fn roomy(kind: Kind) -> BTreeMap<Spec, SpecValue> {
    let defs = SPECS.iter().filter(|def| def.kinds.contains(&kind));
    defs.filter(|def| def.spec != Spec::RadiatorMm)
        .map(|def| {
            let value = match &def.shape {
                Shape::Text => SpecValue::Text(words(def.spec)[0].into()),
                Shape::Texts => SpecValue::Texts([words(def.spec)[0].to_owned()].into()),
                Shape::Flag => SpecValue::Flag(!matches!(
                    (kind, def.spec),
                    (Kind::Memory, Spec::Ecc) | (Kind::Board, Spec::RearConnectors)
                )),
                Shape::Number { .. } => SpecValue::Number(roomy_number(kind, def.spec)),
                Shape::Numbers { .. } => SpecValue::Numbers([].into()),
                Shape::Entries(_) => SpecValue::Entries(vec![m2_slot(110, 5, 0); 3].into()),
            };
            (def.spec, value)
        })
        .collect()
}

/// Of needs the least, of room the most.
fn roomy_number(kind: Kind, spec: Spec) -> i64 {
    match (kind, spec) {
        (Kind::Psu, Spec::PciePlugs8Pin | Spec::PcieCables | Spec::CpuPlugs8Pin) => 8,
        (Kind::Gpu, Spec::PciePlugs16Pin) | (Kind::Board, Spec::CpuPlugs4Pin) => 0,
        (_, Spec::M2LengthMm) => 80,
        (_, Spec::RatedW) => 1_500,
        (_, Spec::CoolingW | Spec::ProcessorWMax) => 300,
        (Kind::Memory, Spec::HeightMm) => 32,
        (Kind::Cooler, Spec::HeightMm | Spec::MemoryHeightMmMax) => 60,
        (_, spec) => {
            let key = spec.key();
            let is_room = key.ends_with("_max")
                || key.ends_with("_min")
                || key.contains("slots")
                || key.contains("bays")
                || key.contains("headers")
                || [Spec::SataPorts, Spec::SataPlugs, Spec::FanMounts].contains(&spec)
                || [Spec::VideoOutputs, Spec::SlotPositions, Spec::M2Lanes].contains(&spec);
            let Shape::Number { plausible, .. } = &spec.def().shape else {
                return 0;
            };
            match is_room && spec != Spec::SlotsOccupied && spec != Spec::SupplyWMin {
                true => plausible.end - 1,
                false => plausible.start,
            }
        }
    }
}

/// Specs of a kind by the dice; one in `gap` is missing.
pub fn by_chance(kind: Kind, dice: &mut Dice, gap: i64) -> BTreeMap<Spec, SpecValue> {
    // Weights play no part in what fits.
    let defs = SPECS.iter().filter(|def| def.spec != Spec::WeightG);
    let defs = defs.filter(|def| def.kinds.contains(&kind));
    let mut specs = BTreeMap::new();
    for def in defs {
        let value = match &def.shape {
            Shape::Text => SpecValue::Text(dice.pick(words(def.spec)).into()),
            Shape::Texts => {
                let mut names = vec![
                    dice.pick(words(def.spec)).to_owned(),
                    dice.pick(words(def.spec)).to_owned(),
                ];
                names.dedup();
                SpecValue::Texts(names.into())
            }
            Shape::Flag => SpecValue::Flag(dice.roll(2) == 0),
            Shape::Number { .. } => SpecValue::Number(chance_number(def.spec, dice)),
            Shape::Numbers { .. } => continue,
            Shape::Entries(_) if def.spec == Spec::M2Slots => {
                let slots = (0..dice.roll(4)).map(|_| chance_slot(dice));
                SpecValue::Entries(slots.collect())
            }
            Shape::Entries(_) => {
                let mounts = (0..dice.roll(4)).map(|_| chance_mount(dice));
                SpecValue::Entries(mounts.collect())
            }
        };
        if dice.roll(gap) != 0 {
            specs.insert(def.spec, value);
        }
    }
    specs
}

/// Words that a text spec may have; the first suits everything.
fn words(spec: Spec) -> &'static [&'static str] {
    match spec {
        Spec::Socket | Spec::Sockets => &["AM5", "AM5", "LGA1700"],
        Spec::Chipset | Spec::Chipsets | Spec::ChipsetsAfterUpdate => &["B650", "X670", "B760"],
        Spec::FormFactor => &[
            "ATX", "SFX", "microATX", "M.2", "2.5-inch", "3.5-inch", "E-ATX",
        ],
        Spec::FormFactors | Spec::PsuFormFactors => &["ATX", "SFX", "microATX", "SFX-L"],
        Spec::MemoryGeneration | Spec::MemoryGenerations => &["DDR5", "DDR4"],
        Spec::ModuleType => &["UDIMM", "UDIMM", "SO-DIMM"],
        Spec::Interface => &["PCIe", "SATA", "USB"],
        Spec::Lights | Spec::LightHeaders => &["5 V", "12 V"],
        Spec::Efficiency => &["Gold", "Bronze"],
        _ => &["black", "white"],
    }
}

/// Numbers from a few steps that needs and room share.
fn chance_number(spec: Spec, dice: &mut Dice) -> i64 {
    let step = |dice: &mut Dice, low: i64, by: i64| low + by * dice.roll(4);
    match spec {
        Spec::LengthMm | Spec::GpuLengthMmMax | Spec::PsuLengthMmMax => step(dice, 150, 50),
        Spec::HeightMm | Spec::CoolerHeightMmMax | Spec::GpuHeightMmMax => step(dice, 30, 35),
        Spec::MemoryHeightMmMax => step(dice, 30, 10),
        Spec::DepthMm | Spec::BoardDepthMmMax => step(dice, 220, 20),
        Spec::RadiatorMm => [120, 240, 280, 360][dice.roll(4) as usize],
        Spec::RadiatorThicknessMm | Spec::RadiatorFanMm => step(dice, 25, 3),
        Spec::M2LengthMm => [30, 42, 80, 110][dice.roll(4) as usize],
        Spec::HeatW | Spec::TurboW | Spec::CoolingW | Spec::ProcessorWMax => step(dice, 65, 30),
        Spec::BoardPowerW => step(dice, 75, 150),
        Spec::RatedW | Spec::SupplyWMin => step(dice, 450, 100),
        Spec::Plug16PinW => step(dice, 150, 150),
        Spec::CapacityGb | Spec::MemoryGbMax | Spec::ModuleGbMax => step(dice, 16, 16),
        Spec::TransferMtS | Spec::MemoryMtSMax | Spec::MemoryMtSMaxFull => step(dice, 4_800, 800),
        Spec::Modules | Spec::MemorySlots | Spec::SlotsOccupied => step(dice, 1, 1),
        Spec::LoadW | Spec::FrontFanMm => step(dice, 0, 10),
        _ => dice.roll(4),
    }
}

fn m2_slot(length: i64, generation: i64, lost: i64) -> Entry {
    Entry(Sorted::from([
        ("length_mm_max", SpecValue::Number(length)),
        ("pcie_generation", SpecValue::Number(generation)),
        ("sata", SpecValue::Flag(true)),
        ("sata_ports_lost", SpecValue::Number(lost)),
    ]))
}

fn chance_slot(dice: &mut Dice) -> Entry {
    let mut slot = m2_slot([42, 80, 110][dice.roll(3) as usize], 4, dice.roll(3));
    if dice.roll(3) == 0 {
        slot.0.remove("pcie_generation");
    }
    if dice.roll(2) == 0 {
        slot.0.remove("sata");
    }
    if dice.roll(3) == 0 {
        slot.0.insert("from_cpu", SpecValue::Flag(true));
    }
    slot
}

fn chance_mount(dice: &mut Dice) -> Entry {
    let position = dice.pick(&["front", "top", "rear"]).to_owned();
    let size = [120, 240, 280, 360][dice.roll(4) as usize];
    let mut mount = Entry(Sorted::from([
        ("position", SpecValue::Text(position.into())),
        ("sizes_mm", SpecValue::Numbers([240, size].into())),
    ]));
    if dice.roll(5) != 0 {
        let room = SpecValue::Number(50 + 5 * dice.roll(4));
        mount.0.insert("thickness_mm_max", room);
    }
    if dice.roll(2) == 0 {
        let most = SpecValue::Number(30 + 35 * dice.roll(3));
        mount.0.insert("memory_height_mm_max", most);
    }
    mount
}
