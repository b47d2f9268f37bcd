//! A network card finds a slot that no graphics card covers.

use crate::catalogue::{Kind, Part, Spec, same_name};
use crate::fit::rule::{Finding, Fit, FitRule, FitTerms, Form, Seat, conflict, seats_of, unproven};

pub struct NetworkSlot;

impl FitRule for NetworkSlot {
    fn id(&self) -> &str {
        "network-slot"
    }

    fn states(&self) -> &str {
        "The board has a slot for every network card below what the graphics card covers."
    }

    fn source(&self) -> &str {
        "common practice, no source; one slot pitch is 20.32 mm"
    }

    fn reads(&self) -> &[(Kind, Spec)] {
        &[
            (Kind::Board, Spec::SlotPositions),
            (Kind::Gpu, Spec::SlotsOccupied),
            (Kind::Network, Spec::Interface),
        ]
    }

    fn form(&self) -> Form<'_> {
        Form::Joint {
            kinds: &[Kind::Board, Kind::Gpu, Kind::Network],
            fits: Box::new(fits),
        }
    }

    fn subjects(&self) -> &[Kind] {
        &[Kind::Board, Kind::Network]
    }

    fn check(&self, seats: &[Seat<'_>], _terms: &FitTerms) -> Vec<Finding> {
        let mut findings = Vec::new();
        let mut wanted = 0;
        for adapter in seats_of(seats, Kind::Network) {
            match adapter.part.text(Spec::Interface) {
                None => findings.push(unproven(self.id(), adapter.part, Spec::Interface)),
                Some(interface) if is_card(interface) => wanted += i64::from(adapter.quantity),
                Some(_) => {}
            }
        }
        if wanted > 0 {
            for board in seats_of(seats, Kind::Board) {
                findings.extend(self.check_board(seats, board.part, wanted));
            }
        }
        findings
    }
}

impl NetworkSlot {
    fn check_board(&self, seats: &[Seat<'_>], board: &Part, wanted: i64) -> Vec<Finding> {
        let mut findings = Vec::new();
        let mut covered = 0;
        for card in seats_of(seats, Kind::Gpu) {
            match card.part.number(Spec::SlotsOccupied) {
                Some(slots) => covered += slots * i64::from(card.quantity),
                None => findings.push(unproven(self.id(), card.part, Spec::SlotsOccupied)),
            }
        }
        match board.number(Spec::SlotPositions) {
            None => findings.push(unproven(self.id(), board, Spec::SlotPositions)),
            Some(positions) if covered + wanted > positions => {
                let left = (positions - covered).max(0);
                let reason = format!(
                    "{wanted} network card(s) need a slot each; the graphics leave {left} of the \
                     {positions} positions of \"{}\"",
                    board.name
                );
                findings.push(conflict(self.id(), reason));
            }
            Some(_) => {}
        }
        findings
    }
}

fn is_card(interface: &str) -> bool {
    same_name(interface, "PCIe")
}

fn fits(seats: &[Seat<'_>], _terms: &FitTerms) -> Fit {
    let adapters = || seats_of(seats, Kind::Network);
    let is_sure = adapters().all(|adapter| adapter.part.text(Spec::Interface).is_some());
    let sure = if is_sure { Fit::Yes } else { Fit::Unproven };
    let cards: i64 = adapters()
        .filter(|adapter| adapter.part.text(Spec::Interface).is_some_and(is_card))
        .map(|adapter| i64::from(adapter.quantity))
        .sum();
    let Some(board) = seats_of(seats, Kind::Board).next().filter(|_| cards > 0) else {
        return sure;
    };
    let graphics = seats_of(seats, Kind::Gpu).map(|card| {
        let slots = card.part.number(Spec::SlotsOccupied)?;
        Some(slots * i64::from(card.quantity))
    });
    let needs = graphics.chain([Some(cards)]);
    crate::fit::rule::sum_fits(needs, board.part.number(Spec::SlotPositions)).max(sure)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::fit::Gravity;
    use crate::fit::sample::{gravity, number, part, text};

    #[test]
    fn a_thick_card_covers_the_slot_of_the_network_card() {
        // Pitfall C33, and C16: a card of 3.2 slots covers four.
        let board = |positions| part(Kind::Board, &[(Spec::SlotPositions, number(positions))]);
        let card = |slots| part(Kind::Gpu, &[(Spec::SlotsOccupied, number(slots))]);
        let wifi = |interface| part(Kind::Network, &[(Spec::Interface, text(interface))]);
        let found = |positions, slots, interface| {
            gravity(
                &NetworkSlot,
                &[&board(positions), &card(slots), &wifi(interface)],
            )
        };
        assert_eq!(found(4, 3, "PCIe"), None);
        assert_eq!(found(4, 4, "PCIe"), Some(Gravity::Conflict));
        assert_eq!(found(1, 3, "USB"), None);
    }
}
