//! The case takes the power supply's form factor.

use crate::catalogue::{Kind, Part, Spec, names_include};
use crate::fit::rule::{
    Finding, Fit, FitRule, FitTerms, Form, Seat, conflict, seat_pairs, unproven,
};

pub struct SupplyForm;

impl FitRule for SupplyForm {
    fn id(&self) -> &'static str {
        "supply-form"
    }

    fn states(&self) -> &'static str {
        "The case has an opening for the power supply's form factor."
    }

    fn source(&self) -> &'static str {
        "ATX and SFX differ in width and height: vpsmate.net; yijianpower.com"
    }

    fn reads(&self) -> &'static [(Kind, Spec)] {
        &[
            (Kind::Psu, Spec::FormFactor),
            (Kind::Case, Spec::PsuFormFactors),
        ]
    }

    fn form(&self) -> Form {
        Form::Pairs {
            left: Kind::Psu,
            right: Kind::Case,
            fits,
        }
    }

    fn check(&self, seats: &[Seat<'_>], _terms: &FitTerms) -> Vec<Finding> {
        let mut findings = Vec::new();
        for (psu, case) in seat_pairs(seats, Kind::Psu, Kind::Case) {
            match (
                psu.part.text(Spec::FormFactor),
                case.part.texts(Spec::PsuFormFactors),
            ) {
                (Some(form), Some(openings)) if !names_include(openings, form) => {
                    let reason = format!(
                        "the case \"{}\" takes {} supplies, \"{}\" is {form}",
                        case.part.name,
                        openings.join(", "),
                        psu.part.name
                    );
                    findings.push(conflict(self.id(), reason));
                }
                (Some(_), Some(_)) => {}
                (None, _) => findings.push(unproven(self.id(), psu.part, Spec::FormFactor)),
                (_, None) => findings.push(unproven(self.id(), case.part, Spec::PsuFormFactors)),
            }
        }
        findings
    }
}

fn fits(psu: &Part, case: &Part) -> Fit {
    let openings = psu
        .text(Spec::FormFactor)
        .zip(case.texts(Spec::PsuFormFactors));
    match openings.map(|(form, openings)| names_include(openings, form)) {
        Some(true) => Fit::Yes,
        Some(false) => Fit::No,
        None => Fit::Unproven,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::fit::Gravity;
    use crate::fit::sample::{gravity, part, text, texts};

    #[test]
    fn an_atx_supply_does_not_go_into_an_sfx_case() {
        // Pitfalls C19 and C42: other openings are other hole patterns.
        let psu = |form: &str| part(Kind::Psu, &[(Spec::FormFactor, text(form))]);
        let case = part(
            Kind::Case,
            &[(Spec::PsuFormFactors, texts(&["SFX", "SFX-L"]))],
        );
        assert_eq!(gravity(&SupplyForm, &[&psu("SFX"), &case]), None);
        for form in ["ATX", "TFX", "Flex ATX"] {
            assert_eq!(
                gravity(&SupplyForm, &[&psu(form), &case]),
                Some(Gravity::Conflict)
            );
        }
    }
}
