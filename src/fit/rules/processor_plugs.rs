//! The supply has the plugs that the board takes for the processor.

use crate::catalogue::{Kind, Part, Spec};
use crate::fit::rule::{
    Finding, Fit, FitRule, FitTerms, Form, Seat, caution, conflict, seat_pairs, seats_of, unproven,
};

/// A processor of this much heat or less is fed well by one plug of several.
const MODERATE_W: i64 = 125;

pub struct ProcessorPlugs;

impl FitRule for ProcessorPlugs {
    fn id(&self) -> &str {
        "processor-plugs"
    }

    fn states(&self) -> &str {
        "The supply has a plug for every processor power socket of the board; a processor of at \
         most 125 W can do with fewer."
    }

    fn source(&self) -> &str {
        "common practice, no source; plugs for processors (EPS) are never plugs for cards"
    }

    fn reads(&self) -> &[(Kind, Spec)] {
        &[
            (Kind::Cpu, Spec::HeatW),
            (Kind::Board, Spec::CpuPlugs8Pin),
            (Kind::Board, Spec::CpuPlugs4Pin),
            (Kind::Psu, Spec::CpuPlugs8Pin),
        ]
    }

    fn form(&self) -> Form<'_> {
        Form::Joint {
            kinds: &[Kind::Cpu, Kind::Board, Kind::Psu],
            fits: Box::new(fits),
        }
    }

    fn subjects(&self) -> &[Kind] {
        &[Kind::Board, Kind::Psu]
    }

    fn check(&self, seats: &[Seat<'_>], _terms: &FitTerms) -> Vec<Finding> {
        let mut findings = Vec::new();
        for (board, psu) in seat_pairs(seats, Kind::Board, Kind::Psu) {
            let Some(eights) = board.part.number(Spec::CpuPlugs8Pin) else {
                findings.push(unproven(self.id(), board.part, Spec::CpuPlugs8Pin));
                continue;
            };
            let Some(given) = psu.part.number(Spec::CpuPlugs8Pin) else {
                findings.push(unproven(self.id(), psu.part, Spec::CpuPlugs8Pin));
                continue;
            };
            let sockets = eights + board.part.number(Spec::CpuPlugs4Pin).unwrap_or(0);
            if given >= sockets {
                continue;
            }
            let cpu = seats_of(seats, Kind::Cpu).next();
            findings.push(self.too_few(cpu, board.part, sockets, psu.part, given));
        }
        findings
    }
}

impl ProcessorPlugs {
    fn too_few(
        &self,
        cpu: Option<&Seat<'_>>,
        board: &Part,
        sockets: i64,
        psu: &Part,
        given: i64,
    ) -> Finding {
        let what = format!(
            "\"{}\" has {sockets} power sockets for the processor, \"{}\" has {given} plugs for them",
            board.name, psu.name
        );
        if given == 0 {
            return conflict(self.id(), what);
        }
        let Some(cpu) = cpu else {
            return caution(self.id(), what);
        };
        match cpu.part.number(Spec::HeatW) {
            None => unproven(self.id(), cpu.part, Spec::HeatW),
            Some(heat_w) if heat_w > MODERATE_W => {
                conflict(self.id(), format!("{what}, too few for {heat_w} W"))
            }
            Some(heat_w) => caution(self.id(), format!("{what}, enough for {heat_w} W")),
        }
    }
}

fn fits(seats: &[Seat<'_>], _terms: &FitTerms) -> Fit {
    let one = |kind| seats_of(seats, kind).next().map(|seat| seat.part);
    let (Some(board), Some(psu)) = (one(Kind::Board), one(Kind::Psu)) else {
        return Fit::Yes;
    };
    let wanted = board
        .number(Spec::CpuPlugs8Pin)
        .map(|eights| eights + board.number(Spec::CpuPlugs4Pin).unwrap_or(0));
    match (wanted, psu.number(Spec::CpuPlugs8Pin)) {
        (Some(wanted), Some(given)) if given >= wanted => Fit::Yes,
        (Some(_), Some(0)) => Fit::No,
        (Some(_), Some(_)) => match one(Kind::Cpu).map(|cpu| cpu.number(Spec::HeatW)) {
            None => Fit::Yes,
            Some(None) => Fit::Unproven,
            Some(Some(heat_w)) if heat_w > MODERATE_W => Fit::No,
            Some(Some(_)) => Fit::Yes,
        },
        _ => Fit::Unproven,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::fit::Gravity;
    use crate::fit::sample::{gravity, number, part};

    #[test]
    fn one_plug_of_two_is_enough_for_a_moderate_processor_only() {
        // Pitfall C20: 8+4 on the board, one 8 on the supply.
        let board = part(
            Kind::Board,
            &[
                (Spec::CpuPlugs8Pin, number(1)),
                (Spec::CpuPlugs4Pin, number(1)),
            ],
        );
        // Pitfall C21: plugs for cards do not count.
        let psu = |plugs| {
            let specs = [
                (Spec::CpuPlugs8Pin, number(plugs)),
                (Spec::PciePlugs8Pin, number(6)),
            ];
            part(Kind::Psu, &specs)
        };
        let cpu = |heat_w| part(Kind::Cpu, &[(Spec::HeatW, number(heat_w))]);
        let found = |heat_w, plugs| gravity(&ProcessorPlugs, &[&cpu(heat_w), &board, &psu(plugs)]);
        assert_eq!(found(253, 2), None);
        assert_eq!(found(65, 1), Some(Gravity::Caution));
        assert_eq!(found(253, 1), Some(Gravity::Conflict));
        assert_eq!(found(65, 0), Some(Gravity::Conflict));
    }
}
