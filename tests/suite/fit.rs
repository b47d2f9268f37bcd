//! The two words of every fit rule, its form for the model and its check, on random sets of parts.

use crate::support::facts;
use crate::support::specs::{Dice, by_chance, part, roomy};
use rigtide::catalogue::table::Document;
use rigtide::catalogue::{Kind, Part};
use rigtide::fit::{
    Fit, FitRule, FitTerms, Form, Gravity, OwnRule, RuleBook, Seat, Share, is_blocking,
};
use rigtide::fit::{Mains, wall_hundredths};
use std::collections::BTreeMap;

/// Every rule of ours, and one of an author's own of each shape.
fn book() -> RuleBook {
    let text = r#"
        [[rule]]
        id = "own-sum"
        states = "Cards and supply share the room for cards."
        sum = [{ kind = "gpu", spec = "length_mm" }, { kind = "psu", spec = "length_mm" }]
        at_most = { kind = "case", spec = "gpu_length_mm_max", plus = 150 }
        [[rule]]
        id = "own-fixed"
        states = "The drives hold no more than the library needs."
        sum = [{ kind = "storage", spec = "capacity_gb" }]
        at_most = 64
        [[rule]]
        id = "own-equal"
        states = "Cooler and case have one colour."
        equal = [{ kind = "cooler", spec = "colour" }, { kind = "case", spec = "colour" }]
        [[rule]]
        id = "own-pairs"
        states = "DDR4 goes on the small boards alone."
        pairs = [{ kind = "memory", spec = "memory_generation" }, { kind = "board", spec = "form_factor" }]
        allowed = [["DDR4", "microATX"], ["DDR5", "ATX"], ["DDR5", "microATX"]]
    "#;
    let document = Document::parse("rigtide.toml", text);
    let tables = document.root().tables("rule");
    let own = tables.into_iter().filter_map(OwnRule::read).collect();
    assert_eq!(document.into_faults(), []);
    RuleBook { own }
}

/// A set of parts with at most one board, cooler, processor, supply and case.
fn parts(dice: &mut Dice) -> Vec<(Part, u32)> {
    let mut parts = Vec::new();
    for (_, kind) in Kind::NAMES {
        let several = matches!(kind, Kind::Memory | Kind::Gpu | Kind::Storage | Kind::Fan);
        let count = if several {
            dice.roll(3)
        } else {
            dice.roll(5).min(1)
        };
        for number in 0..count {
            let quantity = if several { 1 + dice.roll(2) } else { 1 };
            // Gaps are rare or common, so that strict and lenient terms both have something to say.
            let gap = [4, 60][dice.roll(2) as usize];
            let specs = by_chance(*kind, dice, gap);
            parts.push((
                part(*kind, &format!("{kind}-{number}"), specs),
                quantity as u32,
            ));
        }
    }
    parts
}

fn seats(parts: &[(Part, u32)]) -> Vec<Seat<'_>> {
    let seat = |(part, quantity): &'_ (Part, u32)| (part.kind.name(), *quantity);
    parts
        .iter()
        .map(|one| {
            let (role, quantity) = seat(one);
            Seat {
                role,
                part: &one.0,
                quantity,
            }
        })
        .collect()
}

