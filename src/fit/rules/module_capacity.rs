//! No single memory module is larger than a slot of the board addresses.

use crate::catalogue::{Kind, Part, Spec};
use crate::fit::rule::{
    Finding, Fit, FitRule, FitTerms, Form, Seat, conflict, seat_pairs, unproven,
};

pub struct ModuleCapacity;

impl FitRule for ModuleCapacity {
    fn id(&self) -> &str {
        "module-capacity"
    }

    fn states(&self) -> &str {
        "Each memory module is no larger than a slot of the board takes."
    }

    fn source(&self) -> &str {
        "common practice, no source"
    }

    fn reads(&self) -> &[(Kind, Spec)] {
        &[
            (Kind::Memory, Spec::CapacityGb),
            (Kind::Memory, Spec::Modules),
            (Kind::Board, Spec::ModuleGbMax),
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
        for (kit, board) in seat_pairs(seats, Kind::Memory, Kind::Board) {
            let (kit, board) = (kit.part, board.part);
            let missing = [
                (kit, Spec::CapacityGb),
                (kit, Spec::Modules),
                (board, Spec::ModuleGbMax),
            ]
            .into_iter()
            .find(|(part, spec)| part.number(*spec).is_none());
            if let Some((part, spec)) = missing {
                findings.push(unproven(self.id(), part, spec));
                continue;
            }
            let figure = |part: &Part, spec| part.number(spec).unwrap_or(0);
            // A kit's modules are equal; a remainder would be a slip in the catalogue.
            let each = figure(kit, Spec::CapacityGb) / figure(kit, Spec::Modules).max(1);
            let most = figure(board, Spec::ModuleGbMax);
            if each > most {
                let reason = format!(
                    "the slots of \"{}\" take {most} GB each, a module of \"{}\" has {each} GB",
                    board.name, kit.name
                );
                findings.push(conflict(self.id(), reason));
            }
        }
        findings
    }
}

fn fits(kit: &Part, board: &Part) -> Fit {
    let figures = (
        kit.number(Spec::CapacityGb),
        kit.number(Spec::Modules),
        board.number(Spec::ModuleGbMax),
    );
    match figures {
        (Some(capacity), Some(modules), Some(most)) if capacity < (most + 1) * modules => Fit::Yes,
        (Some(_), Some(_), Some(_)) => Fit::No,
        _ => Fit::Unproven,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::catalogue::SpecValue;
    use crate::fit::Gravity;
    use crate::fit::sample::{findings, gravity, part};

    #[test]
    fn a_module_of_48_gb_does_not_work_where_a_slot_takes_32() {
        // Pitfall C30, the slot: 4 x 48 GB on a board for 4 x 32 GB.
        let kit = |capacity, modules| {
            part(
                Kind::Memory,
                &[
                    (Spec::CapacityGb, SpecValue::Number(capacity)),
                    (Spec::Modules, SpecValue::Number(modules)),
                ],
            )
        };
        let board = part(Kind::Board, &[(Spec::ModuleGbMax, SpecValue::Number(32))]);
        assert_eq!(gravity(&ModuleCapacity, &[&kit(128, 4), &board]), None);
        let found = findings(&ModuleCapacity, &[&kit(192, 4), &board]);
        assert_eq!(
            found[0].reason,
            "the slots of \"sample board\" take 32 GB each, a module of \"sample memory\" has 48 GB"
        );
        assert_eq!(found[0].gravity, Gravity::Conflict);
        let silent = part(Kind::Memory, &[]);
        let found = gravity(&ModuleCapacity, &[&silent, &board]);
        assert_eq!(found, Some(Gravity::Unproven));
    }
}
