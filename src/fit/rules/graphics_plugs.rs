//! The supply has the plugs that the graphics cards need.

use crate::catalogue::{Kind, Part, Spec};
use crate::fit::rule::{
    Finding, Fit, FitRule, FitTerms, Form, Gravity, Seat, caution, conflict, seats_of,
};

/// What a card may draw from its slot (from memory; agrees with the published sums of slot and
/// plugs: slot + 8 + 8 = 375 W).
const SLOT_W: i64 = 75;

/// What an 8-pin plug carries: Intel ATX12VO Design Guide 2.01, section 3.2.
const PLUG_W: i64 = 150;

/// What a cable with two 8-pin plugs carries.
const CABLE_W: i64 = 2 * PLUG_W;

/// What a 16-pin plug carries at most: Intel ATX Version 3 guide 2.1a, SENSE0 and SENSE1.
const SIXTEEN_W: i64 = 600;

pub struct GraphicsPlugs;

impl FitRule for GraphicsPlugs {
    fn id(&self) -> &str {
        "graphics-plugs"
    }

    fn states(&self) -> &str {
        "The supply has the PCIe plugs that the cards need, or plugs for the adapter that comes \
         with a card, and they carry the card's power."
    }

    fn source(&self) -> &str {
        "watts per plug: Intel ATX12VO Design Guide 2.01, 3.2; Intel ATX Version 3 guide 2.1a"
    }

    fn reads(&self) -> &[(Kind, Spec)] {
        &[
            (Kind::Gpu, Spec::BoardPowerW),
            (Kind::Gpu, Spec::PciePlugs6Pin),
            (Kind::Gpu, Spec::PciePlugs8Pin),
            (Kind::Gpu, Spec::PciePlugs16Pin),
            (Kind::Gpu, Spec::Adapter8Pins),
            (Kind::Psu, Spec::PciePlugs8Pin),
            (Kind::Psu, Spec::PciePlugs16Pin),
            (Kind::Psu, Spec::Plug16PinW),
            (Kind::Psu, Spec::PcieCables),
        ]
    }

    fn form(&self) -> Form<'_> {
        Form::Joint {
            kinds: &[Kind::Gpu, Kind::Psu],
            fits: Box::new(fits),
        }
    }

    fn subjects(&self) -> &[Kind] {
        &[Kind::Gpu, Kind::Psu]
    }

    fn check(&self, seats: &[Seat<'_>], _terms: &FitTerms) -> Vec<Finding> {
        let mut findings = Vec::new();
        for psu in seats_of(seats, Kind::Psu) {
            self.check_supply(seats, psu.part, &mut findings);
        }
        findings
    }
}

