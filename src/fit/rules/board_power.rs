//! The board feeds a processor of this power.

use crate::catalogue::{Kind, Part, Spec};
use crate::fit::rule::{
    Finding, Fit, FitRule, FitTerms, Form, Seat, conflict, seat_pairs, unproven,
};

pub struct BoardPower;

impl FitRule for BoardPower {
    fn id(&self) -> &str {
        "board-power"
    }

    fn states(&self) -> &str {
        "The processor draws no more than the board's maker allows, where a limit is stated."
    }

    fn source(&self) -> &str {
        "common practice, no source"
    }

    fn reads(&self) -> &[(Kind, Spec)] {
        &[(Kind::Cpu, Spec::HeatW), (Kind::Board, Spec::ProcessorWMax)]
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
            let Some(most_w) = board.part.number(Spec::ProcessorWMax) else {
                continue;
            };
            match cpu.part.number(Spec::HeatW) {
                None => findings.push(unproven(self.id(), cpu.part, Spec::HeatW)),
                Some(heat_w) if heat_w > most_w => {
                    let reason = format!(
                        "\"{}\" is made for processors of up to {most_w} W, \"{}\" has {heat_w} W",
                        board.part.name, cpu.part.name
                    );
                    findings.push(conflict(self.id(), reason));
                }
                Some(_) => {}
            }
        }
        findings
    }
}

fn fits(cpu: &Part, board: &Part) -> Fit {
    let limit = board.number(Spec::ProcessorWMax);
    match (limit, cpu.number(Spec::HeatW)) {
        (None, _) => Fit::Yes,
        (Some(_), None) => Fit::Unproven,
        (Some(most), Some(heat)) if most < heat => Fit::No,
        _ => Fit::Yes,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::fit::Gravity;
    use crate::fit::sample::{gravity, number, part};

    #[test]
    fn a_small_board_does_not_feed_a_large_processor() {
        let board = part(Kind::Board, &[(Spec::ProcessorWMax, number(95))]);
        let cpu = |heat_w| part(Kind::Cpu, &[(Spec::HeatW, number(heat_w))]);
        assert_eq!(gravity(&BoardPower, &[&cpu(95), &board]), None);
        assert_eq!(
            gravity(&BoardPower, &[&cpu(125), &board]),
            Some(Gravity::Conflict)
        );
        assert_eq!(
            gravity(&BoardPower, &[&cpu(125), &part(Kind::Board, &[])]),
            None
        );
    }
}
