//! The power supply is no longer than its place in the case.

use crate::catalogue::{Kind, Part, Spec};
use crate::fit::rule::{Finding, Fit, FitRule, FitTerms, Form, Seat, check_at_most};

pub struct SupplyLength;

impl FitRule for SupplyLength {
    fn id(&self) -> &str {
        "supply-length"
    }

    fn states(&self) -> &str {
        "The power supply is no longer than the case allows."
    }

    fn source(&self) -> &str {
        "an ATX supply has no fixed length: 140 mm is basic, 160 and 180 mm are common (vpsmate.net)"
    }

    fn reads(&self) -> &[(Kind, Spec)] {
        &[
            (Kind::Psu, Spec::LengthMm),
            (Kind::Case, Spec::PsuLengthMmMax),
        ]
    }

    fn form(&self) -> Form<'_> {
        Form::Pairs {
            left: Kind::Psu,
            right: Kind::Case,
            fits: Box::new(fits),
        }
    }

    fn check(&self, seats: &[Seat<'_>], _terms: &FitTerms) -> Vec<Finding> {
        let needed = (Kind::Psu, Spec::LengthMm);
        let allowed = (Kind::Case, Spec::PsuLengthMmMax);
        check_at_most(
            self.id(),
            seats,
            needed,
            allowed,
            |needed, allowed, case| {
                format!(
                    "the {needed} mm supply is {} mm too long for the case \"{}\"",
                    needed - allowed,
                    case.name
                )
            },
        )
    }
}

fn fits(psu: &Part, case: &Part) -> Fit {
    match (
        psu.number(Spec::LengthMm),
        case.number(Spec::PsuLengthMmMax),
    ) {
        (Some(needed), Some(allowed)) if needed <= allowed => Fit::Yes,
        (Some(_), Some(_)) => Fit::No,
        _ => Fit::Unproven,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::catalogue::SpecValue;
    use crate::fit::Gravity;
    use crate::fit::sample::{findings, gravity, part};

    #[test]
    fn a_supply_of_180_mm_does_not_go_where_160_mm_are_left() {
        // Pitfall C18: 180 mm, 160 mm to the drive cage.
        let case = part(
            Kind::Case,
            &[(Spec::PsuLengthMmMax, SpecValue::Number(160))],
        );
        let psu = |needed| part(Kind::Psu, &[(Spec::LengthMm, SpecValue::Number(needed))]);
        assert_eq!(gravity(&SupplyLength, &[&psu(160), &case]), None);
        let found = findings(&SupplyLength, &[&psu(180), &case]);
        assert_eq!(
            found[0].reason,
            "the 180 mm supply is 20 mm too long for the case \"sample case\""
        );
        assert_eq!(found[0].gravity, Gravity::Conflict);
        let silent = part(Kind::Psu, &[]);
        let found = gravity(&SupplyLength, &[&silent, &case]);
        assert_eq!(found, Some(Gravity::Unproven));
    }
}
