//! The graphics card is no longer than the case allows.

use crate::catalogue::{Kind, Part, Spec};
use crate::fit::rule::{
    Finding, Fit, FitRule, FitTerms, Form, Seat, conflict, seat_pairs, unproven,
};

pub struct GraphicsLength;

impl FitRule for GraphicsLength {
    fn id(&self) -> &str {
        "graphics-length"
    }

    fn states(&self) -> &str {
        "The graphics card is no longer than the case allows, less the front fans that its figure \
         does not count."
    }

    fn source(&self) -> &str {
        "common practice, no source"
    }

    fn reads(&self) -> &[(Kind, Spec)] {
        &[
            (Kind::Gpu, Spec::LengthMm),
            (Kind::Case, Spec::GpuLengthMmMax),
            (Kind::Case, Spec::FrontFanMm),
        ]
    }

    fn form(&self) -> Form<'_> {
        Form::Pairs {
            left: Kind::Gpu,
            right: Kind::Case,
            fits: Box::new(fits),
        }
    }

    fn check(&self, seats: &[Seat<'_>], _terms: &FitTerms) -> Vec<Finding> {
        let mut findings = Vec::new();
        for (card, case) in seat_pairs(seats, Kind::Gpu, Kind::Case) {
            let Some(length) = card.part.number(Spec::LengthMm) else {
                findings.push(unproven(self.id(), card.part, Spec::LengthMm));
                continue;
            };
            let Some(stated) = case.part.number(Spec::GpuLengthMmMax) else {
                findings.push(unproven(self.id(), case.part, Spec::GpuLengthMmMax));
                continue;
            };
            let fans = case.part.number(Spec::FrontFanMm).unwrap_or(0);
            let over = length - (stated - fans);
            if over > 0 {
                let with = match fans {
                    0 => String::new(),
                    _ => format!(" with its {fans} mm front fans"),
                };
                let reason = format!(
                    "the {length} mm card is {over} mm too long for the case \"{}\"{with}",
                    case.part.name
                );
                findings.push(conflict(self.id(), reason));
            }
        }
        findings
    }
}

fn fits(gpu: &Part, case: &Part) -> Fit {
    let surplus = case
        .number(Spec::GpuLengthMmMax)
        .zip(gpu.number(Spec::LengthMm))
        .map(|(stated, needed)| stated - case.number(Spec::FrontFanMm).unwrap_or(0) - needed);
    match surplus {
        Some(0..) => Fit::Yes,
        Some(_) => Fit::No,
        None => Fit::Unproven,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::catalogue::SpecValue;
    use crate::fit::Gravity;
    use crate::fit::sample::{findings, gravity, part};

    #[test]
    fn a_card_may_be_as_long_as_the_case_allows_and_no_longer() {
        // Equal lengths fit; common practice, no source.
        let case = part(
            Kind::Case,
            &[(Spec::GpuLengthMmMax, SpecValue::Number(318))],
        );
        let gpu = |needed| part(Kind::Gpu, &[(Spec::LengthMm, SpecValue::Number(needed))]);
        assert_eq!(gravity(&GraphicsLength, &[&gpu(318), &case]), None);
        let found = findings(&GraphicsLength, &[&gpu(330), &case]);
        assert_eq!(
            found[0].reason,
            "the 330 mm card is 12 mm too long for the case \"sample case\""
        );
        assert_eq!(found[0].gravity, Gravity::Conflict);
        // Pitfall C15: the figure is quoted without front fans.
        let fans = part(
            Kind::Case,
            &[
                (Spec::GpuLengthMmMax, SpecValue::Number(318)),
                (Spec::FrontFanMm, SpecValue::Number(25)),
            ],
        );
        let found = findings(&GraphicsLength, &[&gpu(300), &fans]);
        assert!(found[0].reason.contains("7 mm too long"), "{found:?}");
        let silent = part(Kind::Gpu, &[]);
        assert_eq!(
            gravity(&GraphicsLength, &[&silent, &case]),
            Some(Gravity::Unproven)
        );
    }
}
