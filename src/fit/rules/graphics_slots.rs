//! The graphics cards find slots in the case.

use crate::catalogue::{Kind, Part, Spec};
use crate::fit::rule::{Finding, FitRule, FitTerms, Form, Seat, Share, check_sum_at_most};

pub struct GraphicsSlots;

impl FitRule for GraphicsSlots {
    fn id(&self) -> &str {
        "graphics-slots"
    }

    fn states(&self) -> &str {
        "The graphics cards together cover no more slots than the case has."
    }

    fn source(&self) -> &str {
        "slots of the form factors: microATX Motherboard Interface Specification 1.2; pctechguide"
    }

    fn reads(&self) -> &[(Kind, Spec)] {
        &[
            (Kind::Gpu, Spec::SlotsOccupied),
            (Kind::Case, Spec::ExpansionSlots),
        ]
    }

    fn form(&self) -> Form<'_> {
        Form::Balance {
            kinds: &[Kind::Gpu, Kind::Case],
            giver: Some(Kind::Case),
            share: Box::new(share),
            at_most: Box::new(|_| 0),
        }
    }

    fn check(&self, seats: &[Seat<'_>], _terms: &FitTerms) -> Vec<Finding> {
        let needed = (Kind::Gpu, Spec::SlotsOccupied);
        let allowed = (Kind::Case, Spec::ExpansionSlots);
        check_sum_at_most(
            self.id(),
            seats,
            needed,
            allowed,
            |needed, allowed, case| {
                format!(
                    "graphics that cover {needed} slots do not fit the {allowed} of the case \"{}\"",
                    case.name
                )
            },
        )
    }
}

fn share(part: &Part, _terms: &FitTerms) -> Share {
    match part.kind {
        Kind::Gpu => Share::need(part.number(Spec::SlotsOccupied)),
        _ => Share::gift(part.number(Spec::ExpansionSlots)),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::catalogue::SpecValue;
    use crate::fit::Gravity;
    use crate::fit::sample::{findings, gravity, part};

    #[test]
    fn cards_cover_whole_slots_and_count_together() {
        // Pitfall C16: a card of 3.2 slots is stated as 4, because thickness rounds up.
        let card = |slots| {
            part(
                Kind::Gpu,
                &[(Spec::SlotsOccupied, SpecValue::Number(slots))],
            )
        };
        let case = |slots| {
            part(
                Kind::Case,
                &[(Spec::ExpansionSlots, SpecValue::Number(slots))],
            )
        };
        assert_eq!(gravity(&GraphicsSlots, &[&card(4), &case(4)]), None);
        assert_eq!(
            gravity(&GraphicsSlots, &[&card(2), &card(2), &case(4)]),
            None
        );
        let found = findings(&GraphicsSlots, &[&card(4), &card(2), &case(4)]);
        assert_eq!(
            found[0].reason,
            "graphics that cover 6 slots do not fit the 4 of the case \"sample case\""
        );
        assert_eq!(found[0].gravity, Gravity::Conflict);
    }
}
