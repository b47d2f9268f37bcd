//! The case takes the power supply's form factor.

use crate::catalogue::{Kind, Part, Spec, names_include, same_name};
use crate::fit::rule::{
    Finding, Fit, FitRule, FitTerms, Form, Seat, caution, conflict, seat_pairs, unproven,
};

pub struct SupplyForm;

impl FitRule for SupplyForm {
    fn id(&self) -> &str {
        "supply-form"
    }

    fn states(&self) -> &str {
        "The case has an opening for the power supply's form factor; SFX goes into an ATX opening \
         with a bracket."
    }

    fn source(&self) -> &str {
        "ATX and SFX differ in width and height: vpsmate.net; SFX in ATX by bracket: yijianpower.com"
    }

    fn reads(&self) -> &[(Kind, Spec)] {
        &[
            (Kind::Psu, Spec::FormFactor),
            (Kind::Case, Spec::PsuFormFactors),
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
        let mut findings = Vec::new();
        for (psu, case) in seat_pairs(seats, Kind::Psu, Kind::Case) {
            match (
                psu.part.text(Spec::FormFactor),
                case.part.texts(Spec::PsuFormFactors),
            ) {
                (Some(form), Some(openings)) if names_include(openings, form) => {}
                (Some(form), Some(openings)) if goes_by_bracket(form, openings) => {
                    let reason = format!(
                        "\"{}\" needs a bracket from {form} to ATX; add its price where none is in \
                         the box",
                        psu.part.name
                    );
                    findings.push(caution(self.id(), reason));
                }
                (Some(form), Some(openings)) => {
                    let reason = format!(
                        "the case \"{}\" takes {} supplies, \"{}\" is {form}",
                        case.part.name,
                        openings.join(", "),
                        psu.part.name
                    );
                    findings.push(conflict(self.id(), reason));
                }
                (None, _) => findings.push(unproven(self.id(), psu.part, Spec::FormFactor)),
                (_, None) => findings.push(unproven(self.id(), case.part, Spec::PsuFormFactors)),
            }
        }
        findings
    }
}

/// SFX and SFX-L go into an ATX opening with a bracket; TFX and Flex ATX have other holes.
fn goes_by_bracket(form: &str, openings: &[String]) -> bool {
    ["SFX", "SFX-L"].iter().any(|small| same_name(small, form)) && names_include(openings, "ATX")
}

fn fits(psu: &Part, case: &Part) -> Fit {
    let (Some(form), Some(openings)) =
        (psu.text(Spec::FormFactor), case.texts(Spec::PsuFormFactors))
    else {
        return Fit::Unproven;
    };
    // An ATX opening holds what is made for it and, behind a bracket, the two smaller forms whose
    // holes a bracket meets.
    let held = openings
        .iter()
        .any(|opening| match same_name(opening, "ATX") {
            true => ["ATX", "SFX", "SFX-L"]
                .iter()
                .any(|held| same_name(held, form)),
            false => same_name(opening, form),
        });
    if held { Fit::Yes } else { Fit::No }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::fit::Gravity;
    use crate::fit::sample::{gravity, part, text, texts};

    #[test]
    fn a_small_supply_goes_into_an_atx_opening_with_a_bracket() {
        // Pitfalls C19 and C42.
        let psu = |form: &str| part(Kind::Psu, &[(Spec::FormFactor, text(form))]);
        let case = part(Kind::Case, &[(Spec::PsuFormFactors, texts(&["ATX"]))]);
        for (form, expected) in [
            ("ATX", None),
            ("SFX", Some(Gravity::Caution)),
            ("SFX-L", Some(Gravity::Caution)),
            ("TFX", Some(Gravity::Conflict)),
            ("Flex ATX", Some(Gravity::Conflict)),
        ] {
            assert_eq!(
                gravity(&SupplyForm, &[&psu(form), &case]),
                expected,
                "{form}"
            );
        }
    }

    #[test]
    fn an_atx_supply_does_not_go_into_an_sfx_case() {
        // Pitfalls C19 and C42: other openings are other hole patterns.
        let psu = |form: &str| part(Kind::Psu, &[(Spec::FormFactor, text(form))]);
        let case = part(Kind::Case, &[(Spec::PsuFormFactors, texts(&["SFX"]))]);
        assert_eq!(gravity(&SupplyForm, &[&psu("SFX"), &case]), None);
        // 30 mm longer than SFX (modders-inc.com): "SFX" does not promise it.
        assert_eq!(
            gravity(&SupplyForm, &[&psu("SFX-L"), &case]),
            Some(Gravity::Conflict)
        );
        for form in ["ATX", "TFX", "Flex ATX"] {
            assert_eq!(
                gravity(&SupplyForm, &[&psu(form), &case]),
                Some(Gravity::Conflict)
            );
        }
    }
}
