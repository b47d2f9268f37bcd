//! Processors, boards, memory and drives: three sockets, two generations of memory.

use super::part::{Draft, Kind, Spec, between_steps, capacity};
use crate::demo::prng::Prng;

/// One line of processors for one socket; rates and price in thousandths of the usual.
struct Line {
    brand: &'static str,
    series: &'static str,
    letter: char,
    socket: &'static str,
    chipsets: &'static [&'static str],
    memory: &'static [&'static str],
    count: u32,
    video: u32,
    games: u32,
    price: u32,
    heat: u32,
}

const LINES: [Line; 3] = [
    Line {
        brand: "Askerune",
        series: "Fjell",
        letter: 'F',
        socket: "AM5",
        chipsets: &["B650", "B850"],
        memory: &["DDR5"],
        count: 16,
        video: 1000,
        games: 1000,
        price: 1000,
        heat: 1000,
    },
    Line {
        brand: "Veldimor",
        series: "Strand",
        letter: 'S',
        socket: "LGA1851",
        chipsets: &["B860"],
        memory: &["DDR5"],
        count: 14,
        video: 1080,
        games: 945,
        price: 1010,
        heat: 1150,
    },
    Line {
        brand: "Veldimor",
        series: "Brink",
        letter: 'B',
        socket: "LGA1700",
        chipsets: &["B660", "B760"],
        memory: &["DDR4", "DDR5"],
        count: 10,
        video: 930,
        games: 950,
        price: 850,
        heat: 1200,
    },
];

pub fn processors(random: &mut Prng) -> Vec<Draft> {
    let mut processors = Vec::new();
    for line in &LINES {
        for step in 0..line.count {
            processors.push(processor(line, step, random));
        }
    }
    processors
}

fn processor(line: &Line, step: u32, random: &mut Prng) -> Draft {
    let last = line.count - 1;
    // A cool variant gives up speed for heat; an "Arena" one has cache that games like.
    let (suffix, letter, video, games, price, heat) = match step % 4 {
        1 => (" Lite", "L", 930, 960, 940, 620),
        3 => (" Arena", "A", 940, 1150, 1130, 900),
        _ => ("", "", 1000, 1000, 1000, 1000),
    };
    let number = 20 + 3 * step;
    let scaled = |value: u32, line: u32, variant: u32| value * line / 1000 * variant / 1000;
    let jobs = between_steps(135, 390, step, last);
    // Games gain less and less from a bigger processor.
    let frames = between_steps(950, 2050, step, last) - 300 * step * step / (last * last);
    let steepness = 33_000 * step * step / (last * last);
    let cents = between_steps(10_500, 26_000, step, last) + steepness;
    let heat_w = scaled(between_steps(65, 165, step, last), line.heat, heat);
    Draft {
        kind: Kind::Cpu,
        brand: line.brand,
        model: format!("{} {number}{suffix}", line.series),
        code: format!("{}{number}{letter}-BX", line.letter),
        specs: vec![
            ("socket", Spec::Text(line.socket)),
            ("chipsets", Spec::Texts(line.chipsets.to_vec())),
            ("heat_w", Spec::Number(heat_w)),
            ("memory_generations", Spec::Texts(line.memory.to_vec())),
            ("graphics", Spec::Flag(random.chance(70))),
        ],
        rates: [
            random.vary(scaled(jobs, line.video, video), 35),
            random.vary(scaled(frames, line.games, games), 30),
        ],
        usual_cents: random.vary(scaled(cents, line.price, price), 80),
    }
}

/// (socket, chipset, memory, letter, how many boards, cents of the plainest)
const PLATFORMS: [(&str, &str, &str, char, u32, u32); 4] = [
    ("AM5", "B850", "DDR5", 'A', 22, 9_400),
    ("LGA1851", "B860", "DDR5", 'V', 20, 10_400),
    ("LGA1700", "B660", "DDR4", 'W', 10, 7_200),
    ("LGA1700", "B760", "DDR5", 'X', 8, 8_600),
];

const BOARD_MAKERS: [(&str, &str); 4] = [
    ("Drefholm", "Quay"),
    ("Brunmara", "Keel"),
    ("Jastrune", "Slate"),
    ("Pelgrund", "Acre"),
];

pub fn boards(random: &mut Prng) -> Vec<Draft> {
    let mut boards = Vec::new();
    for (socket, chipset, memory, letter, count, plainest) in PLATFORMS {
        for step in 0..count {
            let (brand, series) = BOARD_MAKERS[((step + count) % 4) as usize];
            let (form, word, extra, discount) = match step % 5 {
                0 | 2 => ("ATX", "", 0, 0),
                4 => ("Mini-ITX", " mini", 4_200, 0),
                _ => ("microATX", " micro", 0, 1_400),
            };
            let slots = match form {
                "Mini-ITX" => 2,
                "microATX" if step < count / 2 => 2,
                _ => 4,
            };
            let module_gb_max = if memory == "DDR5" { 48 } else { 32 };
            let cents = plainest + extra - discount + 17_000 * step / count;
            let number = 10 + step;
            boards.push(Draft {
                kind: Kind::Board,
                brand,
                model: format!("{series} {letter}{number}{word} {memory}"),
                code: format!("{letter}{number}-{}", &memory[3..]),
                specs: vec![
                    ("socket", Spec::Text(socket)),
                    ("chipset", Spec::Text(chipset)),
                    ("form_factor", Spec::Text(form)),
                    ("memory_generation", Spec::Text(memory)),
                    ("module_type", Spec::Text("UDIMM")),
                    ("memory_slots", Spec::Number(slots)),
                    ("memory_gb_max", Spec::Number(slots * module_gb_max)),
                    ("module_gb_max", Spec::Number(module_gb_max)),
                ],
                rates: [0, 0],
                usual_cents: random.vary(cents, 110),
            });
        }
    }
    boards
}

