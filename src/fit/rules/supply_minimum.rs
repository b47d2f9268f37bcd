//! The power supply is rated for what the graphics card's maker asks for.

use crate::catalogue::{Kind, Part, Spec};
use crate::fit::rule::{
    Finding, Fit, FitRule, FitTerms, Form, Seat, conflict, seat_pairs, unproven,
};

pub struct SupplyMinimum;

impl FitRule for SupplyMinimum {
    fn id(&self) -> &str {
        "supply-minimum"
    }

    fn states(&self) -> &str {
        "The power supply is rated for at least what the card's maker asks for, where he does."
    }

    fn source(&self) -> &str {
        "common practice, no source: the sum with headroom or the card maker's minimum, whichever \
         is higher"
    }

    fn reads(&self) -> &[(Kind, Spec)] {
        &[(Kind::Gpu, Spec::SupplyWMin), (Kind::Psu, Spec::RatedW)]
    }

    fn form(&self) -> Form<'_> {
        Form::Pairs {
            left: Kind::Gpu,
            right: Kind::Psu,
            fits: Box::new(fits),
        }
    }

    fn check(&self, seats: &[Seat<'_>], _terms: &FitTerms) -> Vec<Finding> {
        let mut findings = Vec::new();
        for (gpu, psu) in seat_pairs(seats, Kind::Gpu, Kind::Psu) {
            // Not every maker states a minimum; the sum of the loads holds in any case.
            let Some(least_w) = gpu.part.number(Spec::SupplyWMin) else {
                continue;
            };
            match psu.part.number(Spec::RatedW) {
                Some(rated_w) if rated_w < least_w => {
                    let reason = format!(
                        "the maker of \"{}\" asks for a supply of {least_w} W, \"{}\" gives \
                         {rated_w} W",
                        gpu.part.name, psu.part.name
                    );
                    findings.push(conflict(self.id(), reason));
                }
                Some(_) => {}
                None => findings.push(unproven(self.id(), psu.part, Spec::RatedW)),
            }
        }
        findings
    }
}

fn fits(gpu: &Part, psu: &Part) -> Fit {
    match (gpu.number(Spec::SupplyWMin), psu.number(Spec::RatedW)) {
        (None, _) => Fit::Yes,
        (Some(_), None) => Fit::Unproven,
        (Some(least), Some(rated)) if least <= rated => Fit::Yes,
        (Some(_), Some(_)) => Fit::No,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::catalogue::SpecValue;
    use crate::fit::Gravity;
    use crate::fit::sample::{findings, gravity, part};

    #[test]
    fn a_supply_below_the_card_makers_minimum_is_refused_even_if_the_sum_fits() {
        // Pitfall C24: the sum of nominal watts fits, the card's stated minimum does not.
        let number = |spec, value| (spec, SpecValue::Number(value));
        let gpu = part(Kind::Gpu, &[number(Spec::SupplyWMin, 750)]);
        let psu = |rated| part(Kind::Psu, &[number(Spec::RatedW, rated)]);
        assert_eq!(gravity(&SupplyMinimum, &[&gpu, &psu(750)]), None);
        let found = findings(&SupplyMinimum, &[&gpu, &psu(650)]);
        assert_eq!(
            found[0].reason,
            "the maker of \"sample gpu\" asks for a supply of 750 W, \"sample psu\" gives 650 W"
        );
        assert_eq!(found[0].gravity, Gravity::Conflict);
        let silent = part(Kind::Psu, &[]);
        let found = gravity(&SupplyMinimum, &[&gpu, &silent]);
        assert_eq!(found, Some(Gravity::Unproven));
    }

    #[test]
    fn a_card_without_a_stated_minimum_leaves_it_to_the_sum() {
        let gpu = part(Kind::Gpu, &[]);
        let psu = part(Kind::Psu, &[]);
        assert_eq!(gravity(&SupplyMinimum, &[&gpu, &psu]), None);
    }
}
