//! ECC memory is supported by the processor and the board.

use crate::catalogue::{Kind, Spec};
use crate::fit::rule::{Finding, Fit, FitRule, FitTerms, Form, Seat, conflict, seats_of, unproven};

pub struct MemoryEcc;

impl FitRule for MemoryEcc {
    fn id(&self) -> &str {
        "memory-ecc"
    }

    fn states(&self) -> &str {
        "Memory with ECC modules sits in a board that supports it, with a processor that does."
    }

    fn source(&self) -> &str {
        "common practice, no source; the on-die ECC of DDR5 is not module ECC: aloinfousa"
    }

    fn reads(&self) -> &[(Kind, Spec)] {
        &[
            (Kind::Cpu, Spec::Ecc),
            (Kind::Board, Spec::Ecc),
            (Kind::Memory, Spec::Ecc),
        ]
    }

    fn form(&self) -> Form<'_> {
        Form::Joint {
            kinds: &[Kind::Cpu, Kind::Board, Kind::Memory],
            fits: Box::new(fits),
        }
    }

    fn subjects(&self) -> &[Kind] {
        &[Kind::Memory]
    }

    fn check(&self, seats: &[Seat<'_>], _terms: &FitTerms) -> Vec<Finding> {
        let kits = seats_of(seats, Kind::Memory);
        let Some(kit) = kits
            .clone()
            .find(|kit| kit.part.flag(Spec::Ecc) == Some(true))
        else {
            return Vec::new();
        };
        let hosts = seats_of(seats, Kind::Cpu).chain(seats_of(seats, Kind::Board));
        hosts
            .filter_map(|host| match host.part.flag(Spec::Ecc) {
                Some(true) => None,
                Some(false) => {
                    let reason = format!(
                        "\"{}\" does not support the ECC of \"{}\"",
                        host.part.name, kit.part.name
                    );
                    Some(conflict(self.id(), reason))
                }
                None => Some(unproven(self.id(), host.part, Spec::Ecc)),
            })
            .collect()
    }
}

fn fits(seats: &[Seat<'_>], _terms: &FitTerms) -> Fit {
    let is_asked = |seat: &Seat<'_>| {
        seat.part.kind == Kind::Memory && seat.part.flag(Spec::Ecc).unwrap_or(false)
    };
    if !seats.iter().any(is_asked) {
        return Fit::Yes;
    }
    let hosts = seats.iter().filter(|seat| seat.part.kind != Kind::Memory);
    let words = hosts.map(|host| match host.part.flag(Spec::Ecc) {
        Some(true) => Fit::Yes,
        Some(false) => Fit::No,
        None => Fit::Unproven,
    });
    words.max().unwrap_or(Fit::Yes)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::catalogue::{Part, SpecValue};
    use crate::fit::Gravity;
    use crate::fit::sample::{gravity, part};

    #[test]
    fn all_three_must_support_ecc() {
        // Pitfall C34.
        let with = |kind, ecc: Option<bool>| -> Part {
            let specs: Vec<_> = ecc
                .map(|ecc| (Spec::Ecc, SpecValue::Flag(ecc)))
                .into_iter()
                .collect();
            part(kind, &specs)
        };
        let found = |cpu, board, memory| {
            let parts = [
                with(Kind::Cpu, cpu),
                with(Kind::Board, board),
                with(Kind::Memory, memory),
            ];
            gravity(&MemoryEcc, &parts.iter().collect::<Vec<_>>())
        };
        assert_eq!(found(Some(true), Some(true), Some(true)), None);
        assert_eq!(
            found(Some(false), Some(true), Some(true)),
            Some(Gravity::Conflict)
        );
        assert_eq!(
            found(Some(true), Some(false), Some(true)),
            Some(Gravity::Conflict)
        );
        assert_eq!(found(Some(true), None, Some(true)), Some(Gravity::Unproven));
        assert_eq!(found(Some(false), Some(false), Some(false)), None);
        assert_eq!(found(None, None, None), None);
    }
}
