//! The case's front ports find headers on the board.

use crate::catalogue::{Kind, Spec};
use crate::fit::rule::{Finding, FitRule, FitTerms, Form, Seat, caution, seat_pairs};

pub struct FrontUsb;

impl FitRule for FrontUsb {
    fn id(&self) -> &str {
        "front-usb"
    }

    fn states(&self) -> &str {
        "The board has a header for every front USB lead of the case; without one the port is dead."
    }

    fn source(&self) -> &str {
        "common practice, no source"
    }

    fn reads(&self) -> &[(Kind, Spec)] {
        &[
            (Kind::Board, Spec::UsbCHeaders),
            (Kind::Board, Spec::Usb3Headers),
            (Kind::Case, Spec::UsbCLeads),
            (Kind::Case, Spec::Usb3Leads),
        ]
    }

    fn form(&self) -> Form<'_> {
        Form::Advice {
            kinds: &[Kind::Board, Kind::Case],
        }
    }

    fn subjects(&self) -> &[Kind] {
        &[Kind::Board, Kind::Case]
    }

    fn check(&self, seats: &[Seat<'_>], _terms: &FitTerms) -> Vec<Finding> {
        let mut findings = Vec::new();
        for (board, case) in seat_pairs(seats, Kind::Board, Kind::Case) {
            for (what, leads, headers) in [
                ("front USB-C port", Spec::UsbCLeads, Spec::UsbCHeaders),
                ("19-pin USB lead", Spec::Usb3Leads, Spec::Usb3Headers),
            ] {
                let known = case.part.number(leads).zip(board.part.number(headers));
                let Some((leads, headers)) = known.filter(|(leads, headers)| leads > headers)
                else {
                    continue;
                };
                let reason = format!(
                    "\"{}\" has {leads} {what}(s), \"{}\" has headers for {headers}",
                    case.part.name, board.part.name
                );
                findings.push(caution(self.id(), reason));
            }
        }
        findings
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::fit::sample::{findings, number, part};

    #[test]
    fn a_port_without_a_header_is_told() {
        // Pitfalls C25 and C26.
        let board = part(
            Kind::Board,
            &[
                (Spec::UsbCHeaders, number(0)),
                (Spec::Usb3Headers, number(1)),
            ],
        );
        let case = |c, leads| {
            part(
                Kind::Case,
                &[
                    (Spec::UsbCLeads, number(c)),
                    (Spec::Usb3Leads, number(leads)),
                ],
            )
        };
        assert_eq!(findings(&FrontUsb, &[&board, &case(0, 1)]), []);
        let found = findings(&FrontUsb, &[&board, &case(1, 2)]);
        assert_eq!(found.len(), 2);
        assert!(found[0].reason.contains("1 front USB-C port(s)"));
        assert!(
            found[1]
                .reason
                .contains("2 19-pin USB lead(s), \"sample board\" has headers for 1")
        );
    }
}
