//! A board with its connectors on the back needs a case with openings for them.

use crate::catalogue::{Kind, Part, Spec};
use crate::fit::rule::{
    Finding, Fit, FitRule, FitTerms, Form, Seat, conflict, seat_pairs, unproven,
};

pub struct RearConnectors;

impl FitRule for RearConnectors {
    fn id(&self) -> &str {
        "rear-connectors"
    }

    fn states(&self) -> &str {
        "A board with connectors on its back sits in a case with openings for them."
    }

    fn source(&self) -> &str {
        "common practice, no source; a board that does not say has none"
    }

    fn reads(&self) -> &[(Kind, Spec)] {
        &[
            (Kind::Board, Spec::RearConnectors),
            (Kind::Case, Spec::RearConnectors),
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
        let pairs = seat_pairs(seats, Kind::Board, Kind::Case);
        let behind = pairs.filter(|(board, _)| board.part.flag(Spec::RearConnectors) == Some(true));
        behind
            .filter_map(|(board, case)| match case.part.flag(Spec::RearConnectors) {
                Some(true) => None,
                None => Some(unproven(self.id(), case.part, Spec::RearConnectors)),
                Some(false) => {
                    let reason = format!(
                        "the connectors on the back of \"{}\" have no openings in \"{}\"",
                        board.part.name, case.part.name
                    );
                    Some(conflict(self.id(), reason))
                }
            })
            .collect()
    }
}

fn fits(board: &Part, case: &Part) -> Fit {
    let [behind, open] = [board, case].map(|part| part.flag(Spec::RearConnectors));
    match (behind, open) {
        (None | Some(false), _) | (_, Some(true)) => Fit::Yes,
        (_, Some(false)) => Fit::No,
        (_, None) => Fit::Unproven,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::catalogue::SpecValue;
    use crate::fit::Gravity;
    use crate::fit::sample::{gravity, part};

    #[test]
    fn a_board_with_connectors_behind_it_needs_openings() {
        // Pitfall C39.
        let with = |kind, flag: bool| part(kind, &[(Spec::RearConnectors, SpecValue::Flag(flag))]);
        let found = |board, case| {
            gravity(
                &RearConnectors,
                &[&with(Kind::Board, board), &with(Kind::Case, case)],
            )
        };
        assert_eq!(found(true, false), Some(Gravity::Conflict));
        assert_eq!(found(true, true), None);
        assert_eq!(found(false, false), None);
        let silent = part(Kind::Case, &[]);
        let found = gravity(&RearConnectors, &[&with(Kind::Board, true), &silent]);
        assert_eq!(found, Some(Gravity::Unproven));
    }
}
