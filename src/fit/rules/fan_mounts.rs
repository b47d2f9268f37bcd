//! Fans and the radiator share the case's places for fans.

use crate::catalogue::{Kind, Spec};
use crate::fit::rule::{
    Finding, Fit, FitRule, FitTerms, Form, Seat, conflict, seats_of, sum_fits, unproven,
};

pub struct FanMounts;

impl FitRule for FanMounts {
    fn id(&self) -> &str {
        "fan-mounts"
    }

    fn states(&self) -> &str {
        "The case has a place for every fan besides those that the radiator takes."
    }

    fn source(&self) -> &str {
        "common practice, no source: a radiator is named after its fans, of 120 or 140 mm each"
    }

    fn reads(&self) -> &[(Kind, Spec)] {
        &[
            (Kind::Cooler, Spec::RadiatorMm),
            (Kind::Case, Spec::FanMounts),
        ]
    }

    fn form(&self) -> Form<'_> {
        Form::Joint {
            kinds: &[Kind::Cooler, Kind::Case, Kind::Fan],
            fits: Box::new(fits),
        }
    }

    fn subjects(&self) -> &[Kind] {
        &[Kind::Case, Kind::Fan]
    }

    fn check(&self, seats: &[Seat<'_>], _terms: &FitTerms) -> Vec<Finding> {
        let fans: u32 = seats_of(seats, Kind::Fan).map(|fan| fan.quantity).sum();
        if fans == 0 {
            return Vec::new();
        }
        let radiators =
            seats_of(seats, Kind::Cooler).filter_map(|cooler| cooler.part.number(Spec::RadiatorMm));
        let taken: i64 = radiators.map(places).sum();
        let mut findings = Vec::new();
        for case in seats_of(seats, Kind::Case) {
            match case.part.number(Spec::FanMounts) {
                None => findings.push(unproven(self.id(), case.part, Spec::FanMounts)),
                Some(given) if i64::from(fans) > given - taken => {
                    let reason = format!(
                        "{fans} fans and {taken} places for the radiator are more than the {given} \
                         places of \"{}\"",
                        case.part.name
                    );
                    findings.push(conflict(self.id(), reason));
                }
                Some(_) => {}
            }
        }
        findings
    }
}

/// How many fans a radiator of this size holds: 280 and 140 are fans of 140 mm.
fn places(radiator_mm: i64) -> i64 {
    match radiator_mm % 120 {
        0 => radiator_mm / 120,
        _ => radiator_mm / 140,
    }
}

fn fits(seats: &[Seat<'_>], _terms: &FitTerms) -> Fit {
    let fans = seats_of(seats, Kind::Fan).map(|fan| i64::from(fan.quantity));
    let radiator = seats_of(seats, Kind::Cooler)
        .filter_map(|cooler| cooler.part.number(Spec::RadiatorMm))
        .map(places);
    let needs: Vec<i64> = fans.collect();
    let case = seats_of(seats, Kind::Case).next();
    match case {
        Some(case) if !needs.is_empty() => {
            let needs = needs.into_iter().chain(radiator).map(Some);
            sum_fits(needs, case.part.number(Spec::FanMounts))
        }
        _ => Fit::Yes,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::catalogue::Part;
    use crate::fit::Gravity;
    use crate::fit::sample::{gravity, number, part};

    #[test]
    fn a_place_is_used_once() {
        // Pitfall C13: a radiator and six fans.
        let case = |places| part(Kind::Case, &[(Spec::FanMounts, number(places))]);
        let radiator = |size| part(Kind::Cooler, &[(Spec::RadiatorMm, number(size))]);
        let fan = part(Kind::Fan, &[]);
        let found = |places, size| {
            let (case, cooler) = (case(places), radiator(size));
            let mut parts: Vec<&Part> = vec![&case, &cooler];
            parts.extend([&fan; 6]);
            gravity(&FanMounts, &parts)
        };
        assert_eq!(found(9, 360), None);
        assert_eq!(found(8, 360), Some(Gravity::Conflict));
        assert_eq!(found(8, 280), None);
    }
}
