//! The memory's modules are of the type that the board takes.

use crate::catalogue::{Kind, Part, Spec, same_name};
use crate::fit::rule::{
    Finding, Fit, FitRule, FitTerms, Form, Seat, conflict, seat_pairs, unproven,
};

pub struct MemoryType;

impl FitRule for MemoryType {
    fn id(&self) -> &str {
        "memory-type"
    }

    fn states(&self) -> &str {
        "The memory's modules are of the type that the board takes, such as UDIMM."
    }

    fn source(&self) -> &str {
        "UDIMM and SO-DIMM differ in length (decode-dimms, i2c-tools 4.3); an RDIMM does not run on \
         a UDIMM board (pc-dynamics.it; droid4x.com)"
    }

    fn reads(&self) -> &[(Kind, Spec)] {
        &[
            (Kind::Memory, Spec::ModuleType),
            (Kind::Board, Spec::ModuleType),
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
            let Some(has) = kit.part.text(Spec::ModuleType) else {
                findings.push(unproven(self.id(), kit.part, Spec::ModuleType));
                continue;
            };
            let Some(takes) = board.part.text(Spec::ModuleType) else {
                findings.push(unproven(self.id(), board.part, Spec::ModuleType));
                continue;
            };
            if !same_name(has, takes) {
                let reason = format!(
                    "\"{}\" has {has} modules, the board \"{}\" takes {takes}",
                    kit.part.name, board.part.name
                );
                findings.push(conflict(self.id(), reason));
            }
        }
        findings
    }
}

fn fits(kit: &Part, board: &Part) -> Fit {
    let types = [kit, board].map(|part| part.text(Spec::ModuleType));
    match types {
        [Some(has), Some(takes)] if same_name(has, takes) => Fit::Yes,
        [Some(_), Some(_)] => Fit::No,
        _ => Fit::Unproven,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::fit::Gravity;
    use crate::fit::sample::{findings, gravity, part, text};

    #[test]
    fn registered_and_laptop_modules_do_not_go_into_a_desktop_board() {
        // Pitfall C34 (registered in unbuffered); SO-DIMM 67.6 mm against UDIMM 133.35 mm.
        let kit = |kind| part(Kind::Memory, &[(Spec::ModuleType, text(kind))]);
        let board = part(Kind::Board, &[(Spec::ModuleType, text("UDIMM"))]);
        assert_eq!(gravity(&MemoryType, &[&kit("udimm"), &board]), None);
        for other in ["RDIMM", "LRDIMM", "SO-DIMM"] {
            let found = gravity(&MemoryType, &[&kit(other), &board]);
            assert_eq!(found, Some(Gravity::Conflict), "{other}");
        }
        assert_eq!(
            findings(&MemoryType, &[&kit("RDIMM"), &board])[0].reason,
            "\"sample memory\" has RDIMM modules, the board \"sample board\" takes UDIMM"
        );
        let silent = part(Kind::Memory, &[]);
        let found = gravity(&MemoryType, &[&silent, &board]);
        assert_eq!(found, Some(Gravity::Unproven));
    }
}
