//! The case takes the board's form factor.

use crate::catalogue::{Kind, Part, Spec, names_include};
use crate::fit::rule::{
    Finding, Fit, FitRule, FitTerms, Form, Seat, conflict, seat_pairs, unproven,
};

pub struct BoardForm;

impl FitRule for BoardForm {
    fn id(&self) -> &str {
        "board-form"
    }

    fn states(&self) -> &str {
        "The case takes boards of the board's form factor, by name."
    }

    fn source(&self) -> &str {
        "Intel microATX Motherboard Interface Specification 1.2; Mini-ITX Addendum 1.1"
    }

    fn reads(&self) -> &[(Kind, Spec)] {
        &[
            (Kind::Board, Spec::FormFactor),
            (Kind::Case, Spec::FormFactors),
        ]
    }

    fn form(&self) -> Form<'_> {
        Form::Pairs {
            left: Kind::Board,
            right: Kind::Case,
            fits: Box::new(fits),
        }
    }

    fn check(&self, seats: &[Seat<'_>], _terms: &FitTerms) -> Vec<Finding> {
        let mut findings = Vec::new();
        for (board, case) in seat_pairs(seats, Kind::Board, Kind::Case) {
            let (Some(form), Some(taken)) = (
                board.part.text(Spec::FormFactor),
                case.part.texts(Spec::FormFactors),
            ) else {
                let (part, spec) = if board.part.text(Spec::FormFactor).is_none() {
                    (board.part, Spec::FormFactor)
                } else {
                    (case.part, Spec::FormFactors)
                };
                findings.push(unproven(self.id(), part, spec));
                continue;
            };
            if !taken.iter().any(|name| takes(name, form)) {
                let reason = format!(
                    "the case \"{}\" takes {}, the board is {form}",
                    case.part.name,
                    taken.join(", ")
                );
                findings.push(conflict(self.id(), reason));
            }
        }
        findings
    }
}

/// What a case that names a standard form factor takes besides it.
///
/// Source: microATX Motherboard Interface Specification 1.2 section 2.4.1 (microATX in ATX);
/// Mini-ITX Addendum 1.1 table 1 and section 2.4.1 (Mini-ITX in microATX and ATX). E-ATX names
/// no common size, so a case that takes it promises no smaller or larger board by that name.
fn takes(case_names: &str, board_is: &str) -> bool {
    const SMALLER: &[(&str, &[&str])] = &[
        ("ATX", &["microATX", "Mini-ITX"]),
        ("microATX", &["Mini-ITX"]),
    ];
    let named = [case_names.to_owned()];
    let implied = SMALLER
        .iter()
        .filter(|(larger, _)| names_include(&named, larger))
        .flat_map(|(_, smaller)| smaller.iter());
    names_include(&named, board_is)
        || implied
            .into_iter()
            .any(|smaller| names_include(&[(*smaller).to_owned()], board_is))
}

fn fits(board: &Part, case: &Part) -> Fit {
    match (board.text(Spec::FormFactor), case.texts(Spec::FormFactors)) {
        (Some(form), Some(taken)) => {
            if taken.iter().any(|name| takes(name, form)) {
                Fit::Yes
            } else {
                Fit::No
            }
        }
        _ => Fit::Unproven,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::fit::Gravity;
    use crate::fit::sample::{gravity, part, text, texts};

    #[test]
    fn standard_boards_fit_standard_cases_as_the_specifications_say() {
        // microATX 1.2 section 2.4.1, Mini-ITX Addendum 1.1 table 1.
        let check = |board: &str, case: &str, fits: bool| {
            let board = part(Kind::Board, &[(Spec::FormFactor, text(board))]);
            let case = part(Kind::Case, &[(Spec::FormFactors, texts(&[case]))]);
            let expected = (!fits).then_some(Gravity::Conflict);
            assert_eq!(
                gravity(&BoardForm, &[&board, &case]),
                expected,
                "{board:?} in {case:?}"
            );
        };
        for (board, in_itx, in_matx, in_atx) in [
            ("Mini-ITX", true, true, true),
            ("microATX", false, true, true),
            ("ATX", false, false, true),
        ] {
            check(board, "Mini-ITX", in_itx);
            check(board, "microATX", in_matx);
            check(board, "ATX", in_atx);
        }
        check("SSI EEB", "E-ATX", false);
        check("micro ATX", "MicroATX", true);
    }
}
