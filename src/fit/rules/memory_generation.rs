//! Memory, board and processor speak one memory generation.

use crate::catalogue::{Kind, Part, Spec, same_name};
use crate::fit::rule::{
    Finding, Fit, FitRule, FitTerms, Form, Seat, conflict, seat_pairs, unproven,
};

pub struct MemoryGeneration;

impl FitRule for MemoryGeneration {
    fn id(&self) -> &str {
        "memory-generation"
    }

    fn states(&self) -> &str {
        "The memory is of the generation that the board's slots take."
    }

    fn source(&self) -> &str {
        "generations are keyed differently and never interchange (aloinfousa; hardwaretimes.com)"
    }

    fn reads(&self) -> &[(Kind, Spec)] {
        &[
            (Kind::Memory, Spec::MemoryGeneration),
            (Kind::Board, Spec::MemoryGeneration),
        ]
    }

    fn form(&self) -> Form<'_> {
        Form::Pairs {
            left: Kind::Memory,
            right: Kind::Board,
            fits: Box::new(fits),
        }
    }

    fn check(&self, seats: &[Seat<'_>], _terms: &FitTerms) -> Vec<Finding> {
        let mut findings = Vec::new();
        for (memory, board) in seat_pairs(seats, Kind::Memory, Kind::Board) {
            let generations =
                [memory, board].map(|seat| (seat.part, seat.part.text(Spec::MemoryGeneration)));
            match generations {
                [(kit, Some(has)), (board, Some(takes))] if !same_name(has, takes) => {
                    let reason = format!(
                        "\"{}\" is {has}, the board \"{}\" takes {takes}",
                        kit.name, board.name
                    );
                    findings.push(conflict(self.id(), reason));
                }
                [(_, Some(_)), (_, Some(_))] => {}
                [(kit, None), _] => {
                    findings.push(unproven(self.id(), kit, Spec::MemoryGeneration));
                }
                [_, (board, None)] => {
                    findings.push(unproven(self.id(), board, Spec::MemoryGeneration));
                }
            }
        }
        findings
    }
}

fn fits(memory: &Part, board: &Part) -> Fit {
    match (
        memory.text(Spec::MemoryGeneration),
        board.text(Spec::MemoryGeneration),
    ) {
        (Some(has), Some(takes)) if same_name(has, takes) => Fit::Yes,
        (Some(_), Some(_)) => Fit::No,
        _ => Fit::Unproven,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::fit::Gravity;
    use crate::fit::sample::{gravity, part, text};

    #[test]
    fn two_boards_of_one_chipset_are_told_apart_by_their_slots() {
        // Pitfall C27: the memory type comes from the board, never from the chipset.
        let ddr5 = part(Kind::Memory, &[(Spec::MemoryGeneration, text("DDR5"))]);
        let board =
            |generation: &str| part(Kind::Board, &[(Spec::MemoryGeneration, text(generation))]);
        assert_eq!(gravity(&MemoryGeneration, &[&ddr5, &board("DDR5")]), None);
        assert_eq!(
            gravity(&MemoryGeneration, &[&ddr5, &board("DDR4")]),
            Some(Gravity::Conflict)
        );
        let silent = part(Kind::Memory, &[]);
        assert_eq!(
            gravity(&MemoryGeneration, &[&silent, &board("DDR4")]),
            Some(Gravity::Unproven)
        );
    }
}