impl GraphicsPlugs {
    fn check_supply(&self, seats: &[Seat<'_>], psu: &Part, findings: &mut Vec<Finding>) {
        let (mut eights, mut plugs_w) = (0, 0);
        let mut sixteens_left = psu.number(Spec::PciePlugs16Pin).unwrap_or(0);
        for card in seats_of(seats, Kind::Gpu) {
            for _ in 0..card.quantity {
                let Some(plugs) = Plugs::of(card.part) else {
                    findings.push(self.unknown(card.part, "PCIe plugs"));
                    break;
                };
                eights += plugs.eights;
                if plugs.eights > 0 {
                    plugs_w += card.part.number(Spec::BoardPowerW).unwrap_or(0) - SLOT_W;
                }
                for _ in 0..plugs.sixteens {
                    match sixteens_left {
                        0 => eights += self.check_adapter(card.part, psu, findings),
                        _ => {
                            sixteens_left -= 1;
                            findings.extend(self.check_sixteen(card.part, plugs.sixteens, psu));
                        }
                    }
                }
            }
        }
        if eights > 0 {
            self.check_eights(eights, plugs_w, psu, findings);
        }
    }

    /// Judges a 16-pin plug of the supply.
    fn check_sixteen(&self, card: &Part, sixteens: i64, psu: &Part) -> Option<Finding> {
        let (Some(draw_w), Some(rated_w)) =
            (card.number(Spec::BoardPowerW), psu.number(Spec::Plug16PinW))
        else {
            return Some(self.unknown(psu, "rating of its 16-pin plugs, or power of the card,"));
        };
        (draw_w > SLOT_W + sixteens * rated_w).then(|| {
            let reason = format!(
                "the 16-pin plug of \"{}\" is rated {rated_w} W, too little for the {draw_w} W of \
                 \"{}\"",
                psu.name, card.name
            );
            conflict(self.id(), reason)
        })
    }

    /// Judges the adapter in the card's box; returns the 8-pin plugs that it takes.
    fn check_adapter(&self, card: &Part, psu: &Part, findings: &mut Vec<Finding>) -> i64 {
        let Some(taken) = card.number(Spec::Adapter8Pins).filter(|taken| *taken > 0) else {
            let reason = format!(
                "\"{}\" needs a 16-pin plug that \"{}\" does not have, and no adapter is known",
                card.name, psu.name
            );
            findings.push(Finding {
                gravity: match card.number(Spec::Adapter8Pins) {
                    Some(_) => Gravity::Conflict,
                    None => Gravity::Unproven,
                },
                ..conflict(self.id(), reason)
            });
            return 0;
        };
        let rated_w = (taken * PLUG_W).min(SIXTEEN_W);
        match card.number(Spec::BoardPowerW) {
            None => findings.push(self.unknown(card, "power")),
            Some(draw_w) if draw_w > SLOT_W + rated_w => {
                let reason = format!(
                    "the adapter of \"{}\" with {taken} 8-pin plugs carries {rated_w} W, the card \
                     draws {draw_w} W",
                    card.name
                );
                findings.push(conflict(self.id(), reason));
            }
            Some(_) => {
                let reason = format!(
                    "\"{}\" runs on its adapter with {taken} 8-pin plugs: push every plug fully home",
                    card.name
                );
                findings.push(caution(self.id(), reason));
            }
        }
        taken
    }

    fn check_eights(&self, eights: i64, plugs_w: i64, psu: &Part, findings: &mut Vec<Finding>) {
        let Some(given) = psu.number(Spec::PciePlugs8Pin) else {
            findings.push(self.unknown(psu, "8-pin PCIe plugs"));
            return;
        };
        if eights > given {
            let reason = format!(
                "the cards need {eights} 8-pin PCIe plugs, \"{}\" has {given}",
                psu.name
            );
            findings.push(conflict(self.id(), reason));
            return;
        }
        let Some(cables) = psu
            .number(Spec::PcieCables)
            .filter(|cables| *cables < eights)
        else {
            return;
        };
        if plugs_w > cables * CABLE_W {
            let reason = format!(
                "{plugs_w} W through {cables} PCIe cables of \"{}\" is more than {CABLE_W} W each",
                psu.name
            );
            findings.push(conflict(self.id(), reason));
        } else {
            let reason = format!(
                "{eights} plugs hang on {cables} PCIe cables of \"{}\": two plugs share a cable",
                psu.name
            );
            findings.push(caution(self.id(), reason));
        }
    }

    fn unknown(&self, part: &Part, what: &str) -> Finding {
        Finding {
            gravity: Gravity::Unproven,
            ..conflict(
                self.id(),
                format!("the {what} of \"{}\" are not in the catalogue", part.name),
            )
        }
    }
}

/// What a card needs; a 6-pin plug is an 8-pin plug with two pins to spare.
struct Plugs {
    eights: i64,
    sixteens: i64,
}

impl Plugs {
    /// `None` when the catalogue says nothing of any plug.
    fn of(card: &Part) -> Option<Plugs> {
        let specs = [
            Spec::PciePlugs6Pin,
            Spec::PciePlugs8Pin,
            Spec::PciePlugs16Pin,
        ];
        let [six, eight, sixteen] = specs.map(|spec| card.number(spec));
        let sixteens = sixteen.unwrap_or(0);
        six.or(eight).or(sixteen).map(|_| Plugs {
            eights: six.unwrap_or(0) + eight.unwrap_or(0),
            sixteens,
        })
    }
}

fn fits(seats: &[Seat<'_>], _terms: &FitTerms) -> Fit {
    let Some(psu) = seats_of(seats, Kind::Psu).next().map(|seat| seat.part) else {
        return Fit::Yes;
    };
    let power = |card: &Part| card.number(Spec::BoardPowerW);
    let cards =
        seats_of(seats, Kind::Gpu).flat_map(|seat| (0..seat.quantity).map(move |_| seat.part));
    let (mut worst, mut eights, mut plugs_w) = (Fit::Yes, 0, 0);
    let mut natives = psu.number(Spec::PciePlugs16Pin).unwrap_or(0);
    for card in cards {
        let count = |spec| card.number(spec);
        let (six, eight) = (count(Spec::PciePlugs6Pin), count(Spec::PciePlugs8Pin));
        let sixteen = count(Spec::PciePlugs16Pin);
        if six.is_none() && eight.is_none() && sixteen.is_none() {
            worst = worst.max(Fit::Unproven);
            continue;
        }
        let plain = six.unwrap_or(0) + eight.unwrap_or(0);
        eights += plain;
        plugs_w += if plain > 0 {
            power(card).unwrap_or(0) - SLOT_W
        } else {
            0
        };
        let sixteen = sixteen.unwrap_or(0);
        let native = sixteen.min(natives);
        natives -= native;
        let carries = |watts: Option<i64>| match (power(card), watts) {
            (Some(draw_w), Some(watts)) if draw_w - SLOT_W > watts => Fit::No,
            (Some(_), Some(_)) => Fit::Yes,
            _ => Fit::Unproven,
        };
        if native > 0 {
            worst = worst.max(carries(
                psu.number(Spec::Plug16PinW).map(|each| each * sixteen),
            ));
        }
        if sixteen > native {
            worst = worst.max(match card.number(Spec::Adapter8Pins) {
                None => Fit::Unproven,
                Some(..=0) => Fit::No,
                Some(taken) => {
                    eights += taken * (sixteen - native);
                    carries(Some((taken * PLUG_W).min(SIXTEEN_W)))
                }
            });
        }
    }
    if eights == 0 {
        return worst;
    }
    let cables = psu
        .number(Spec::PcieCables)
        .filter(|cables| *cables < eights);
    worst.max(match psu.number(Spec::PciePlugs8Pin) {
        None => Fit::Unproven,
        Some(given) if given < eights => Fit::No,
        Some(_) if cables.is_some_and(|cables| plugs_w > cables * CABLE_W) => Fit::No,
        Some(_) => Fit::Yes,
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::catalogue::SpecValue;
    use crate::fit::sample::{findings, gravity, number, part};

    fn psu(specs: &[(Spec, SpecValue)]) -> Part {
        part(Kind::Psu, specs)
    }

    #[test]
    fn plugs_and_cables_are_counted_apart() {
        // Pitfall C22: three 8-pin plugs on two cables with two plugs each.
        let card = |watts| {
            part(
                Kind::Gpu,
                &[
                    (Spec::PciePlugs8Pin, number(3)),
                    (Spec::BoardPowerW, number(watts)),
                ],
            )
        };
        let supply = |plugs, cables| {
            psu(&[
                (Spec::PciePlugs8Pin, number(plugs)),
                (Spec::PcieCables, number(cables)),
            ])
        };
        let found =
            |watts, plugs, cables| gravity(&GraphicsPlugs, &[&card(watts), &supply(plugs, cables)]);
        assert_eq!(found(420, 4, 4), None);
        assert_eq!(found(420, 4, 2), Some(Gravity::Caution));
        assert_eq!(found(420, 2, 2), Some(Gravity::Conflict));
        assert_eq!(found(420, 4, 1), Some(Gravity::Conflict));
        // Pitfall C21: a processor plug is none.
        let eps = psu(&[
            (Spec::CpuPlugs8Pin, number(3)),
            (Spec::PciePlugs8Pin, number(0)),
        ]);
        assert_eq!(
            gravity(&GraphicsPlugs, &[&card(300), &eps]),
            Some(Gravity::Conflict)
        );
    }

    #[test]
    fn a_sixteen_pin_card_needs_the_plug_or_its_adapter_and_their_rating() {
        // Pitfall C23.
        let card = |watts, adapter| {
            let specs = [
                (Spec::PciePlugs16Pin, number(1)),
                (Spec::BoardPowerW, number(watts)),
                (Spec::Adapter8Pins, number(adapter)),
            ];
            part(Kind::Gpu, &specs)
        };
        let native = |rated| {
            psu(&[
                (Spec::PciePlugs16Pin, number(1)),
                (Spec::Plug16PinW, number(rated)),
            ])
        };
        assert_eq!(
            gravity(&GraphicsPlugs, &[&card(450, 0), &native(600)]),
            None
        );
        let found = findings(&GraphicsPlugs, &[&card(450, 0), &native(300)]);
        assert!(
            found[0]
                .reason
                .contains("rated 300 W, too little for the 450 W")
        );
        let old = |plugs| psu(&[(Spec::PciePlugs8Pin, number(plugs))]);
        let on_adapter =
            |watts, adapter, plugs| gravity(&GraphicsPlugs, &[&card(watts, adapter), &old(plugs)]);
        assert_eq!(on_adapter(450, 3, 3), Some(Gravity::Caution));
        assert_eq!(on_adapter(450, 3, 2), Some(Gravity::Conflict));
        assert_eq!(on_adapter(450, 2, 4), Some(Gravity::Conflict));
        assert_eq!(on_adapter(450, 0, 4), Some(Gravity::Conflict));
    }

    #[test]
    fn a_card_without_a_plug_needs_none() {
        // Pitfall C43: 75 W from the slot.
        let card = part(
            Kind::Gpu,
            &[
                (Spec::PciePlugs8Pin, number(0)),
                (Spec::BoardPowerW, number(75)),
            ],
        );
        assert_eq!(gravity(&GraphicsPlugs, &[&card, &psu(&[])]), None);
    }
}
