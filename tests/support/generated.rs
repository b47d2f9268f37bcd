//! Markets by the dice, of any size, with the structure of real ones: sockets, memory generations,
//! form factors, lengths, heights, heat, power and plugs, and prices that follow what a part does.
//!
//! Integers only, so that a seed names the same market on every machine.

use super::specs::Dice;
use rigtide::catalogue::{Kind, Spec};
use rigtide::optimise::{Balance, Bottleneck, Choice, Pairing, Problem};
use rigtide::rates::LogRate;
use std::collections::BTreeMap;

/// A part as the dice made it.
pub struct Made {
    pub kind: Kind,
    /// Minor units.
    pub price: i64,
    /// By workload, in thousandths; none where the kind does not limit it.
    pub rates_milli: [Option<i64>; WORKLOADS.len()],
    pub numbers: Vec<(Spec, i64)>,
    pub words: Vec<(Spec, Vec<&'static str>)>,
}

/// A use: its weight and the kinds that limit it.
pub struct Use {
    pub weight: i64,
    pub limited_by: &'static [Kind],
}

/// Two kinds of play and an export.
pub const WORKLOADS: [Use; 3] = [
    Use {
        weight: 2,
        limited_by: &[Kind::Cpu, Kind::Gpu],
    },
    Use {
        weight: 3,
        limited_by: &[Kind::Cpu, Kind::Gpu],
    },
    Use {
        weight: 1,
        limited_by: &[Kind::Cpu, Kind::Memory],
    },
];

/// Of a hundred parts, how many are of each kind.
const SHARES: [(Kind, usize); 8] = [
    (Kind::Cpu, 6),
    (Kind::Cooler, 16),
    (Kind::Board, 18),
    (Kind::Memory, 16),
    (Kind::Gpu, 12),
    (Kind::Storage, 10),
    (Kind::Psu, 12),
    (Kind::Case, 10),
];

/// Watts for all that is not counted, and the percentage that a supply is rated above the load.
const REST_W: i64 = 75;
const HEADROOM_PERCENT: i64 = 30;

/// Parts of the eight usual kinds, `n_parts` in all when that is a multiple of fifty.
pub fn parts(seed: u64, n_parts: usize) -> Vec<Made> {
    let mut dice = Dice(seed);
    let mut parts = Vec::with_capacity(n_parts);
    for (kind, share) in SHARES {
        parts.extend((0..n_parts * share / 100).map(|_| part(kind, &mut dice)));
    }
    parts
}

fn part(kind: Kind, dice: &mut Dice) -> Made {
    let mut made = Made {
        kind,
        price: 0,
        rates_milli: [None; WORKLOADS.len()],
        numbers: Vec::new(),
        words: Vec::new(),
    };
    match kind {
        Kind::Cpu => processor(&mut made, dice),
        Kind::Cooler => cooler(&mut made, dice),
        Kind::Board => board(&mut made, dice),
        Kind::Memory => memory(&mut made, dice),
        Kind::Gpu => card(&mut made, dice),
        Kind::Storage => made.price = priced(dice, 3_000, 14_000, 500),
        Kind::Psu => supply(&mut made, dice),
        _ => case(&mut made, dice),
    }
    made
}

fn processor(made: &mut Made, dice: &mut Dice) {
    let strength = dice.roll(1_001);
    let socket = one_of(dice, &["AM5", "AM5", "LGA1700", "LGA1851"]);
    made.price = priced(dice, 7_000, 52_000, strength);
    made.rates_milli = [
        rate(dice, 70_000 + 200 * strength),
        rate(dice, 60_000 + 150 * strength),
        rate(dice, 5_000 + 45 * strength),
    ];
    made.words.push((Spec::Socket, vec![socket]));
    let heat = 60 + strength / 8 + 10 * dice.roll(6);
    made.numbers.push((Spec::HeatW, heat));
}

fn cooler(made: &mut Made, dice: &mut Dice) {
    let capacity = 65 + 5 * dice.roll(45);
    let flatness = dice.roll(6);
    made.price = priced(dice, 1_200, 7_000, capacity * 4 + flatness * 30);
    made.numbers.push((Spec::CoolingW, capacity));
    let height = 60 + capacity / 2 - 8 * flatness + dice.roll(12);
    made.numbers.push((Spec::HeightMm, height));
    let mut sockets = vec![one_of(dice, &["AM5", "LGA1700"])];
    for socket in ["AM5", "LGA1700", "LGA1851"] {
        if dice.roll(4) > 0 && !sockets.contains(&socket) {
            sockets.push(socket);
        }
    }
    made.words.push((Spec::Sockets, sockets));
}

fn board(made: &mut Made, dice: &mut Dice) {
    let fine = dice.roll(1_001);
    let socket = one_of(dice, &["AM5", "AM5", "LGA1700", "LGA1851"]);
    // Only one of these sockets was built with two generations of memory.
    let generations: &[&str] = match socket {
        "LGA1700" => &["DDR5", "DDR4"],
        _ => &["DDR5"],
    };
    made.price = priced(dice, 7_500, 25_000, fine);
    made.words.push((Spec::Socket, vec![socket]));
    let generation = one_of(dice, generations);
    made.words.push((Spec::MemoryGeneration, vec![generation]));
    let form = one_of(dice, &["ATX", "ATX", "microATX", "microATX", "Mini-ITX"]);
    made.words.push((Spec::FormFactor, vec![form]));
    let most = 95 + fine / 8 + 10 * dice.roll(8);
    made.numbers.push((Spec::ProcessorWMax, most));
}

fn memory(made: &mut Made, dice: &mut Dice) {
    let generation = one_of(dice, &["DDR5", "DDR5", "DDR4"]);
    let step = dice.roll(12);
    let (base, by) = match generation {
        "DDR5" => (36_000, 2_400),
        _ => (24_000, 1_500),
    };
    made.price = priced(dice, 4_000, 14_000, step * 80);
    made.rates_milli[2] = rate(dice, base + by * step);
    made.words.push((Spec::MemoryGeneration, vec![generation]));
}

/// Cards of one chip do nearly the same and differ in size and price.
fn card(made: &mut Made, dice: &mut Dice) {
    let strength = 33 * dice.roll(31);
    made.price = priced(dice, 12_000, 170_000, strength);
    made.rates_milli[0] = rate(dice, 40_000 + 260 * strength);
    made.rates_milli[1] = rate(dice, 22_000 + 170 * strength);
    let length = 170 + strength / 9 + 5 * dice.roll(14);
    made.numbers.push((Spec::LengthMm, length));
    let power = 75 + strength * 3 / 10 + 5 * dice.roll(5);
    made.numbers.push((Spec::BoardPowerW, power));
    made.numbers.push((Spec::PciePlugs8Pin, power / 130));
}

fn supply(made: &mut Made, dice: &mut Dice) {
    let rated = 400 + 50 * dice.roll(17);
    // No bracket takes a TFX supply into another opening, so that equal words are all there is to it.
    let form = one_of(dice, &["ATX", "ATX", "ATX", "TFX"]);
    made.price = priced(dice, 3_500, 18_000, (rated - 400) * 5 / 4);
    made.numbers.push((Spec::RatedW, rated));
    let plugs = (rated / 250 - 1 + dice.roll(3)).max(0);
    made.numbers.push((Spec::PciePlugs8Pin, plugs));
    made.words.push((Spec::FormFactor, vec![form]));
}

fn case(made: &mut Made, dice: &mut Dice) {
    let (boards, supplies, size): (&[&str], &[&str], i64) = match dice.roll(5) {
        0 => (&["Mini-ITX"], &["TFX"], 0),
        1 => (&["Mini-ITX", "microATX"], &["ATX", "TFX"], 1),
        _ => (&["Mini-ITX", "microATX", "ATX"], &["ATX"], 2),
    };
    let looks = dice.roll(1_001);
    made.price = priced(dice, 3_500, 14_000, looks);
    made.words.push((Spec::FormFactors, boards.to_vec()));
    made.words.push((Spec::PsuFormFactors, supplies.to_vec()));
    let length = 230 + 45 * size + 5 * dice.roll(25);
    made.numbers.push((Spec::GpuLengthMmMax, length));
    let height = 70 + 40 * size + 3 * dice.roll(12);
    made.numbers.push((Spec::CoolerHeightMmMax, height));
}

fn one_of(dice: &mut Dice, of: &[&'static str]) -> &'static str {
    of[dice.roll(of.len() as i64) as usize]
}

/// A price that rises faster than `strength` (of a thousand), give or take a fifth.
fn priced(dice: &mut Dice, base: i64, rise: i64, strength: i64) -> i64 {
    let fair = base + rise * strength / 1_000 * (500 + strength / 2) / 1_000;
    fair * (800 + dice.roll(401)) / 1_000
}

/// A rate within two percent of this one.
fn rate(dice: &mut Dice, milli: i64) -> Option<i64> {
    Some(milli * (980 + dice.roll(41)) / 1_000)
}

impl Made {
    fn number(&self, spec: Spec) -> i64 {
        let known = self.numbers.iter().find(|(known, _)| *known == spec);
        known.map_or(0, |(_, value)| *value)
    }

    fn words(&self, spec: Spec) -> &[&'static str] {
        let known = self.words.iter().find(|(known, _)| *known == spec);
        known.map_or(&[], |(_, words)| words)
    }
}

/// The model of these parts, written out by hand: it shares no code with the encoding of markets.
pub fn problem(parts: &[Made], budget: i64) -> Problem {
    let of = |kind: Kind| -> Vec<&Made> { parts.iter().filter(|one| one.kind == kind).collect() };
    let groups: Vec<Vec<&Made>> = SHARES.iter().map(|(kind, _)| of(*kind)).collect();
    Problem {
        groups: groups.iter().map(|group| choices(group)).collect(),
        bottlenecks: bottlenecks(&groups),
        balances: vec![power(&groups), plugs(&groups)],
        pairings: pairings(&groups),
        joints: Vec::new(),
        orders: rigtide::optimise::OrderSides::default(),
        budget,
    }
}

fn choices(group: &[&Made]) -> Vec<Choice> {
    let choice = |one: &&Made| Choice {
        cost: one.price,
        is_standing: false,
    };
    group.iter().map(choice).collect()
}

/// The group of a kind.
fn place(kind: Kind) -> usize {
    SHARES
        .iter()
        .position(|(known, _)| *known == kind)
        .unwrap_or(0)
}

fn bottlenecks(groups: &[Vec<&Made>]) -> Vec<Bottleneck> {
    let log = |milli: i64| LogRate::from_milli(milli).map_or(0, LogRate::micro);
    let of_use = |(number, one): (usize, &Use)| Bottleneck {
        weight: one.weight,
        limits: SHARES
            .iter()
            .enumerate()
            .filter(|(_, (kind, _))| one.limited_by.contains(kind))
            .map(|(group, _)| {
                let rates = groups[group].iter().map(|made| made.rates_milli[number]);
                (group, rates.map(|milli| milli.map_or(0, log)).collect())
            })
            .collect(),
    };
    WORKLOADS.iter().enumerate().map(of_use).collect()
}

/// A share for each choice of some kinds.
fn shares(groups: &[Vec<&Made>], of: &[(Kind, Spec, i64)]) -> Vec<(usize, Vec<i64>)> {
    let share = |(kind, spec, factor): &(Kind, Spec, i64)| {
        let group = place(*kind);
        let numbers = groups[group].iter().map(|one| one.number(*spec) * factor);
        (group, numbers.collect())
    };
    of.iter().map(share).collect()
}

/// What draws power, and the headroom above it, is at most what the supply is rated for.
fn power(groups: &[Vec<&Made>]) -> Balance {
    let factor = 100 + HEADROOM_PERCENT;
    Balance {
        name: "power".to_owned(),
        shares: shares(
            groups,
            &[
                (Kind::Cpu, Spec::HeatW, factor),
                (Kind::Gpu, Spec::BoardPowerW, factor),
                (Kind::Psu, Spec::RatedW, -100),
            ],
        ),
        at_most: -REST_W * factor,
    }
}

fn plugs(groups: &[Vec<&Made>]) -> Balance {
    Balance {
        name: "plugs".to_owned(),
        shares: shares(
            groups,
            &[
                (Kind::Gpu, Spec::PciePlugs8Pin, 1),
                (Kind::Psu, Spec::PciePlugs8Pin, -1),
            ],
        ),
        at_most: 0,
    }
}

/// A rule over two kinds: the specs that it reads of either, and what stands.
type Rule<'r> = ([&'r [Spec]; 2], &'r dyn Fn(&Made, &Made) -> bool);

fn pairings(groups: &[Vec<&Made>]) -> Vec<Pairing> {
    let within = |spec: Spec, most: Spec| {
        move |one: &Made, other: &Made| one.number(spec) <= other.number(most)
    };
    let among = |spec: Spec, of: Spec| {
        move |one: &Made, other: &Made| {
            let mut words = one.words(spec).iter();
            words.any(|word| other.words(of).contains(word))
        }
    };
    let limited = |kinds: [Kind; 2], spec: Spec, most: Spec| {
        pair(groups, kinds, ([&[spec], &[most]], &within(spec, most)))
    };
    let listed = |kinds: [Kind; 2], spec: Spec, of: Spec| {
        pair(groups, kinds, ([&[spec], &[of]], &among(spec, of)))
    };
    let cooler = limited([Kind::Cpu, Kind::Cooler], Spec::HeatW, Spec::CoolingW);
    let mount = listed([Kind::Cpu, Kind::Cooler], Spec::Socket, Spec::Sockets);
    let board = limited([Kind::Cpu, Kind::Board], Spec::HeatW, Spec::ProcessorWMax);
    let socket = listed([Kind::Cpu, Kind::Board], Spec::Socket, Spec::Socket);
    let generation = Spec::MemoryGeneration;
    vec![
        cooler.and(&mount),
        board.and(&socket),
        listed([Kind::Board, Kind::Memory], generation, generation),
        listed(
            [Kind::Board, Kind::Case],
            Spec::FormFactor,
            Spec::FormFactors,
        ),
        limited(
            [Kind::Gpu, Kind::Case],
            Spec::LengthMm,
            Spec::GpuLengthMmMax,
        ),
        limited(
            [Kind::Cooler, Kind::Case],
            Spec::HeightMm,
            Spec::CoolerHeightMmMax,
        ),
        listed(
            [Kind::Psu, Kind::Case],
            Spec::FormFactor,
            Spec::PsuFormFactors,
        ),
    ]
}

fn pair(groups: &[Vec<&Made>], [left, right]: [Kind; 2], (reads, fits): Rule<'_>) -> Pairing {
    let (left, right) = (place(left), place(right));
    let (ones, left_samples) = classes(&groups[left], reads[0]);
    let (others, right_samples) = classes(&groups[right], reads[1]);
    let row = |one: &&Made| -> Vec<bool> {
        let others = right_samples.iter();
        others.map(|other| fits(one, other)).collect()
    };
    let pairing = Pairing {
        left,
        right,
        classes: [ones, others],
        fits: left_samples.iter().map(row).collect(),
    };
    pairing.tightened()
}

/// Parts that agree in all of these specs are one class: each part's class, and a part of each.
fn classes<'m>(group: &[&'m Made], reads: &[Spec]) -> (Vec<usize>, Vec<&'m Made>) {
    let mut samples: Vec<&'m Made> = Vec::new();
    let mut known = BTreeMap::new();
    let mut classes = Vec::with_capacity(group.len());
    for one in group {
        let read = |spec: &Spec| (one.number(*spec), one.words(*spec).to_vec());
        let traits: Vec<_> = reads.iter().map(read).collect();
        let class = *known.entry(traits).or_insert(samples.len());
        if class == samples.len() {
            samples.push(one);
        }
        classes.push(class);
    }
    (classes, samples)
}
