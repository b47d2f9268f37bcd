//! Something in the build drives a display.

use crate::catalogue::{Kind, Part, Spec};
use crate::fit::rule::{Finding, Fit, FitRule, FitTerms, Form, Seat, conflict, seats_of, unproven};

pub struct DisplaySource;

impl FitRule for DisplaySource {
    fn id(&self) -> &str {
        "display-source"
    }

    fn states(&self) -> &str {
        "There is a graphics card, or the processor has graphics and the board an output for them."
    }

    fn source(&self) -> &str {
        "common practice, no source"
    }

    fn reads(&self) -> &[(Kind, Spec)] {
        &[
            (Kind::Cpu, Spec::Graphics),
            (Kind::Board, Spec::VideoOutputs),
        ]
    }

    fn form(&self) -> Form<'_> {
        Form::Joint {
            kinds: &[Kind::Cpu, Kind::Board, Kind::Gpu],
            fits: Box::new(fits),
        }
    }

    fn asks_for_presence(&self) -> bool {
        true
    }

    fn check(&self, seats: &[Seat<'_>], _terms: &FitTerms) -> Vec<Finding> {
        if seats_of(seats, Kind::Gpu).next().is_some() {
            return Vec::new();
        }
        let mut findings = Vec::new();
        for cpu in seats_of(seats, Kind::Cpu) {
            match cpu.part.flag(Spec::Graphics) {
                Some(true) => {
                    let boards = seats_of(seats, Kind::Board);
                    findings.extend(boards.filter_map(|board| self.check_outputs(board.part)));
                }
                Some(false) => {
                    let reason = format!(
                        "\"{}\" has no graphics and there is no graphics card",
                        cpu.part.name
                    );
                    findings.push(conflict(self.id(), reason));
                }
                None => findings.push(unproven(self.id(), cpu.part, Spec::Graphics)),
            }
        }
        findings
    }
}

impl DisplaySource {
    fn check_outputs(&self, board: &Part) -> Option<Finding> {
        match board.number(Spec::VideoOutputs) {
            None => Some(unproven(self.id(), board, Spec::VideoOutputs)),
            Some(0) => {
                let reason = format!(
                    "\"{}\" has no output for the processor's graphics and there is no graphics card",
                    board.name
                );
                Some(conflict(self.id(), reason))
            }
            Some(_) => None,
        }
    }
}

fn fits(seats: &[Seat<'_>], _terms: &FitTerms) -> Fit {
    let first = |kind| seats_of(seats, kind).next().map(|seat| seat.part);
    if first(Kind::Gpu).is_some() {
        return Fit::Yes;
    }
    let Some(cpu) = first(Kind::Cpu) else {
        return Fit::Yes;
    };
    let outputs = first(Kind::Board).map(|board| board.number(Spec::VideoOutputs));
    match (cpu.flag(Spec::Graphics), outputs) {
        (Some(false), _) | (Some(true), Some(Some(0))) => Fit::No,
        (None, _) | (Some(true), Some(None)) => Fit::Unproven,
        (Some(true), Some(Some(_)) | None) => Fit::Yes,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::catalogue::SpecValue;
    use crate::fit::Gravity;
    use crate::fit::sample::{gravity, number, part};

    #[test]
    fn a_processor_without_graphics_needs_a_card() {
        // Pitfall C31.
        let cpu = |graphics| part(Kind::Cpu, &[(Spec::Graphics, SpecValue::Flag(graphics))]);
        let gpu = part(Kind::Gpu, &[]);
        assert_eq!(
            gravity(&DisplaySource, &[&cpu(false)]),
            Some(Gravity::Conflict)
        );
        assert_eq!(gravity(&DisplaySource, &[&cpu(true)]), None);
        assert_eq!(gravity(&DisplaySource, &[&cpu(false), &gpu]), None);
        let silent = part(Kind::Cpu, &[]);
        assert_eq!(gravity(&DisplaySource, &[&silent]), Some(Gravity::Unproven));
        // Pitfall C32: graphics in the processor, no output on the board.
        let board = |outputs| part(Kind::Board, &[(Spec::VideoOutputs, number(outputs))]);
        let found = |outputs| gravity(&DisplaySource, &[&cpu(true), &board(outputs)]);
        assert_eq!(found(0), Some(Gravity::Conflict));
        assert_eq!(found(2), None);
    }
}
