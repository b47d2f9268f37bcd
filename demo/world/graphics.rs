//! Graphics cards: two families of chips, four makers of cards, several coolers on each chip.

use super::part::{Draft, Kind, Spec};
use crate::demo::prng::Prng;

/// What a chip does before a card maker adds to it.
struct Chip {
    family: &'static str,
    number: u32,
    frames: u32,
    euros: u32,
    watts: u32,
}

const fn chip(family: &'static str, number: u32, frames: u32, euros: u32, watts: u32) -> Chip {
    Chip {
        family,
        number,
        frames,
        euros,
        watts,
    }
}

const CHIPS: [Chip; 14] = [
    chip("Lumevar", 21, 44, 189, 110),
    chip("Korvassil", 25, 52, 219, 125),
    chip("Lumevar", 33, 67, 289, 150),
    chip("Korvassil", 36, 75, 329, 170),
    chip("Lumevar", 38, 82, 369, 180),
    chip("Lumevar", 44, 92, 429, 200),
    chip("Korvassil", 47, 99, 479, 230),
    chip("Lumevar", 49, 106, 529, 225),
    chip("Lumevar", 55, 118, 619, 255),
    chip("Korvassil", 58, 123, 659, 265),
    chip("Lumevar", 60, 132, 749, 285),
    chip("Korvassil", 66, 144, 869, 315),
    chip("Lumevar", 68, 152, 949, 320),
    chip("Lumevar", 77, 178, 1290, 380),
];

/// How a maker builds a card around a chip; price and rate in thousandths of the chip's.
struct Style {
    name: &'static str,
    letter: char,
    length_mm: u32,
    slots: u32,
    price: u32,
    rate: u32,
    /// The chips that are built this way, as places in [`CHIPS`].
    chips: std::ops::Range<usize>,
}

const STYLES: [Style; 4] = [
    Style {
        name: "Compact",
        letter: 'C',
        length_mm: 150,
        slots: 2,
        price: 1005,
        rate: 972,
        chips: 0..10,
    },
    Style {
        name: "Duo",
        letter: 'D',
        length_mm: 205,
        slots: 2,
        price: 975,
        rate: 1000,
        chips: 0..14,
    },
    Style {
        name: "Silent",
        letter: 'S',
        length_mm: 232,
        slots: 3,
        price: 1040,
        rate: 1000,
        chips: 0..14,
    },
    Style {
        name: "Tri",
        letter: 'T',
        length_mm: 258,
        slots: 3,
        price: 1065,
        rate: 1022,
        chips: 7..14,
    },
];

const MAKERS: [&str; 4] = ["Pelgrund", "Tarnoquist", "Oskvale", "Brunmara"];

pub fn cards(random: &mut Prng) -> Vec<Draft> {
    let mut cards = Vec::new();
    for (place, chip) in CHIPS.iter().enumerate() {
        for (turn, style) in STYLES.iter().enumerate() {
            if !style.chips.contains(&place) {
                continue;
            }
            let brand = MAKERS[(place + turn) % MAKERS.len()];
            let frames = random.vary(chip.frames * style.rate / 100, 12);
            let specs = vec![
                (
                    "length_mm",
                    Spec::Number(random.vary(style.length_mm + chip.watts / 5, 40)),
                ),
                ("board_power_w", Spec::Number(random.vary(chip.watts, 30))),
                ("slots_occupied", Spec::Number(style.slots)),
            ];
            let family = &chip.family[..2].to_uppercase();
            cards.push(Draft {
                kind: Kind::Gpu,
                brand,
                model: format!("{} {} {}", chip.family, chip.number, style.name),
                code: format!("{family}{}{}", chip.number, style.letter),
                specs,
                rates: [0, frames],
                usual_cents: random.vary(chip.euros * style.price / 10, 45),
            });
        }
    }
    cards
}
