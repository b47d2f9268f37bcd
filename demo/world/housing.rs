//! Coolers, power supplies and cases: what decides whether a build is quiet and fits.

use super::part::{Draft, Kind, Spec};
use crate::demo::prng::Prng;

const COOLER_MAKERS: [(&str, &str); 3] = [
    ("Haldrune", "Siltwind"),
    ("Ulvaskop", "Skerry"),
    ("Sennovik", "Brim"),
];

pub fn coolers(random: &mut Prng) -> Vec<Draft> {
    let cooler = |step: u32, random: &mut Prng| {
        let (brand, series) = COOLER_MAKERS[(step % 3) as usize];
        // Low ones for small cases, towers, and towers with two stacks.
        let (word, height, cooling, noise, extra) = match step % 4 {
            0 => (" low", (38, 70), (75, 130), (23, 33), 500),
            3 => (" twin", (155, 170), (205, 290), (18, 27), 600),
            _ => ("", (124, 162), (125, 210), (19, 30), 0),
        };
        let height_mm = random.between(height.0, height.1);
        let cooling_w = random.between(cooling.0, cooling.1);
        let noise_dba = random.between(noise.0, noise.1);
        let sockets = match step % 9 {
            4 => vec!["AM5"],
            8 => vec!["LGA1700", "LGA1851"],
            _ => vec!["AM5", "LGA1700", "LGA1851"],
        };
        let number = 40 + 2 * step;
        Draft {
            kind: Kind::Cooler,
            brand,
            model: format!("{series} {number}{word}"),
            code: format!("C{number}"),
            specs: vec![
                ("sockets", Spec::Texts(sockets)),
                ("height_mm", Spec::Number(height_mm)),
                ("cooling_w", Spec::Number(cooling_w)),
                ("noise_dba", Spec::Number(noise_dba)),
            ],
            rates: [0, 0],
            // Quiet costs: a decibel is worth about what thirteen watts are.
            usual_cents: random.vary(700 + extra + cooling_w * 13 + (34 - noise_dba) * 170, 120),
        }
    };
    (0..36).map(|step| cooler(step, random)).collect()
}

/// (brand, series, form factor, efficiency, dB(A), cents to begin with, cents a watt)
const SUPPLIES: [(&str, &str, &str, &str, u32, u32, u32); 6] = [
    ("Sennovik", "Ember", "ATX", "Bronze", 27, 2_000, 7),
    ("Haldrune", "Hearth", "ATX", "Gold", 22, 3_200, 9),
    ("Jastrune", "Kiln", "ATX", "Platinum", 17, 5_600, 11),
    ("Sennovik", "Wick", "SFX", "Bronze", 28, 4_300, 8),
    ("Haldrune", "Taper", "SFX", "Gold", 23, 5_400, 10),
    ("Jastrune", "Lantern", "SFX", "Platinum", 19, 7_600, 12),
];

pub fn supplies(random: &mut Prng) -> Vec<Draft> {
    let mut supplies = Vec::new();
    for (brand, series, form, efficiency, noise, base, per_watt) in SUPPLIES {
        let ratings: &[u32] = match form {
            "ATX" => &[450, 550, 650, 750, 850, 1000, 1200],
            _ => &[450, 600, 750],
        };
        for rated_w in ratings {
            supplies.push(Draft {
                kind: Kind::Psu,
                brand,
                model: format!("{series} {rated_w} W"),
                code: format!("{}{rated_w}", &series[..2].to_uppercase()),
                specs: vec![
                    ("form_factor", Spec::Text(form)),
                    (
                        "length_mm",
                        Spec::Number(if form == "ATX" { 140 } else { 100 }),
                    ),
                    ("rated_w", Spec::Number(*rated_w)),
                    ("efficiency", Spec::Text(efficiency)),
                    (
                        "noise_dba",
                        Spec::Number(random.between(noise - 3, noise + 3)),
                    ),
                ],
                rates: [0, 0],
                usual_cents: random.vary(base + rated_w * per_watt, 90),
            });
        }
    }
    supplies
}

/// A size of case: what goes in, and how much room there is.
struct Size {
    series: &'static str,
    forms: &'static [&'static str],
    gpu_length_mm: (u32, u32),
    cooler_height_mm: (u32, u32),
    slots: u32,
    psu_length_mm: u32,
    cents: (u32, u32),
    count: u32,
}

const SIZES: [Size; 3] = [
    Size {
        series: "Barn",
        forms: &["ATX", "microATX", "Mini-ITX"],
        gpu_length_mm: (315, 420),
        cooler_height_mm: (156, 185),
        slots: 7,
        psu_length_mm: 200,
        cents: (5_400, 14_500),
        count: 18,
    },
    Size {
        series: "Loft",
        forms: &["microATX", "Mini-ITX"],
        gpu_length_mm: (265, 370),
        cooler_height_mm: (138, 172),
        slots: 4,
        psu_length_mm: 170,
        cents: (4_300, 11_000),
        count: 13,
    },
    Size {
        series: "Nook",
        forms: &["Mini-ITX"],
        gpu_length_mm: (175, 325),
        cooler_height_mm: (47, 155),
        slots: 3,
        psu_length_mm: 140,
        cents: (7_500, 18_500),
        count: 9,
    },
];

const CASE_MAKERS: [&str; 3] = ["Ulvaskop", "Drefholm", "Vennoquil"];

pub fn cases(random: &mut Prng) -> Vec<Draft> {
    let mut cases = Vec::new();
    for size in &SIZES {
        for step in 0..size.count {
            let supplies = match (size.series, step % 3) {
                ("Nook", 0 | 1) => vec!["SFX"],
                (_, 2) => vec!["ATX", "SFX"],
                _ => vec!["ATX"],
            };
            let (gpu, cooler) = (size.gpu_length_mm, size.cooler_height_mm);
            let number = 10 + step;
            cases.push(Draft {
                kind: Kind::Case,
                brand: CASE_MAKERS[(step % 3) as usize],
                model: format!("{} {number}", size.series),
                code: format!("{}{number}", size.series.to_uppercase()),
                specs: vec![
                    ("form_factors", Spec::Texts(size.forms.to_vec())),
                    (
                        "gpu_length_mm_max",
                        Spec::Number(random.between(gpu.0, gpu.1)),
                    ),
                    (
                        "cooler_height_mm_max",
                        Spec::Number(random.between(cooler.0, cooler.1)),
                    ),
                    ("expansion_slots", Spec::Number(size.slots)),
                    ("psu_form_factors", Spec::Texts(supplies)),
                    ("psu_length_mm_max", Spec::Number(size.psu_length_mm)),
                ],
                rates: [0, 0],
                usual_cents: random.between(size.cents.0, size.cents.1),
            });
        }
    }
    cases
}
