//! The processor is one that the board's chipset runs: an equal socket is not enough.

use crate::catalogue::{Kind, Part, Spec, names_include};
use crate::fit::rule::{
    Finding, Fit, FitRule, FitTerms, Form, Gravity, Seat, conflict, seat_pairs, unproven,
};

pub struct ProcessorChipset;

impl FitRule for ProcessorChipset {
    fn id(&self) -> &str {
        "processor-chipset"
    }

    fn states(&self) -> &str {
        "The board's chipset runs the processor, as shipped or after an update that the board can \
         take without one."
    }

    fn source(&self) -> &str {
        "one socket name serves several generations of processors: AMD chart at the B550 launch; \
         Intel statement in pcgamer.com; Wikipedia LGA 1200"
    }

    fn reads(&self) -> &[(Kind, Spec)] {
        &[
            (Kind::Cpu, Spec::Chipsets),
            (Kind::Cpu, Spec::ChipsetsAfterUpdate),
            (Kind::Board, Spec::Chipset),
            (Kind::Board, Spec::FlashWithoutCpu),
        ]
    }

    fn form(&self) -> Form<'_> {
        Form::Pairs {
            left: Kind::Cpu,
            right: Kind::Board,
            fits: Box::new(fits),
        }
    }

    fn check(&self, seats: &[Seat<'_>], _terms: &FitTerms) -> Vec<Finding> {
        let pairs = seat_pairs(seats, Kind::Cpu, Kind::Board);
        pairs
            .filter_map(|(cpu, board)| self.judge(cpu.part, board.part))
            .collect()
    }
}

impl ProcessorChipset {
    fn judge(&self, cpu: &Part, board: &Part) -> Option<Finding> {
        let Some(chipset) = board.text(Spec::Chipset) else {
            return Some(unproven(self.id(), board, Spec::Chipset));
        };
        let Some(as_shipped) = cpu.texts(Spec::Chipsets) else {
            return Some(unproven(self.id(), cpu, Spec::Chipsets));
        };
        let updated = cpu.texts(Spec::ChipsetsAfterUpdate).unwrap_or_default();
        if names_include(as_shipped, chipset) {
            return None;
        }
        let (board_name, cpu_name) = (&board.name, &cpu.name);
        if !names_include(updated, chipset) {
            let reason =
                format!("the {chipset} chipset of \"{board_name}\" does not run \"{cpu_name}\"");
            return Some(conflict(self.id(), reason));
        }
        match board.flag(Spec::FlashWithoutCpu) {
            None => Some(unproven(self.id(), board, Spec::FlashWithoutCpu)),
            Some(true) => Some(Finding {
                rule: self.id().to_owned(),
                gravity: Gravity::Caution,
                reason: format!(
                    "\"{board_name}\" needs a firmware update before \"{cpu_name}\" runs; it can be \
                     done without a processor"
                ),
            }),
            Some(false) => {
                let reason = format!(
                    "\"{board_name}\" needs a firmware update for \"{cpu_name}\", and an older \
                     processor to do it with"
                );
                Some(conflict(self.id(), reason))
            }
        }
    }
}

fn fits(cpu: &Part, board: &Part) -> Fit {
    let names = |spec| cpu.texts(spec);
    match (names(Spec::Chipsets), board.text(Spec::Chipset)) {
        (Some(shipped), Some(chipset)) if names_include(shipped, chipset) => Fit::Yes,
        (Some(_), Some(chipset)) => {
            let later = names(Spec::ChipsetsAfterUpdate);
            if !later.is_some_and(|later| names_include(later, chipset)) {
                return Fit::No;
            }
            match board.flag(Spec::FlashWithoutCpu) {
                Some(true) => Fit::Yes,
                Some(false) => Fit::No,
                None => Fit::Unproven,
            }
        }
        _ => Fit::Unproven,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::catalogue::SpecValue;
    use crate::fit::sample::{findings, gravity, part, text, texts};

    fn board(chipset: &str, flash: Option<bool>) -> Part {
        let mut specs = vec![(Spec::Chipset, text(chipset))];
        specs.extend(flash.map(|flash| (Spec::FlashWithoutCpu, SpecValue::Flag(flash))));
        part(Kind::Board, &specs)
    }

    #[test]
    fn an_equal_socket_is_not_enough() {
        // Pitfall C02. LGA1200, 11th generation: H510, B560, H570, Z590 run it as shipped, H470
        // and Z490 after an update, H410 and B460 never (Intel statement in pcgamer.com;
        // Wikipedia LGA 1200).
        let eleventh = part(
            Kind::Cpu,
            &[
                (Spec::Chipsets, texts(&["H510", "B560", "H570", "Z590"])),
                (Spec::ChipsetsAfterUpdate, texts(&["H470", "Z490"])),
            ],
        );
        for (chipset, expected) in [
            ("B560", None),
            ("z590", None),
            ("Z490", Some(Gravity::Caution)),
            ("H410", Some(Gravity::Conflict)),
            ("B460", Some(Gravity::Conflict)),
        ] {
            let found = gravity(&ProcessorChipset, &[&eleventh, &board(chipset, Some(true))]);
            assert_eq!(found, expected, "{chipset}");
        }
    }

    #[test]
    fn an_update_needs_a_board_that_takes_it_without_a_processor() {
        // Pitfall C01.
        let cpu = part(
            Kind::Cpu,
            &[
                (Spec::Chipsets, texts(&["X870"])),
                (Spec::ChipsetsAfterUpdate, texts(&["X670"])),
            ],
        );
        let reason = |flash| {
            let found = findings(&ProcessorChipset, &[&cpu, &board("X670", flash)]);
            (found[0].gravity, found[0].reason.clone())
        };
        let (gravity, text) = reason(Some(true));
        assert_eq!(gravity, Gravity::Caution);
        assert!(text.contains("needs a firmware update"), "{text}");
        assert_eq!(reason(Some(false)).0, Gravity::Conflict);
        assert_eq!(reason(None).0, Gravity::Unproven);
    }
}
