//! The power supply is rated for the load and the headroom above it.

use crate::catalogue::{Kind, Part, Spec};
use crate::fit::power::needed_w;
use crate::fit::rule::{
    Finding, FitRule, FitTerms, Form, Seat, Share, conflict, seats_of, unproven,
};

/// Kinds that draw power from the supply.
const CONSUMERS: &[Kind] = &[
    Kind::Cpu,
    Kind::Gpu,
    Kind::Board,
    Kind::Memory,
    Kind::Storage,
    Kind::Cooler,
    Kind::Fan,
    Kind::Network,
];

pub struct SupplyPower;

impl FitRule for SupplyPower {
    fn id(&self) -> &str {
        "supply-power"
    }

    fn states(&self) -> &str {
        "The supply's rating is at least the sustained load, the brief's reserve and its headroom."
    }

    fn source(&self) -> &str {
        "common practice, no source: sustained power plus 50 to 100 W, then 20 to 40 % more"
    }

    fn reads(&self) -> &[(Kind, Spec)] {
        &[
            (Kind::Cpu, Spec::HeatW),
            (Kind::Gpu, Spec::BoardPowerW),
            (Kind::Board, Spec::LoadW),
            (Kind::Memory, Spec::LoadW),
            (Kind::Storage, Spec::LoadW),
            (Kind::Cooler, Spec::LoadW),
            (Kind::Fan, Spec::LoadW),
            (Kind::Network, Spec::LoadW),
            (Kind::Psu, Spec::RatedW),
        ]
    }

    fn form(&self) -> Form<'_> {
        Form::Balance {
            kinds: &[
                Kind::Cpu,
                Kind::Gpu,
                Kind::Board,
                Kind::Memory,
                Kind::Storage,
                Kind::Cooler,
                Kind::Fan,
                Kind::Network,
                Kind::Psu,
            ],
            giver: Some(Kind::Psu),
            share: Box::new(share),
            at_most: Box::new(|terms| {
                -(terms.rest_w + terms.reserve_w) * (100 + terms.headroom_percent)
            }),
        }
    }

    fn check(&self, seats: &[Seat<'_>], terms: &FitTerms) -> Vec<Finding> {
        let mut findings = Vec::new();
        if seats_of(seats, Kind::Psu).next().is_none() {
            return findings;
        }
        let mut load_w = terms.rest_w + terms.reserve_w;
        for seat in seats
            .iter()
            .filter(|seat| CONSUMERS.contains(&seat.part.kind))
        {
            let spec = draw_spec(seat.part.kind);
            match seat.part.number(spec) {
                Some(draw_w) => load_w += draw_w * i64::from(seat.quantity),
                // Small consumers without a figure are covered by `rest_w`.
                None if spec == Spec::LoadW => {}
                None => findings.push(unproven(self.id(), seat.part, spec)),
            }
        }
        for psu in seats_of(seats, Kind::Psu) {
            let Some(rated_w) = psu.part.number(Spec::RatedW) else {
                findings.push(unproven(self.id(), psu.part, Spec::RatedW));
                continue;
            };
            let needed_w = needed_w(load_w, terms);
            if rated_w < needed_w {
                let reason = format!(
                    "{load_w} W of load and {} % headroom need {needed_w} W, \"{}\" gives \
                     {rated_w} W",
                    terms.headroom_percent, psu.part.name
                );
                findings.push(conflict(self.id(), reason));
            }
        }
        findings
    }
}

/// The spec that states what a part of this kind draws.
pub fn draw_spec(kind: Kind) -> Spec {
    match kind {
        Kind::Cpu => Spec::HeatW,
        Kind::Gpu => Spec::BoardPowerW,
        _ => Spec::LoadW,
    }
}

/// In hundredths of a watt, so that the headroom's percentage stays whole.
fn share(part: &Part, terms: &FitTerms) -> Share {
    if part.kind == Kind::Psu {
        return Share::gift(part.number(Spec::RatedW).map(|rated_w| 100 * rated_w));
    }
    let spec = draw_spec(part.kind);
    let draw_w = match spec {
        // Small consumers without a figure are covered by `rest_w`.
        Spec::LoadW => Some(part.number(spec).unwrap_or(0)),
        _ => part.number(spec),
    };
    Share::need(draw_w.map(|draw_w| draw_w * (100 + terms.headroom_percent)))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::catalogue::SpecValue;
    use crate::fit::sample::{findings_under, part};

    #[test]
    fn the_worked_system_of_750_w_passes_and_a_smaller_supply_does_not() {
        // 300 W card + 300 W processor + 150 W rest = 750 W supply (tweaktown.com 2022, quoting
        // Intel): no headroom on top.
        let terms = FitTerms {
            headroom_percent: 0,
            rest_w: 150,
            ..FitTerms::default()
        };
        let cpu = part(Kind::Cpu, &[(Spec::HeatW, SpecValue::Number(300))]);
        let gpu = part(Kind::Gpu, &[(Spec::BoardPowerW, SpecValue::Number(300))]);
        let psu = |rated| part(Kind::Psu, &[(Spec::RatedW, SpecValue::Number(rated))]);
        assert_eq!(
            findings_under(&SupplyPower, &[&cpu, &gpu, &psu(750)], &terms),
            []
        );
        let found = findings_under(&SupplyPower, &[&cpu, &gpu, &psu(749)], &terms);
        assert_eq!(
            found[0].reason,
            "750 W of load and 0 % headroom need 750 W, \"sample psu\" gives 749 W"
        );
    }

    #[test]
    fn headroom_rounds_up_to_whole_watts() {
        let terms = FitTerms {
            headroom_percent: 33,
            rest_w: 1,
            ..FitTerms::default()
        };
        let psu = |rated| part(Kind::Psu, &[(Spec::RatedW, SpecValue::Number(rated))]);
        // 1 W x 1.33 = 1.33 W.
        assert_eq!(findings_under(&SupplyPower, &[&psu(1)], &terms).len(), 1);
        assert_eq!(findings_under(&SupplyPower, &[&psu(2)], &terms), []);
    }
}
