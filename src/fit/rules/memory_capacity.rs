//! All memory together is no more than the board addresses.

use crate::catalogue::{Kind, Part, Spec};
use crate::fit::rule::{Finding, FitRule, FitTerms, Form, Seat, Share, check_sum_at_most};

pub struct MemoryCapacity;

impl FitRule for MemoryCapacity {
    fn id(&self) -> &str {
        "memory-capacity"
    }

    fn states(&self) -> &str {
        "The capacity of all memory kits together is no more than the board takes."
    }

    fn source(&self) -> &str {
        "common practice, no source"
    }

    fn reads(&self) -> &[(Kind, Spec)] {
        &[
            (Kind::Memory, Spec::CapacityGb),
            (Kind::Board, Spec::MemoryGbMax),
        ]
    }

    fn form(&self) -> Form<'_> {
        Form::Balance {
            kinds: &[Kind::Memory, Kind::Board],
            giver: Some(Kind::Board),
            share: Box::new(share),
            at_most: Box::new(|_| 0),
        }
    }

    fn check(&self, seats: &[Seat<'_>], _terms: &FitTerms) -> Vec<Finding> {
        let needed = (Kind::Memory, Spec::CapacityGb);
        let allowed = (Kind::Board, Spec::MemoryGbMax);
        check_sum_at_most(
            self.id(),
            seats,
            needed,
            allowed,
            |needed, allowed, board| {
                format!(
                    "{needed} GB of memory are more than the {allowed} GB that \"{}\" takes",
                    board.name
                )
            },
        )
    }
}

fn share(part: &Part, _terms: &FitTerms) -> Share {
    match part.kind {
        Kind::Memory => Share::need(part.number(Spec::CapacityGb)),
        _ => Share::gift(part.number(Spec::MemoryGbMax)),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::catalogue::SpecValue;
    use crate::fit::Gravity;
    use crate::fit::sample::{findings, gravity, part};

    #[test]
    fn four_modules_of_48_gb_are_too_much_for_a_board_of_128_gb() {
        // Pitfall C30, the total: 4 x 48 GB on a board limited to 128 GB.
        let kit = |capacity| {
            part(
                Kind::Memory,
                &[(Spec::CapacityGb, SpecValue::Number(capacity))],
            )
        };
        let board = part(Kind::Board, &[(Spec::MemoryGbMax, SpecValue::Number(128))]);
        assert_eq!(
            gravity(&MemoryCapacity, &[&kit(64), &kit(64), &board]),
            None
        );
        let found = findings(&MemoryCapacity, &[&kit(96), &kit(96), &board]);
        assert_eq!(found.len(), 1);
        assert_eq!(
            found[0].reason,
            "192 GB of memory are more than the 128 GB that \"sample board\" takes"
        );
        assert_eq!(found[0].gravity, Gravity::Conflict);
        let silent = part(Kind::Board, &[]);
        let found = gravity(&MemoryCapacity, &[&kit(32), &silent]);
        assert_eq!(found, Some(Gravity::Unproven));
    }
}
