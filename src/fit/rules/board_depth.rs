//! A board deeper than its form factor's standard finds room in the case, by millimetres.

use crate::catalogue::{Kind, Part, Spec, names_include};
use crate::fit::rule::{
    Finding, Fit, FitRule, FitTerms, Form, Seat, conflict, seat_pairs, unproven,
};

/// The depth up to which a case for ATX, microATX or Mini-ITX boards has room.
const STANDARD_MM: i64 = 244;

pub struct BoardDepth;

impl FitRule for BoardDepth {
    fn id(&self) -> &str {
        "board-depth"
    }

    fn states(&self) -> &str {
        "A board deeper than 244 mm is no deeper than the case states."
    }

    fn source(&self) -> &str {
        "ATX and microATX are at most 244 mm deep (microATX Motherboard Interface Specification \
         1.2 table 3); E-ATX names no common size (a supply maker's page)"
    }

    fn reads(&self) -> &[(Kind, Spec)] {
        &[
            (Kind::Board, Spec::DepthMm),
            (Kind::Board, Spec::FormFactor),
            (Kind::Case, Spec::BoardDepthMmMax),
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
            let (board, case) = (board.part, case.part);
            let depth = board.number(Spec::DepthMm);
            let is_standard =
                depth.map_or_else(|| has_standard_form(board), |depth| depth <= STANDARD_MM);
            if is_standard {
                continue;
            }
            let Some(depth) = depth else {
                findings.push(unproven(self.id(), board, Spec::DepthMm));
                continue;
            };
            match case.number(Spec::BoardDepthMmMax) {
                Some(most) if depth > most => {
                    let reason = format!(
                        "the {depth} mm deep board is {} mm too deep for the case \"{}\"",
                        depth - most,
                        case.name
                    );
                    findings.push(conflict(self.id(), reason));
                }
                Some(_) => {}
                None => findings.push(unproven(self.id(), case, Spec::BoardDepthMmMax)),
            }
        }
        findings
    }
}

/// Whether the form factor's name alone bounds the depth.
fn has_standard_form(board: &Part) -> bool {
    let standard = ["ATX", "microATX", "Mini-ITX"].map(str::to_owned);
    let form = board.text(Spec::FormFactor);
    form.is_some_and(|form| names_include(&standard, form))
}

fn fits(board: &Part, case: &Part) -> Fit {
    match (
        board.number(Spec::DepthMm),
        case.number(Spec::BoardDepthMmMax),
    ) {
        (Some(..=STANDARD_MM), _) => Fit::Yes,
        (None, _) if has_standard_form(board) => Fit::Yes,
        (Some(depth), Some(most)) if depth <= most => Fit::Yes,
        (Some(_), Some(_)) => Fit::No,
        _ => Fit::Unproven,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::catalogue::SpecValue;
    use crate::fit::Gravity;
    use crate::fit::sample::{findings, gravity, part, text};

    #[test]
    fn an_extended_board_is_compared_by_millimetres_and_not_by_name() {
        // Pitfall C36: a board 277 mm deep called E-ATX.
        let board = |depth: Option<i64>, form| {
            let mut specs = vec![(Spec::FormFactor, text(form))];
            specs.extend(depth.map(|depth| (Spec::DepthMm, SpecValue::Number(depth))));
            part(Kind::Board, &specs)
        };
        let case = |most| {
            part(
                Kind::Case,
                &[(Spec::BoardDepthMmMax, SpecValue::Number(most))],
            )
        };
        let silent = part(Kind::Case, &[]);
        for (depth, form, case, expected) in [
            (Some(277), "E-ATX", &case(280), None),
            (Some(277), "E-ATX", &case(272), Some(Gravity::Conflict)),
            (Some(277), "ATX", &silent, Some(Gravity::Unproven)),
            (None, "E-ATX", &case(280), Some(Gravity::Unproven)),
            (None, "micro ATX", &silent, None),
            (Some(244), "E-ATX", &silent, None),
        ] {
            let found = gravity(&BoardDepth, &[&board(depth, form), case]);
            assert_eq!(found, expected, "{depth:?} {form}");
        }
        assert_eq!(
            findings(&BoardDepth, &[&board(Some(277), "E-ATX"), &case(272)])[0].reason,
            "the 277 mm deep board is 5 mm too deep for the case \"sample case\""
        );
    }
}