/// Whether the model lets these parts stand, read off the rule's form alone.
fn stands(rule: &dyn FitRule, seats: &[Seat<'_>], terms: &FitTerms) -> bool {
    let is_let = |fit: Fit| match fit {
        Fit::Yes => true,
        Fit::Unproven => !terms.strict,
        Fit::No => false,
    };
    match rule.form() {
        Form::Advice { .. } => true,
        Form::Pairs { left, right, fits } => {
            let of = |kind: Kind| seats.iter().filter(move |seat| seat.part.kind == kind);
            of(left).all(|one| of(right).all(|other| is_let(fits(one.part, other.part))))
        }
        Form::Balance {
            giver: Some(giver), ..
        } if seats.iter().all(|seat| seat.part.kind != giver) => true,
        Form::Balance {
            kinds,
            share,
            at_most,
            ..
        } => {
            let concerned = seats.iter().filter(|seat| kinds.contains(&seat.part.kind));
            let (mut sum, mut is_open) = (0, false);
            for seat in concerned {
                match share(seat.part, terms) {
                    Share::Known(known) => sum += known * i64::from(seat.quantity),
                    _ if terms.strict => return false,
                    Share::UnknownNeed => {}
                    Share::UnknownGift => is_open = true,
                }
            }
            is_open || sum <= at_most(terms)
        }
        Form::Joint { kinds, fits } => {
            let concerned = seats.iter().filter(|seat| kinds.contains(&seat.part.kind));
            is_let(fits(&concerned.copied().collect::<Vec<_>>(), terms))
        }
    }
}

#[test]
fn the_model_and_the_check_of_every_rule_say_the_same() {
    let book = book();
    let mut words: BTreeMap<&str, [usize; 2]> = BTreeMap::new();
    for seed in 0..6_000 {
        let mut dice = Dice(seed);
        let parts = parts(&mut dice);
        let seats = seats(&parts);
        for strict in [false, true] {
            let terms = FitTerms {
                strict,
                ..FitTerms::default()
            };
            for rule in book.iter() {
                let findings = rule.check(&seats, &terms);
                let is_seated = |kind: &Kind| seats.iter().any(|seat| seat.part.kind == *kind);
                assert!(
                    findings.iter().all(|one| one.gravity == Gravity::Unproven)
                        || rule.subjects().iter().all(is_seated),
                    "seed {seed}: {} speaks without its subjects: {findings:#?}",
                    rule.id()
                );
                let is_refused = findings.iter().any(|finding| is_blocking(finding, &terms));
                assert_eq!(
                    stands(rule, &seats, &terms),
                    !is_refused,
                    "seed {seed}, strict {strict}, {}: {findings:#?}\n{seats:#?}",
                    rule.id()
                );
                words.entry(rule.id()).or_default()[usize::from(is_refused)] += 1;
            }
        }
    }
    for rule in book.iter() {
        let [stood, refused] = words[rule.id()];
        let is_advice = matches!(rule.form(), Form::Advice { .. });
        assert!(
            stood >= 20 && (refused >= 20 || is_advice),
            "{}: {stood} stood, {refused} were refused",
            rule.id()
        );
    }
}

#[test]
fn a_rule_looks_at_nothing_but_the_specs_that_it_names() {
    let book = book();
    for seed in 0..1_000 {
        let mut dice = Dice(seed);
        let parts = parts(&mut dice);
        for rule in book.iter() {
            let reads = rule.reads();
            let bare: Vec<(Part, u32)> = parts
                .iter()
                .map(|(part, quantity)| {
                    let mut bare = part.clone();
                    bare.specs
                        .retain(|spec, _| reads.contains(&(part.kind, *spec)));
                    (bare, *quantity)
                })
                .collect();
            let terms = FitTerms::default();
            assert_eq!(
                rule.check(&seats(&parts), &terms),
                rule.check(&seats(&bare), &terms),
                "seed {seed}, {}",
                rule.id()
            );
            assert_eq!(
                stands(rule, &seats(&parts), &terms),
                stands(rule, &seats(&bare), &terms),
                "seed {seed}, {}",
                rule.id()
            );
        }
    }
}

#[test]
fn parts_with_room_for_everything_go_together_under_strict_terms() {
    let parts: Vec<(Part, u32)> = Kind::NAMES
        .iter()
        .map(|(name, kind)| (part(*kind, name, roomy(*kind)), 1))
        .collect();
    let terms = FitTerms {
        strict: true,
        ..FitTerms::default()
    };
    for rule in RuleBook::default().iter() {
        let blocking: Vec<_> = rule
            .check(&seats(&parts), &terms)
            .into_iter()
            .filter(|finding| is_blocking(finding, &terms))
            .collect();
        assert_eq!(blocking, [], "{}", rule.id());
    }
}

#[test]
fn the_wall_gives_what_the_table_of_80_plus_promises() {
    // Encyclopaedia article "80 Plus", as collected in psu_80plus.csv: internal supplies at 115 V
    // and at 230 V EU.
    let Some(table) = facts::read("psu_80plus.csv") else {
        return;
    };
    let mut reader = csv::Reader::from_reader(table.as_bytes());
    let mut checks = 0;
    for row in reader.records() {
        let row = row.unwrap();
        let mains = match &row[0] {
            "115" => Mains::V115,
            "230EU" => Mains::V230,
            _ => continue,
        };
        for (column, load_w) in [(3, 200), (4, 500), (5, 1_000)] {
            let percent: i64 = row[column].parse().unwrap();
            let expected = (load_w * 10_000 + percent / 2) / percent;
            let found = wall_hundredths(load_w, 1_000, &row[1], mains);
            assert_eq!(found, Some(expected), "{row:?} at {load_w} W");
            checks += 1;
        }
    }
    assert_eq!(checks, 36);
}
