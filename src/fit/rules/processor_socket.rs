//! The processor's socket is the board's socket.

use crate::catalogue::{Kind, Part, Spec, same_name};
use crate::fit::rule::{
    Finding, Fit, FitRule, FitTerms, Form, Seat, conflict, seat_pairs, unproven,
};

pub struct ProcessorSocket;

impl FitRule for ProcessorSocket {
    fn id(&self) -> &str {
        "processor-socket"
    }

    fn states(&self) -> &str {
        "The board has the socket that the processor needs."
    }

    fn source(&self) -> &str {
        "common practice, no source"
    }

    fn reads(&self) -> &[(Kind, Spec)] {
        &[(Kind::Cpu, Spec::Socket), (Kind::Board, Spec::Socket)]
    }

    fn form(&self) -> Form<'_> {
        Form::Pairs {
            left: Kind::Cpu,
            right: Kind::Board,
            fits: Box::new(fits),
        }
    }

    fn check(&self, seats: &[Seat<'_>], _terms: &FitTerms) -> Vec<Finding> {
        let mut findings = Vec::new();
        for (cpu, board) in seat_pairs(seats, Kind::Cpu, Kind::Board) {
            let Some(needed) = cpu.part.text(Spec::Socket) else {
                findings.push(unproven(self.id(), cpu.part, Spec::Socket));
                continue;
            };
            let Some(offered) = board.part.text(Spec::Socket) else {
                findings.push(unproven(self.id(), board.part, Spec::Socket));
                continue;
            };
            if !same_name(needed, offered) {
                let reason = format!(
                    "the processor needs socket {needed}, the board \"{}\" has {offered}",
                    board.part.name
                );
                findings.push(conflict(self.id(), reason));
            }
        }
        findings
    }
}

fn fits(cpu: &Part, board: &Part) -> Fit {
    match (cpu.text(Spec::Socket), board.text(Spec::Socket)) {
        (Some(needed), Some(offered)) if same_name(needed, offered) => Fit::Yes,
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
    fn sockets_must_be_equal_and_known() {
        let cpu = part(Kind::Cpu, &[(Spec::Socket, text("LGA1700"))]);
        let check = |socket: &str, expected| {
            let board = part(Kind::Board, &[(Spec::Socket, text(socket))]);
            assert_eq!(
                gravity(&ProcessorSocket, &[&cpu, &board]),
                expected,
                "{socket}"
            );
        };
        check("LGA 1700", None);
        check("LGA1851", Some(Gravity::Conflict));
        check("AM5", Some(Gravity::Conflict));
        let unknown = part(Kind::Board, &[]);
        assert_eq!(
            gravity(&ProcessorSocket, &[&cpu, &unknown]),
            Some(Gravity::Unproven)
        );
    }
}
