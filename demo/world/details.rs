//! What the fit rules read besides the specs that set a part's price: plugs, slots, bays, heights.
//!
//! Drawn from the specs that are there already, so that two worlds of one seed agree. Every part
//! of the demo says all that the rules ask; what is missing in a catalogue is shown elsewhere.

use super::part::{Kind, Spec};

type Specs = Vec<(&'static str, Spec)>;

/// The further specs of a part of this kind with these specs.
pub fn details(kind: Kind, specs: &Specs) -> Specs {
    let number = |name| match find(specs, name) {
        Some(Spec::Number(number)) => *number,
        _ => 0,
    };
    let is = |name, value| matches!(find(specs, name), Some(Spec::Text(text)) if *text == value);
    match kind {
        Kind::Cpu => vec![
            ("boxed_cooler", Spec::Flag(false)),
            ("m2_lanes", Spec::Number(4)),
        ],
        Kind::Cooler => vec![("memory_height_mm_max", Spec::Number(44))],
        Kind::Board => {
            let (n_slots, ports) = match () {
                () if is("form_factor", "Mini-ITX") => (1, 4),
                () if is("form_factor", "microATX") => (2, 4),
                () => (3, 6),
            };
            vec![
                ("m2_slots", Spec::Entries(m2_slots(n_slots))),
                ("sata_ports", Spec::Number(ports)),
                ("cpu_plugs_8pin", Spec::Number(1)),
                ("video_outputs", Spec::Number(2)),
                ("fan_headers", Spec::Number(2 + n_slots)),
            ]
        }
        Kind::Memory => {
            let is_plain = number("modules") == 1 || is("memory_generation", "DDR4");
            let height_mm = if is_plain { 32 } else { 41 };
            vec![("height_mm", Spec::Number(height_mm))]
        }
        Kind::Gpu => plugs(number("board_power_w")),
        Kind::Storage if is("interface", "SATA") => {
            vec![("form_factor", Spec::Text("2.5-inch"))]
        }
        Kind::Storage => {
            let generation = match number("read_mb_s") {
                0..=3_900 => 3,
                3_901..=7_800 => 4,
                _ => 5,
            };
            vec![
                ("form_factor", Spec::Text("M.2")),
                ("m2_length_mm", Spec::Number(80)),
                ("pcie_generation", Spec::Number(generation)),
            ]
        }
        Kind::Psu => supply(number("rated_w")),
        Kind::Case => vec![
            ("gpu_height_mm_max", Spec::Number(172)),
            ("bays_2_5", Spec::Number(2)),
            ("bays_3_5", Spec::Number(1)),
            (
                "fan_mounts",
                Spec::Number(2 + number("expansion_slots") / 2),
            ),
        ],
    }
}

fn find<'s>(specs: &'s Specs, name: &str) -> Option<&'s Spec> {
    specs
        .iter()
        .find(|(known, _)| *known == name)
        .map(|(_, spec)| spec)
}

/// The first slot is fast and hangs on the processor; a third costs two SATA ports.
fn m2_slots(count: u32) -> Vec<Specs> {
    let slot = |place| {
        let mut slot = vec![
            (
                "length_mm_max",
                Spec::Number(if place == 0 { 110 } else { 80 }),
            ),
            (
                "pcie_generation",
                Spec::Number(if place == 0 { 5 } else { 4 }),
            ),
        ];
        match place {
            0 => slot.push(("from_cpu", Spec::Flag(true))),
            1 => slot.push(("sata", Spec::Flag(true))),
            _ => slot.push(("sata_ports_lost", Spec::Number(2))),
        }
        slot
    };
    (0..count).map(slot).collect()
}

/// 75 W come from the slot; small cards have 8-pin plugs of 150 W, large ones the 16-pin plug.
fn plugs(board_power_w: u32) -> Specs {
    let mut specs = vec![("height_mm", Spec::Number(128))];
    match board_power_w {
        0..=299 => {
            let plugs = board_power_w.saturating_sub(75).div_ceil(150);
            specs.push(("pcie_plugs_8pin", Spec::Number(plugs)));
        }
        _ => specs.extend([
            ("pcie_plugs_16pin", Spec::Number(1)),
            ("adapter_8pins", Spec::Number(3)),
        ]),
    }
    specs
}

fn supply(rated_w: u32) -> Specs {
    let plugs = match rated_w {
        0..=499 => 2,
        500..=749 => 4,
        _ => 6,
    };
    let mut specs = vec![
        (
            "cpu_plugs_8pin",
            Spec::Number(if rated_w < 700 { 1 } else { 2 }),
        ),
        ("pcie_plugs_8pin", Spec::Number(plugs)),
        ("pcie_cables", Spec::Number(plugs)),
        ("sata_plugs", Spec::Number(6)),
    ];
    if rated_w >= 600 {
        specs.extend([
            ("pcie_plugs_16pin", Spec::Number(1)),
            ("plug_16pin_w", Spec::Number(600)),
        ]);
    }
    specs
}
