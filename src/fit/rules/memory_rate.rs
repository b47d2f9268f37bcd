//! What the memory's rated transfer rate is worth on this board.

use crate::catalogue::{Kind, Spec};
use crate::fit::rule::{Finding, FitRule, FitTerms, Form, Seat, caution, seats_of};

pub struct MemoryRate;

impl FitRule for MemoryRate {
    fn id(&self) -> &str {
        "memory-rate"
    }

    fn states(&self) -> &str {
        "A rated transfer rate above what board or processor list is an overclocking profile; two \
         kits are not one tested set."
    }

    fn source(&self) -> &str {
        "common practice, no source; mixed rates run at the slowest: a server's manual, TX300 S8, \
         page 469"
    }

    fn reads(&self) -> &[(Kind, Spec)] {
        &[
            (Kind::Cpu, Spec::MemoryMtSMax),
            (Kind::Board, Spec::MemoryMtSMax),
            (Kind::Board, Spec::MemoryMtSMaxFull),
            (Kind::Board, Spec::MemorySlots),
            (Kind::Memory, Spec::Modules),
            (Kind::Memory, Spec::TransferMtS),
        ]
    }

    fn form(&self) -> Form<'_> {
        Form::Advice {
            kinds: &[Kind::Cpu, Kind::Board, Kind::Memory],
        }
    }

    fn subjects(&self) -> &[Kind] {
        &[Kind::Memory]
    }

    fn check(&self, seats: &[Seat<'_>], _terms: &FitTerms) -> Vec<Finding> {
        let kits = || seats_of(seats, Kind::Memory);
        let rates = kits().filter_map(|kit| kit.part.number(Spec::TransferMtS));
        let Some(rated) = rates.min() else {
            return Vec::new();
        };
        let modules: i64 = kits()
            .map(|kit| kit.part.number(Spec::Modules).unwrap_or(0) * i64::from(kit.quantity))
            .sum();
        let listed = seats.iter().filter_map(|seat| match seat.part.kind {
            Kind::Cpu => seat.part.number(Spec::MemoryMtSMax),
            Kind::Board => {
                let is_full = seat.part.number(Spec::MemorySlots) == Some(modules);
                let full = seat.part.number(Spec::MemoryMtSMaxFull).filter(|_| is_full);
                full.or(seat.part.number(Spec::MemoryMtSMax))
            }
            _ => None,
        });
        let mut findings = Vec::new();
        if let Some(listed) = listed.min().filter(|listed| rated > *listed) {
            let reason = format!(
                "{modules} modules rated {rated} MT/s are listed for {listed} MT/s here; more is an \
                 overclocking profile, at one's own risk"
            );
            findings.push(caution(self.id(), reason));
        }
        let n_kits: u32 = kits().map(|kit| kit.quantity).sum();
        if n_kits > 1 {
            let reason = format!("{n_kits} kits are not tested together as one set");
            findings.push(caution(self.id(), reason));
        }
        findings
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::fit::sample::{findings, number, part};

    #[test]
    fn four_modules_are_listed_for_less_than_two() {
        // Pitfall C28: rated 6000; the board lists 6000 for two, 3600 for four.
        let board = part(
            Kind::Board,
            &[
                (Spec::MemorySlots, number(4)),
                (Spec::MemoryMtSMax, number(6_000)),
                (Spec::MemoryMtSMaxFull, number(3_600)),
            ],
        );
        let kit = |modules| {
            part(
                Kind::Memory,
                &[
                    (Spec::Modules, number(modules)),
                    (Spec::TransferMtS, number(6_000)),
                ],
            )
        };
        assert_eq!(findings(&MemoryRate, &[&board, &kit(2)]), []);
        let found = findings(&MemoryRate, &[&board, &kit(4)]);
        assert!(
            found[0].reason.contains("listed for 3600 MT/s"),
            "{found:?}"
        );
        // Two kits of two are four modules, and no tested set of four.
        let found = findings(&MemoryRate, &[&board, &kit(2), &kit(2)]);
        assert_eq!(found.len(), 2);
        assert!(found[1].reason.contains("2 kits are not tested together"));
    }

    #[test]
    fn what_is_not_listed_is_no_conflict() {
        // Pitfall C29: a kit that is on no list is unknown, not incompatible.
        let kit = part(Kind::Memory, &[(Spec::TransferMtS, number(8_000))]);
        assert_eq!(findings(&MemoryRate, &[&part(Kind::Board, &[]), &kit]), []);
    }
}
