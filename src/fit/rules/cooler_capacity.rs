//! The cooler carries off at least the processor's sustained heat.

use crate::catalogue::{Kind, Part, Spec};
use crate::fit::rule::{
    Finding, Fit, FitRule, FitTerms, Form, Seat, caution, check_at_most, seat_pairs,
};

pub struct CoolerCapacity;

impl FitRule for CoolerCapacity {
    fn id(&self) -> &str {
        "cooler-capacity"
    }

    fn states(&self) -> &str {
        "The cooler carries off at least the processor's sustained heat; less than its turbo power \
         means less turbo."
    }

    fn source(&self) -> &str {
        "common practice, no source"
    }

    fn reads(&self) -> &[(Kind, Spec)] {
        &[
            (Kind::Cpu, Spec::HeatW),
            (Kind::Cpu, Spec::TurboW),
            (Kind::Cooler, Spec::CoolingW),
        ]
    }

    fn form(&self) -> Form<'_> {
        Form::Pairs {
            left: Kind::Cpu,
            right: Kind::Cooler,
            fits: Box::new(fits),
        }
    }

    fn check(&self, seats: &[Seat<'_>], _terms: &FitTerms) -> Vec<Finding> {
        let needed = (Kind::Cpu, Spec::HeatW);
        let allowed = (Kind::Cooler, Spec::CoolingW);
        let too_weak = |needed: i64, allowed: i64, cooler: &Part| {
            format!(
                "the processor gives off {needed} W, the cooler \"{}\" carries off {allowed} W",
                cooler.name
            )
        };
        let mut findings = check_at_most(self.id(), seats, needed, allowed, too_weak);
        for (cpu, cooler) in seat_pairs(seats, Kind::Cpu, Kind::Cooler) {
            let heat_w = cpu.part.number(Spec::HeatW);
            let turbo_w = cpu.part.number(Spec::TurboW);
            let (Some(heat_w), Some(turbo_w), Some(carried_w)) =
                (heat_w, turbo_w, cooler.part.number(Spec::CoolingW))
            else {
                continue;
            };
            if heat_w <= carried_w && carried_w < turbo_w {
                let reason = format!(
                    "\"{}\" carries off {carried_w} W of the {turbo_w} W that \"{}\" draws under \
                     turbo: it will run slower there",
                    cooler.part.name, cpu.part.name
                );
                findings.push(caution(self.id(), reason));
            }
        }
        findings
    }
}

fn fits(cpu: &Part, cooler: &Part) -> Fit {
    let surplus = cooler
        .number(Spec::CoolingW)
        .zip(cpu.number(Spec::HeatW))
        .map(|(available, needed)| available - needed);
    match surplus {
        Some(0..) => Fit::Yes,
        Some(_) => Fit::No,
        None => Fit::Unproven,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::catalogue::SpecValue;
    use crate::fit::Gravity;
    use crate::fit::sample::{findings, gravity, part};

    #[test]
    fn a_cooler_must_carry_off_the_sustained_heat() {
        // Rated heat at or above sustained turbo power: common practice, no source.
        let cooler = part(Kind::Cooler, &[(Spec::CoolingW, SpecValue::Number(150))]);
        let cpu = |needed| part(Kind::Cpu, &[(Spec::HeatW, SpecValue::Number(needed))]);
        assert_eq!(gravity(&CoolerCapacity, &[&cpu(150), &cooler]), None);
        let found = findings(&CoolerCapacity, &[&cpu(180), &cooler]);
        assert_eq!(
            found[0].reason,
            "the processor gives off 180 W, the cooler \"sample cooler\" carries off 150 W"
        );
        assert_eq!(found[0].gravity, Gravity::Conflict);
        // Turbo power above what the cooler carries off costs speed, not the fit.
        let hot = part(
            Kind::Cpu,
            &[
                (Spec::HeatW, SpecValue::Number(125)),
                (Spec::TurboW, SpecValue::Number(253)),
            ],
        );
        let found = findings(&CoolerCapacity, &[&hot, &cooler]);
        assert_eq!(found[0].gravity, Gravity::Caution);
        assert!(found[0].reason.contains("150 W of the 253 W"));
        let silent = part(Kind::Cpu, &[]);
        assert_eq!(
            gravity(&CoolerCapacity, &[&silent, &cooler]),
            Some(Gravity::Unproven)
        );
    }
}
