//! Lights connect to a header of their own voltage.

use crate::catalogue::{Kind, Spec, names_include};
use crate::fit::rule::{Finding, Fit, FitRule, FitTerms, Form, Seat, conflict, seats_of, unproven};

pub struct FanLights;

impl FitRule for FanLights {
    fn id(&self) -> &str {
        "fan-lights"
    }

    fn states(&self) -> &str {
        "The board has a header of the voltage that the lights of fans and cooler need."
    }

    fn source(&self) -> &str {
        "common practice, no source: 12 V burns 5 V lights"
    }

    fn reads(&self) -> &[(Kind, Spec)] {
        &[
            (Kind::Board, Spec::LightHeaders),
            (Kind::Fan, Spec::Lights),
            (Kind::Cooler, Spec::Lights),
        ]
    }

    fn form(&self) -> Form<'_> {
        Form::Joint {
            kinds: &[Kind::Cooler, Kind::Board, Kind::Fan],
            fits: Box::new(fits),
        }
    }

    fn subjects(&self) -> &[Kind] {
        &[Kind::Board]
    }

    fn check(&self, seats: &[Seat<'_>], _terms: &FitTerms) -> Vec<Finding> {
        let mut findings = Vec::new();
        for board in seats_of(seats, Kind::Board) {
            for lit in seats_of(seats, Kind::Fan).chain(seats_of(seats, Kind::Cooler)) {
                let Some(volts) = lit.part.text(Spec::Lights) else {
                    continue;
                };
                match board.part.texts(Spec::LightHeaders) {
                    None => findings.push(unproven(self.id(), board.part, Spec::LightHeaders)),
                    Some(headers) if !names_include(headers, volts) => {
                        let reason = format!(
                            "the {volts} lights of \"{}\" have no {volts} header on \"{}\"; another \
                             voltage destroys them",
                            lit.part.name, board.part.name
                        );
                        findings.push(conflict(self.id(), reason));
                    }
                    Some(_) => {}
                }
            }
        }
        findings
    }
}

fn fits(seats: &[Seat<'_>], _terms: &FitTerms) -> Fit {
    let headers = seats_of(seats, Kind::Board)
        .next()
        .map(|board| board.part.texts(Spec::LightHeaders));
    let words = seats.iter().filter_map(|seat| {
        let volts = seat.part.text(Spec::Lights)?;
        Some(match headers? {
            None => Fit::Unproven,
            Some(headers) if names_include(headers, volts) => Fit::Yes,
            Some(_) => Fit::No,
        })
    });
    words.max().unwrap_or(Fit::Yes)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::fit::Gravity;
    use crate::fit::sample::{gravity, part, text, texts};

    #[test]
    fn twelve_volt_lights_do_not_go_on_a_five_volt_header() {
        // Pitfall C35.
        let board = |headers: &[&str]| part(Kind::Board, &[(Spec::LightHeaders, texts(headers))]);
        let fan = |volts| part(Kind::Fan, &[(Spec::Lights, text(volts))]);
        let found = |headers: &[&str], volts| gravity(&FanLights, &[&board(headers), &fan(volts)]);
        assert_eq!(found(&["5 V"], "12 V"), Some(Gravity::Conflict));
        assert_eq!(found(&["5 V", "12 V"], "12V"), None);
        assert_eq!(
            gravity(&FanLights, &[&board(&[]), &part(Kind::Fan, &[])]),
            None
        );
    }
}
