//! All memory modules together find a slot.

use crate::catalogue::{Kind, Part, Spec};
use crate::fit::rule::{Finding, FitRule, FitTerms, Form, Seat, Share, check_sum_at_most};

pub struct MemorySlots;

impl FitRule for MemorySlots {
    fn id(&self) -> &str {
        "memory-slots"
    }

    fn states(&self) -> &str {
        "The modules of all memory kits together are no more than the board's slots."
    }

    fn source(&self) -> &str {
        "common practice, no source"
    }

    fn reads(&self) -> &[(Kind, Spec)] {
        &[
            (Kind::Memory, Spec::Modules),
            (Kind::Board, Spec::MemorySlots),
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
        let needed = (Kind::Memory, Spec::Modules);
        let allowed = (Kind::Board, Spec::MemorySlots);
        check_sum_at_most(
            self.id(),
            seats,
            needed,
            allowed,
            |modules, slots, board| {
                format!(
                    "{modules} memory modules do not fit the {slots} slots of \"{}\"",
                    board.name
                )
            },
        )
    }
}

fn share(part: &Part, _terms: &FitTerms) -> Share {
    match part.kind {
        Kind::Memory => Share::need(part.number(Spec::Modules)),
        _ => Share::gift(part.number(Spec::MemorySlots)),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::catalogue::SpecValue;
    use crate::fit::Gravity;
    use crate::fit::sample::{gravity, part};

    #[test]
    fn modules_of_several_kits_count_together() {
        let kit = part(Kind::Memory, &[(Spec::Modules, SpecValue::Number(2))]);
        let board = |slots| {
            part(
                Kind::Board,
                &[(Spec::MemorySlots, SpecValue::Number(slots))],
            )
        };
        assert_eq!(gravity(&MemorySlots, &[&kit, &board(2)]), None);
        assert_eq!(gravity(&MemorySlots, &[&kit, &kit, &board(4)]), None);
        assert_eq!(
            gravity(&MemorySlots, &[&kit, &kit, &board(2)]),
            Some(Gravity::Conflict)
        );
    }
}
