//! The best build of the media room by looking at every one that can matter.
//!
//! Written from the brief alone and shares nothing with the optimiser: for each pair of processor
//! and graphics card and each rate of memory and drive that is worth reaching, the cheapest set
//! of the other parts that fits. Rates are compared as products in whole numbers.

use crate::demo::world::{Kind, Part, Shop, Spec, Stock, Supply, World};
use std::cmp::Reverse;

const BUDGET_CENTS: u32 = 150_000;
const FLOOR_FRAMES: u32 = 600;
const CAP_FRAMES: u32 = 1_440;

/// A part with its cheapest landed price.
#[derive(Debug, Clone, Copy)]
pub struct Candidate<'w> {
    pub part: &'w Part,
    pub cents: u32,
    pub shop: Shop,
}

#[derive(Debug, Clone)]
pub struct Answer<'w> {
    /// The product of both rates in tenths: with equal weights it orders builds as the score does.
    pub product: u64,
    pub cents: u32,
    pub picks: Vec<Candidate<'w>>,
}

/// What can be bought today, cheapest first within a kind.
pub fn candidates<'w>(world: &'w World, stocks: &[Stock]) -> Vec<Candidate<'w>> {
    let mut best: Vec<Option<Candidate<'w>>> = vec![None; world.parts.len()];
    for stock in stocks {
        for offer in &stock.offers {
            let (Some(place), Some(cents)) = (offer.part, offer.cents) else {
                continue;
            };
            let cents = cents + stock.shop.delivery_cents();
            let is_dearer = best[place].is_some_and(|known| known.cents <= cents);
            if offer.used || offer.supply == Supply::SoldOut || is_dearer {
                continue;
            }
            let part = &world.parts[place];
            best[place] = Some(Candidate {
                part,
                cents,
                shop: stock.shop,
            });
        }
    }
    let mut candidates: Vec<Candidate<'w>> = best.into_iter().flatten().collect();
    candidates.sort_by_key(|candidate| candidate.cents);
    candidates
}

pub fn best<'w>(candidates: &[Candidate<'w>]) -> Option<Answer<'w>> {
    let of = |kind| move |candidate: &&Candidate<'w>| candidate.part.kind == kind;
    let all = |kind| {
        candidates
            .iter()
            .filter(of(kind))
            .copied()
            .collect::<Vec<_>>()
    };
    let drives = candidates.iter().filter(of(Kind::Storage));
    let drives: Vec<_> = drives
        .filter(|drive| number(drive.part, "capacity_gb") >= 1000)
        .collect();
    let coolers = quiet(all(Kind::Cooler), 26);
    let supplies = quiet(all(Kind::Psu), 25);
    let (boards, memory, cases) = (all(Kind::Board), all(Kind::Memory), all(Kind::Case));
    let mut answer: Option<Answer<'w>> = None;
    for cpu in all(Kind::Cpu) {
        // Cheapest (board, memory) for each form factor and each rate of memory.
        let platforms = platforms(&cpu, &boards, &memory);
        for gpu in all(Kind::Gpu) {
            let frames = rate(cpu.part, 1).min(rate(gpu.part, 0)).min(CAP_FRAMES);
            if frames < FLOOR_FRAMES {
                continue;
            }
            let housings = housings(&cpu, &gpu, &coolers, &supplies, &cases);
            for drive in &drives {
                for platform in &platforms {
                    for housing in &housings {
                        let picks = [
                            &[cpu, gpu, **drive][..],
                            &platform.picks[..],
                            &housing.picks[..],
                        ];
                        if !housing.forms.contains(&platform.form) {
                            continue;
                        }
                        let cents = cpu.cents + gpu.cents + drive.cents;
                        let cents = cents + platform.cents + housing.cents;
                        if cents > BUDGET_CENTS {
                            continue;
                        }
                        let jobs = rate(cpu.part, 0)
                            .min(platform.jobs)
                            .min(rate(drive.part, 0));
                        let product = u64::from(jobs) * u64::from(frames);
                        let is_better = answer.as_ref().is_none_or(|best| {
                            (product, Reverse(cents)) > (best.product, Reverse(best.cents))
                        });
                        if is_better {
                            let mut picks = picks.concat();
                            picks.sort_by_key(|pick| pick.part.kind);
                            answer = Some(Answer {
                                product,
                                cents,
                                picks,
                            });
                        }
                    }
                }
            }
        }
    }
    answer
}

struct Platform<'w> {
    form: &'static str,
    jobs: u32,
    cents: u32,
    picks: [Candidate<'w>; 2],
}

