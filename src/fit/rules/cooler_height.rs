//! The cooler, lifted by tall memory beneath it, is no higher than the case allows.

use crate::catalogue::{Kind, Part, Spec};
use crate::fit::rule::{
    Finding, Fit, FitRule, FitTerms, Form, Gravity, Seat, caution, conflict, seats_of, unproven,
};

pub struct CoolerHeight;

impl FitRule for CoolerHeight {
    fn id(&self) -> &str {
        "cooler-height"
    }

    fn states(&self) -> &str {
        "The cooler is no higher than the case allows, even where its fan has to sit higher for \
         the memory."
    }

    fn source(&self) -> &str {
        "common practice, no source: tall memory lifts the fan by what it exceeds the clearance"
    }

    fn reads(&self) -> &[(Kind, Spec)] {
        &[
            (Kind::Cooler, Spec::HeightMm),
            (Kind::Cooler, Spec::MemoryHeightMmMax),
            (Kind::Cooler, Spec::RadiatorMm),
            (Kind::Memory, Spec::HeightMm),
            (Kind::Case, Spec::CoolerHeightMmMax),
        ]
    }

    fn form(&self) -> Form<'_> {
        Form::Joint {
            kinds: &[Kind::Cooler, Kind::Memory, Kind::Case],
            fits: Box::new(fits),
        }
    }

    fn subjects(&self) -> &[Kind] {
        &[Kind::Cooler, Kind::Case]
    }

    fn check(&self, seats: &[Seat<'_>], _terms: &FitTerms) -> Vec<Finding> {
        let mut findings = Vec::new();
        // What cools with a radiator has only a low block over the processor.
        let towers = seats_of(seats, Kind::Cooler)
            .filter(|cooler| cooler.part.number(Spec::RadiatorMm).is_none());
        for cooler in towers {
            for case in seats_of(seats, Kind::Case) {
                findings.extend(self.check_case(seats, cooler.part, case.part));
            }
        }
        findings
    }
}

impl CoolerHeight {
    fn check_case(&self, seats: &[Seat<'_>], cooler: &Part, case: &Part) -> Vec<Finding> {
        let Some(height) = cooler.number(Spec::HeightMm) else {
            return vec![unproven(self.id(), cooler, Spec::HeightMm)];
        };
        let Some(most) = case.number(Spec::CoolerHeightMmMax) else {
            return vec![unproven(self.id(), case, Spec::CoolerHeightMmMax)];
        };
        let mut findings = Vec::new();
        let mut lift = 0;
        for memory in seats_of(seats, Kind::Memory) {
            let clearance = cooler.number(Spec::MemoryHeightMmMax);
            match (memory.part.number(Spec::HeightMm), clearance) {
                (Some(tall), Some(clearance)) => lift = lift.max(tall - clearance),
                (Some(_), None) => {
                    findings.push(unproven(self.id(), cooler, Spec::MemoryHeightMmMax));
                }
                (None, _) => findings.push(unproven(self.id(), memory.part, Spec::HeightMm)),
            }
        }
        let over = height + lift - most;
        let name = &case.name;
        let reason = match lift {
            0 => format!("the {height} mm cooler is {over} mm too high for the case \"{name}\""),
            _ => format!(
                "the {height} mm cooler sits {lift} mm higher over this memory, {over} mm too high \
                 for the case \"{name}\""
            ),
        };
        match over {
            1.. => findings.push(conflict(self.id(), reason)),
            0 => {
                let reason = format!("the cooler fills the case \"{name}\" to the last millimetre");
                findings.push(caution(self.id(), reason));
            }
            _ => {}
        }
        findings.sort_by_key(|finding| std::cmp::Reverse(finding.gravity));
        if findings
            .first()
            .is_some_and(|first| first.gravity == Gravity::Conflict)
        {
            findings.truncate(1);
        }
        findings
    }
}

fn fits(seats: &[Seat<'_>], _terms: &FitTerms) -> Fit {
    let first = |kind| seats_of(seats, kind).next().map(|seat| seat.part);
    let (Some(cooler), Some(case)) = (first(Kind::Cooler), first(Kind::Case)) else {
        return Fit::Yes;
    };
    if cooler.number(Spec::RadiatorMm).is_some() {
        return Fit::Yes;
    }
    let room = case
        .number(Spec::CoolerHeightMmMax)
        .zip(cooler.number(Spec::HeightMm));
    let Some(room) = room.map(|(most, height)| most - height) else {
        return Fit::Unproven;
    };
    // Only memory that is higher than the clearance and the room to spare together is in the way.
    let clearance = cooler.number(Spec::MemoryHeightMmMax);
    let beneath = seats_of(seats, Kind::Memory).map(|memory| {
        match clearance.zip(memory.part.number(Spec::HeightMm)) {
            Some((clearance, tall)) if tall > clearance && tall - clearance > room => Fit::No,
            Some(_) => Fit::Yes,
            None => Fit::Unproven,
        }
    });
    let own = if room < 0 { Fit::No } else { Fit::Yes };
    beneath.fold(own, Fit::max)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::fit::sample::{findings, gravity, number, part};

    fn case(most: i64) -> Part {
        part(Kind::Case, &[(Spec::CoolerHeightMmMax, number(most))])
    }

    #[test]
    fn a_cooler_of_165_mm_does_not_go_into_a_case_for_160_mm() {
        // Pitfall C08: 165 in 160 does not fit, 160 in 160 does with a warning.
        let cooler = |height| part(Kind::Cooler, &[(Spec::HeightMm, number(height))]);
        let found = |height| gravity(&CoolerHeight, &[&cooler(height), &case(160)]);
        assert_eq!(found(159), None);
        assert_eq!(found(160), Some(Gravity::Caution));
        let found = findings(&CoolerHeight, &[&cooler(165), &case(160)]);
        assert_eq!(
            found[0].reason,
            "the 165 mm cooler is 5 mm too high for the case \"sample case\""
        );
        assert_eq!(found[0].gravity, Gravity::Conflict);
        let silent = part(Kind::Cooler, &[]);
        assert_eq!(
            gravity(&CoolerHeight, &[&silent, &case(160)]),
            Some(Gravity::Unproven)
        );
    }

    #[test]
    fn tall_memory_lifts_the_fan() {
        // Pitfall C09: clearance 38, memory 44: a 165 mm cooler counts as 171.
        let cooler = part(
            Kind::Cooler,
            &[
                (Spec::HeightMm, number(165)),
                (Spec::MemoryHeightMmMax, number(38)),
            ],
        );
        let memory = part(Kind::Memory, &[(Spec::HeightMm, number(44))]);
        let found = |most| gravity(&CoolerHeight, &[&cooler, &memory, &case(most)]);
        assert_eq!(found(172), None);
        assert_eq!(found(171), Some(Gravity::Caution));
        assert_eq!(found(170), Some(Gravity::Conflict));
        let found = findings(&CoolerHeight, &[&cooler, &memory, &case(168)]);
        assert!(
            found[0]
                .reason
                .contains("sits 6 mm higher over this memory, 3 mm too high")
        );
    }
}
