//! The cooler is no higher than the case allows.

use crate::catalogue::{Kind, Part, Spec};
use crate::fit::rule::{Finding, Fit, FitRule, FitTerms, Form, Seat, check_at_most};

pub struct CoolerHeight;

impl FitRule for CoolerHeight {
    fn id(&self) -> &'static str {
        "cooler-height"
    }

    fn states(&self) -> &'static str {
        "The cooler is no higher than the case allows."
    }

    fn source(&self) -> &'static str {
        "common practice, no source"
    }

    fn reads(&self) -> &'static [(Kind, Spec)] {
        &[
            (Kind::Cooler, Spec::HeightMm),
            (Kind::Case, Spec::CoolerHeightMmMax),
        ]
    }

    fn form(&self) -> Form {
        Form::Pairs {
            left: Kind::Cooler,
            right: Kind::Case,
            fits,
        }
    }

    fn check(&self, seats: &[Seat<'_>], _terms: &FitTerms) -> Vec<Finding> {
        let needed = (Kind::Cooler, Spec::HeightMm);
        let allowed = (Kind::Case, Spec::CoolerHeightMmMax);
        check_at_most(
            self.id(),
            seats,
            needed,
            allowed,
            |needed, allowed, case| {
                format!(
                    "the {needed} mm cooler is {} mm too high for the case \"{}\"",
                    needed - allowed,
                    case.name
                )
            },
        )
    }
}

fn fits(cooler: &Part, case: &Part) -> Fit {
    let surplus = case
        .number(Spec::CoolerHeightMmMax)
        .zip(cooler.number(Spec::HeightMm))
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
    fn a_cooler_of_165_mm_does_not_go_into_a_case_for_160_mm() {
        // Pitfall C08: 165 in 160 does not fit, 160 in 160 does.
        let case = part(
            Kind::Case,
            &[(Spec::CoolerHeightMmMax, SpecValue::Number(160))],
        );
        let cooler = |needed| part(Kind::Cooler, &[(Spec::HeightMm, SpecValue::Number(needed))]);
        assert_eq!(gravity(&CoolerHeight, &[&cooler(160), &case]), None);
        let found = findings(&CoolerHeight, &[&cooler(165), &case]);
        assert_eq!(
            found[0].reason,
            "the 165 mm cooler is 5 mm too high for the case \"sample case\""
        );
        assert_eq!(found[0].gravity, Gravity::Conflict);
        let silent = part(Kind::Cooler, &[]);
        assert_eq!(
            gravity(&CoolerHeight, &[&silent, &case]),
            Some(Gravity::Unproven)
        );
    }
}
