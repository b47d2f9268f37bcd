//! An invented catalogue and titles of its parts, some of them of things one attribute away.

use crate::offer::titled;
use crate::prng::Prng;
use rigtide::market::Offer;
use rigtide::money::{Currency, Money};

pub struct World {
    parts: Vec<Part>,
    /// Each offer with the part that it is, if it is one.
    pub offers: Vec<(Offer, Option<String>)>,
}

struct Part {
    id: String,
    brand: String,
    /// Words of the name behind the brand, in an order that titles change.
    words: Vec<String>,
    toml: String,
}

const N_BRANDS: u32 = 60;

impl World {
    pub fn generate(seed: u64, n_parts: usize, n_offers: usize) -> World {
        let mut random = Prng::stream(seed, 1);
        let brands: Vec<String> = (0..N_BRANDS).map(|_| invent(&mut random, 3)).collect();
        let lines: Vec<String> = (0..400).map(|_| invent(&mut random, 2)).collect();
        let mut parts: Vec<Part> = Vec::new();
        let mut known = std::collections::BTreeSet::new();
        while parts.len() < n_parts {
            let brand = &brands[random.between(0, N_BRANDS - 1) as usize];
            let line = &lines[random.between(0, 399) as usize];
            let part = part(&mut random, parts.len(), brand, line);
            if known.insert((part.brand.clone(), part.words.clone())) {
                parts.push(part);
            }
        }
        let mut random = Prng::stream(seed, 2);
        let offers = (0..n_offers)
            .map(|n| offer(&mut random, &parts, n))
            .collect();
        World { parts, offers }
    }

    /// The first parts as a file of the catalogue.
    pub fn catalogue(&self, n_parts: usize) -> String {
        let parts = self.parts[..n_parts].iter();
        parts
            .map(|part| {
                let Part { id, brand, words, toml } = part;
                let name = words.join(" ");
                format!("[[part]]\nid = \"{id}\"\nname = \"{brand} {name}\"\nbrand = \"{brand}\"\n{toml}\n")
            })
            .collect()
    }
}

/// A word of syllables; two draws are rarely alike.
fn invent(random: &mut Prng, n_syllables: u32) -> String {
    const CONSONANTS: &[u8] = b"bdfgklmnprstvz";
    const VOWELS: &[u8] = b"aeiou";
    let mut word = String::new();
    for _ in 0..n_syllables {
        word.push(CONSONANTS[random.between(0, 13) as usize] as char);
        word.push(VOWELS[random.between(0, 4) as usize] as char);
    }
    word.push(CONSONANTS[random.between(0, 13) as usize] as char);
    word[..1].to_uppercase() + &word[1..]
}

fn one_of<'o>(random: &mut Prng, options: &[&'o str]) -> &'o str {
    options[random.between(0, options.len() as u32 - 1) as usize]
}

fn part(random: &mut Prng, n: usize, brand: &str, line: &str) -> Part {
    let owned = |words: &[&str]| {
        words
            .iter()
            .map(|word| (*word).to_owned())
            .collect::<Vec<_>>()
    };
    let number = (random.between(10, 99) * 10).to_string();
    let (kind, words, specs) = match random.between(0, 4) {
        0 => {
            let suffix = one_of(random, &["", "K", "F", "X"]);
            (
                "cpu",
                owned(&[line, &format!("{number}{suffix}")]),
                String::new(),
            )
        }
        1 => {
            let gb = one_of(random, &["8GB", "12GB", "16GB"]);
            let mut words = owned(&[line, &number, gb]);
            if random.chance(50) {
                words.push("OC".to_owned());
            }
            ("gpu", words, String::new())
        }
        2 => {
            let each = one_of(random, &["8", "16", "32"]);
            let rate = one_of(random, &["5600", "6000", "6400"]);
            let capacity = each.parse::<u32>().unwrap_or(0) * 2;
            let words = owned(&[
                line,
                &format!("{capacity}GB (2x{each}GB)"),
                &format!("DDR5-{rate}"),
            ]);
            let specs = format!("capacity_gb = {capacity}\nmodules = 2\ntransfer_mt_s = {rate}\n");
            ("memory", words, specs)
        }
        3 => {
            let watts = one_of(random, &["550", "650", "750", "850"]);
            let level = one_of(random, &["Bronze", "Gold", "Platinum"]);
            let specs = format!("rated_w = {watts}\nefficiency = \"{level}\"\n");
            ("psu", owned(&[line, &format!("{watts}W"), level]), specs)
        }
        _ => {
            let colour = one_of(random, &["Black", "White"]);
            ("case", owned(&[line, &number, colour]), String::new())
        }
    };
    Part {
        id: format!("part-{n}"),
        brand: brand.to_owned(),
        words,
        toml: format!("kind = \"{kind}\"\n{specs}"),
    }
}

fn offer(random: &mut Prng, parts: &[Part], n: usize) -> (Offer, Option<String>) {
    let part = &parts[random.between(0, parts.len() as u32 - 1) as usize];
    let mut words = part.words.clone();
    let mut label = Some(part.id.clone());
    if random.chance(30) {
        // Of a line that no part has.
        words[0] = invent(random, 4);
        label = None;
    }
    if random.chance(30) {
        words.rotate_left(1);
    }
    let tail = one_of(
        random,
        &[
            "",
            ", neu & OVP",
            " - sofort lieferbar",
            " (Retail)",
            " | new",
        ],
    );
    let title = match random.between(0, 2) {
        0 => format!("{} {}{tail}", part.brand, words.join(" ")),
        1 => format!(
            "{} {}{tail}",
            part.brand.to_uppercase(),
            words.join(" ").to_uppercase()
        ),
        _ => format!("{}, {}{tail}", words.join(" "), part.brand),
    };
    let offer = Offer {
        brand: Some(part.brand.clone()).filter(|_| n.is_multiple_of(2)),
        price: Money::from_minor(i64::from(random.vary(20_000, 300)), Currency::EUR),
        ..titled(&n.to_string(), &title)
    };
    (offer, label)
}