/// (modules, GB of the kit, tenths of jobs per hour, cents)
const KITS: [(u32, u32, u32, u32); 7] = [
    (1, 16, 150, 5_200),
    (2, 32, 258, 9_600),
    (2, 32, 262, 9_900),
    (2, 48, 300, 13_800),
    (2, 64, 340, 17_900),
    (2, 96, 368, 27_500),
    (4, 128, 380, 38_500),
];

const MEMORY_MAKERS: [(&str, &str); 3] = [
    ("Ulvaskop", "Tern"),
    ("Sennovik", "Reed"),
    ("Jastrune", "Clover"),
];

pub fn memory(random: &mut Prng) -> Vec<Draft> {
    let mut kits = Vec::new();
    for (turn, speed) in [5200, 5600, 6000, 6400].into_iter().enumerate() {
        for (place, kit) in KITS.into_iter().enumerate() {
            kits.push(memory_kit("DDR5", speed, kit, turn + place, random));
        }
    }
    for (turn, speed) in [2666, 3200, 3600].into_iter().enumerate() {
        for (place, kit) in [KITS[0], KITS[1], KITS[4], KITS[6]].into_iter().enumerate() {
            let (modules, gigabytes, tenths, cents) = kit;
            let older = (modules, gigabytes, tenths * 93 / 100, cents * 80 / 100);
            kits.push(memory_kit("DDR4", speed, older, turn + place, random));
        }
    }
    kits
}

fn memory_kit(
    generation: &'static str,
    speed: u32,
    (modules, gigabytes, tenths, cents): (u32, u32, u32, u32),
    turn: usize,
    random: &mut Prng,
) -> Draft {
    let (brand, series) = MEMORY_MAKERS[turn % MEMORY_MAKERS.len()];
    let slowest = if generation == "DDR5" { 5200 } else { 2666 };
    // Every 400 MT/s more add a little over one percent, and cost two and a half.
    let steps = (speed - slowest) / 100;
    let tenths = tenths * (1000 + 3 * steps) / 1000;
    let cents = cents * (1000 + 6 * steps) / 1000;
    let each = gigabytes / modules;
    Draft {
        kind: Kind::Memory,
        brand,
        model: format!("{series} {gigabytes} GB ({modules}x{each} GB) {generation}-{speed}"),
        code: format!("{gigabytes}K{modules}-{}{speed}", &generation[3..]),
        specs: vec![
            ("memory_generation", Spec::Text(generation)),
            ("module_type", Spec::Text("UDIMM")),
            ("modules", Spec::Number(modules)),
            ("capacity_gb", Spec::Number(gigabytes)),
            ("transfer_mt_s", Spec::Number(speed)),
        ],
        rates: [random.vary(tenths, 15), 0],
        usual_cents: random.vary(cents, 80),
    }
}

/// (brand, series, interface, MB/s read, tenths of jobs per hour)
const DRIVES: [(&str, &str, &str, u32, u32); 10] = [
    ("Vennoquil", "Loam", "SATA", 540, 150),
    ("Ulvaskop", "Moss", "SATA", 560, 154),
    ("Vennoquil", "Wren", "PCIe", 2400, 214),
    ("Tarnoquist", "Sedge", "PCIe", 3400, 238),
    ("Ulvaskop", "Alder", "PCIe", 3500, 241),
    ("Vennoquil", "Rowan", "PCIe", 5000, 270),
    ("Tarnoquist", "Harrow", "PCIe", 6800, 305),
    ("Ulvaskop", "Gale", "PCIe", 7200, 312),
    ("Vennoquil", "Fell", "PCIe", 10_000, 348),
    ("Tarnoquist", "Scree", "PCIe", 12_400, 372),
];

pub fn drives(random: &mut Prng) -> Vec<Draft> {
    let mut drives = Vec::new();
    for (brand, series, interface, read, tenths) in DRIVES {
        for gigabytes in [500, 1000, 2000, 4000] {
            let cents = 1_800 + gigabytes * 16 / 5 + read * gigabytes / 2_900;
            drives.push(Draft {
                kind: Kind::Storage,
                brand,
                model: format!("{series} {}", capacity(gigabytes)),
                code: format!("{}{gigabytes}", series.to_uppercase()),
                specs: vec![
                    ("capacity_gb", Spec::Number(gigabytes)),
                    ("interface", Spec::Text(interface)),
                    ("read_mb_s", Spec::Number(read)),
                ],
                rates: [random.vary(tenths, 20), 0],
                usual_cents: random.vary(cents, 90),
            });
        }
    }
    drives
}
