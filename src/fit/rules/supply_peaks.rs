//! The supply rides out the short peaks of the graphics cards.

use crate::catalogue::{Kind, Part, Spec};
use crate::fit::rule::{Finding, FitRule, FitTerms, Form, Seat, caution, seats_of};

/// A card may rise to this multiple of its sustained power for 100 microseconds.
const CARD_PEAK: i64 = 3;

/// What a supply gives for 100 microseconds, in percent of its rating: with a 16-pin plug and more
/// than 450 W, and without (Intel ATX12VO Design Guide 2.01, table 3-3).
const PEAK_PERCENT: (i64, i64) = (200, 150);

pub struct SupplyPeaks;

impl FitRule for SupplyPeaks {
    fn id(&self) -> &str {
        "supply-peaks"
    }

    fn states(&self) -> &str {
        "The supply's short-time rating covers cards at three times their sustained power for 100 \
         microseconds."
    }

    fn source(&self) -> &str {
        "Intel ATX12VO Design Guide 2.01, table 3-3; tweaktown.com 2022, quoting Intel on cards"
    }

    fn reads(&self) -> &[(Kind, Spec)] {
        &[
            (Kind::Cpu, Spec::HeatW),
            (Kind::Gpu, Spec::BoardPowerW),
            (Kind::Psu, Spec::RatedW),
            (Kind::Psu, Spec::PciePlugs16Pin),
        ]
    }

    fn form(&self) -> Form<'_> {
        Form::Advice {
            kinds: &[Kind::Cpu, Kind::Gpu, Kind::Psu],
        }
    }

    fn subjects(&self) -> &[Kind] {
        &[Kind::Gpu, Kind::Psu]
    }

    fn check(&self, seats: &[Seat<'_>], terms: &FitTerms) -> Vec<Finding> {
        let sum = |kind, spec| -> i64 {
            let parts = seats_of(seats, kind);
            parts
                .map(|seat| seat.part.number(spec).unwrap_or(0) * i64::from(seat.quantity))
                .sum()
        };
        let cards_w = sum(Kind::Gpu, Spec::BoardPowerW);
        if cards_w == 0 {
            return Vec::new();
        }
        let peak_w = CARD_PEAK * cards_w + sum(Kind::Cpu, Spec::HeatW) + terms.rest_w;
        let supplies = seats_of(seats, Kind::Psu);
        supplies
            .filter_map(|psu| {
                let most_w = short_time_w(psu.part)?;
                (peak_w > most_w).then(|| {
                    let reason = format!(
                        "for 100 microseconds the parts may draw {peak_w} W, \"{}\" is made for \
                         {most_w} W: it may switch off under load",
                        psu.part.name
                    );
                    caution(self.id(), reason)
                })
            })
            .collect()
    }
}

/// What a supply is made to give for 100 microseconds.
fn short_time_w(psu: &Part) -> Option<i64> {
    let rated_w = psu.number(Spec::RatedW)?;
    let has_sixteen = psu.number(Spec::PciePlugs16Pin).unwrap_or(0) > 0;
    let percent = match has_sixteen && rated_w > 450 {
        true => PEAK_PERCENT.0,
        false => PEAK_PERCENT.1,
    };
    Some(rated_w * percent / 100)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::fit::sample::{findings_under, number, part};

    #[test]
    fn the_worked_system_needs_more_of_an_older_supply() {
        // 300 W card, 300 W processor, 150 W rest: 750 W of a supply made for such peaks, about
        // 1,100 W of an older one (tweaktown.com 2022, quoting Intel). Here the older needs 900 W
        // for the peak alone.
        let terms = FitTerms {
            rest_w: 150,
            ..FitTerms::default()
        };
        let cpu = part(Kind::Cpu, &[(Spec::HeatW, number(300))]);
        let card = part(Kind::Gpu, &[(Spec::BoardPowerW, number(300))]);
        let found = |rated, sixteen| {
            let specs = [
                (Spec::RatedW, number(rated)),
                (Spec::PciePlugs16Pin, number(sixteen)),
            ];
            findings_under(
                &SupplyPeaks,
                &[&cpu, &card, &part(Kind::Psu, &specs)],
                &terms,
            )
            .len()
        };
        assert_eq!(found(750, 1), 0);
        assert_eq!(found(750, 0), 1);
        assert_eq!(found(900, 0), 0);
    }
}
