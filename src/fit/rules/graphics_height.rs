//! The graphics card and its plug stay clear of the side panel.

use crate::catalogue::{Kind, Part, Spec};
use crate::fit::rule::{
    Finding, Fit, FitRule, FitTerms, Form, Seat, caution, check_at_most, seat_pairs,
};

/// What a cable needs to bend behind its plug, in millimetres: common practice, no source.
const BEND_MM: i64 = 35;

pub struct GraphicsHeight;

impl FitRule for GraphicsHeight {
    fn id(&self) -> &str {
        "graphics-height"
    }

    fn states(&self) -> &str {
        "The graphics card is no higher than the room to the side panel; 35 mm more let its cable \
         bend."
    }

    fn source(&self) -> &str {
        "common practice, no source: bend the cable no closer than 35 mm to the plug"
    }

    fn reads(&self) -> &[(Kind, Spec)] {
        &[
            (Kind::Gpu, Spec::HeightMm),
            (Kind::Case, Spec::GpuHeightMmMax),
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
        let needed = (Kind::Gpu, Spec::HeightMm);
        let allowed = (Kind::Case, Spec::GpuHeightMmMax);
        let too_high = |height: i64, room: i64, case: &Part| {
            format!(
                "the card is {height} mm high, \"{}\" has room for {room} mm",
                case.name
            )
        };
        let mut findings = check_at_most(self.id(), seats, needed, allowed, too_high);
        for (card, case) in seat_pairs(seats, Kind::Gpu, Kind::Case) {
            let known = card
                .part
                .number(Spec::HeightMm)
                .zip(case.part.number(Spec::GpuHeightMmMax));
            let Some((height, room)) = known.filter(|(height, room)| height <= room) else {
                continue;
            };
            if height + BEND_MM > room {
                let reason = format!(
                    "{} mm between card and side panel of \"{}\" are little for a plug whose cable \
                     needs {BEND_MM} mm to bend",
                    room - height,
                    case.part.name
                );
                findings.push(caution(self.id(), reason));
            }
        }
        findings
    }
}

fn fits(card: &Part, case: &Part) -> Fit {
    match (
        card.number(Spec::HeightMm),
        case.number(Spec::GpuHeightMmMax),
    ) {
        (Some(height), Some(room)) if height > room => Fit::No,
        (Some(_), Some(_)) => Fit::Yes,
        _ => Fit::Unproven,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::fit::Gravity;
    use crate::fit::sample::{findings, gravity, number, part};

    #[test]
    fn the_plug_needs_room_to_bend() {
        // Pitfall C17: card 140 mm wide and 35 mm of plug, 165 mm to the panel.
        let card = |height| part(Kind::Gpu, &[(Spec::HeightMm, number(height))]);
        let case = part(Kind::Case, &[(Spec::GpuHeightMmMax, number(165))]);
        assert_eq!(gravity(&GraphicsHeight, &[&card(130), &case]), None);
        let found = findings(&GraphicsHeight, &[&card(140), &case]);
        assert_eq!(found[0].gravity, Gravity::Caution);
        assert!(
            found[0]
                .reason
                .starts_with("25 mm between card and side panel")
        );
        assert_eq!(
            gravity(&GraphicsHeight, &[&card(166), &case]),
            Some(Gravity::Conflict)
        );
    }
}