/// The pairs of board and memory that no other of the same form factor beats.
fn platforms<'w>(
    cpu: &Candidate<'w>,
    boards: &[Candidate<'w>],
    memory: &[Candidate<'w>],
) -> Vec<Platform<'w>> {
    let mut pairs = Vec::new();
    for board in boards
        .iter()
        .filter(|b| text(b.part, "socket") == text(cpu.part, "socket"))
    {
        let generation = text(board.part, "memory_generation");
        if !texts(cpu.part, "memory_generations").contains(&generation) {
            continue;
        }
        for kit in memory {
            let fits = text(kit.part, "memory_generation") == generation
                && number(kit.part, "modules") <= number(board.part, "memory_slots");
            if fits {
                pairs.push(Platform {
                    form: text(board.part, "form_factor"),
                    jobs: rate(kit.part, 0),
                    cents: board.cents + kit.cents,
                    picks: [*board, *kit],
                });
            }
        }
    }
    pairs.sort_by_key(|pair| (pair.cents, Reverse(pair.jobs)));
    let mut kept: Vec<Platform<'w>> = Vec::new();
    for pair in pairs {
        if !kept
            .iter()
            .any(|other| other.form == pair.form && other.jobs >= pair.jobs)
        {
            kept.push(pair);
        }
    }
    kept
}

struct Housing<'w> {
    forms: Vec<&'static str>,
    cents: u32,
    picks: [Candidate<'w>; 3],
}

/// For each set of board sizes, the cheapest case with a cooler and a supply that fit.
fn housings<'w>(
    cpu: &Candidate<'w>,
    gpu: &Candidate<'w>,
    coolers: &[Candidate<'w>],
    supplies: &[Candidate<'w>],
    cases: &[Candidate<'w>],
) -> Vec<Housing<'w>> {
    let load = number(cpu.part, "heat_w") + number(gpu.part, "board_power_w") + 75;
    let mut housings: Vec<Housing<'w>> = Vec::new();
    for case in cases {
        if number(gpu.part, "length_mm") > number(case.part, "gpu_length_mm_max") {
            continue;
        }
        // Both lists are cheapest first, so the first that fits is the one.
        let cooler = coolers.iter().find(|cooler| {
            texts(cooler.part, "sockets").contains(&text(cpu.part, "socket"))
                && number(cooler.part, "cooling_w") >= number(cpu.part, "heat_w")
                && number(cooler.part, "height_mm") <= number(case.part, "cooler_height_mm_max")
        });
        let supply = supplies.iter().find(|supply| {
            // A small supply goes behind a bracket into the larger opening.
            let openings = texts(case.part, "psu_form_factors");
            let form = text(supply.part, "form_factor");
            (openings.contains(&form) || (form == "SFX" && openings.contains(&"ATX")))
                && number(supply.part, "rated_w") * 100 >= load * 130
        });
        let (Some(cooler), Some(supply)) = (cooler, supply) else {
            continue;
        };
        let forms = texts(case.part, "form_factors");
        let cents = case.cents + cooler.cents + supply.cents;
        let is_beaten = |other: &Housing<'w>| other.forms == forms && other.cents <= cents;
        if !housings.iter().any(is_beaten) {
            housings.retain(|other| other.forms != forms);
            housings.push(Housing {
                forms,
                cents,
                picks: [*case, *cooler, *supply],
            });
        }
    }
    housings
}

fn quiet(candidates: Vec<Candidate<'_>>, noise_dba_max: u32) -> Vec<Candidate<'_>> {
    let is_quiet = |c: &Candidate<'_>| number(c.part, "noise_dba") <= noise_dba_max;
    candidates.into_iter().filter(is_quiet).collect()
}

fn rate(part: &Part, place: usize) -> u32 {
    part.rates[place].tenths
}

fn spec<'p>(part: &'p Part, name: &str) -> &'p Spec {
    &part
        .specs
        .iter()
        .find(|(known, _)| *known == name)
        .unwrap()
        .1
}

fn number(part: &Part, name: &str) -> u32 {
    match spec(part, name) {
        Spec::Number(number) => *number,
        other => panic!("{} {name} is {other:?}", part.id),
    }
}

fn text(part: &Part, name: &str) -> &'static str {
    match spec(part, name) {
        Spec::Text(text) => text,
        other => panic!("{} {name} is {other:?}", part.id),
    }
}

fn texts(part: &Part, name: &str) -> Vec<&'static str> {
    match spec(part, name) {
        Spec::Texts(texts) => texts.clone(),
        other => panic!("{} {name} is {other:?}", part.id),
    }
}
