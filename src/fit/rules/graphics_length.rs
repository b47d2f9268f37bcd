//! The graphics card is no longer than the case allows.

use crate::catalogue::{Kind, Part, Spec};
use crate::fit::rule::{Finding, Fit, FitRule, FitTerms, Form, Seat, check_at_most};

pub struct GraphicsLength;

impl FitRule for GraphicsLength {
    fn id(&self) -> &'static str {
        "graphics-length"
    }

    fn states(&self) -> &'static str {
        "The graphics card is no longer than the case allows."
    }

    fn source(&self) -> &'static str {
        "common practice, no source"
    }

    fn reads(&self) -> &'static [(Kind, Spec)] {
        &[
            (Kind::Gpu, Spec::LengthMm),
            (Kind::Case, Spec::GpuLengthMmMax),
        ]
    }

    fn form(&self) -> Form {
        Form::Pairs {
            left: Kind::Gpu,
            right: Kind::Case,
            fits,
        }
    }

    fn check(&self, seats: &[Seat<'_>], _terms: &FitTerms) -> Vec<Finding> {
        let needed = (Kind::Gpu, Spec::LengthMm);
        let allowed = (Kind::Case, Spec::GpuLengthMmMax);
        check_at_most(
            self.id(),
            seats,
            needed,
            allowed,
            |needed, allowed, case| {
                format!(
                    "the {needed} mm card is {} mm too long for the case \"{}\"",
                    needed - allowed,
                    case.name
                )
            },
        )
    }
}

fn fits(gpu: &Part, case: &Part) -> Fit {
    let surplus = case
        .number(Spec::GpuLengthMmMax)
        .zip(gpu.number(Spec::LengthMm))
        .map(|(available, needed)| available - needed);
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
        let silent = part(Kind::Gpu, &[]);
        assert_eq!(
            gravity(&GraphicsLength, &[&silent, &case]),
            Some(Gravity::Unproven)
        );
    }
}
