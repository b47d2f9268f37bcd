//! Something cools the processor.

use crate::catalogue::{Kind, Part, Spec};
use crate::fit::rule::{
    Finding, FitRule, FitTerms, Form, Seat, Share, conflict, seats_of, unproven,
};

pub struct CoolerPresent;

impl FitRule for CoolerPresent {
    fn id(&self) -> &str {
        "cooler-present"
    }

    fn states(&self) -> &str {
        "There is a cooler, or the processor has one in its box."
    }

    fn source(&self) -> &str {
        "common practice, no source"
    }

    fn reads(&self) -> &[(Kind, Spec)] {
        &[(Kind::Cpu, Spec::BoxedCooler)]
    }

    fn form(&self) -> Form<'_> {
        Form::Balance {
            kinds: &[Kind::Cpu, Kind::Cooler],
            giver: None,
            share: Box::new(share),
            at_most: Box::new(|_| 0),
        }
    }

    fn asks_for_presence(&self) -> bool {
        true
    }

    fn check(&self, seats: &[Seat<'_>], _terms: &FitTerms) -> Vec<Finding> {
        if seats_of(seats, Kind::Cooler).next().is_some() {
            return Vec::new();
        }
        let mut findings = Vec::new();
        for cpu in seats_of(seats, Kind::Cpu) {
            match cpu.part.flag(Spec::BoxedCooler) {
                Some(true) => {}
                Some(false) => {
                    let reason = format!(
                        "\"{}\" comes without a cooler and there is none",
                        cpu.part.name
                    );
                    findings.push(conflict(self.id(), reason));
                }
                None => findings.push(unproven(self.id(), cpu.part, Spec::BoxedCooler)),
            }
        }
        findings
    }
}

/// A processor without a cooler needs one; a cooler is enough for any number of them.
///
/// One that does not say is proven by a cooler alone, so under strict terms it counts as without.
fn share(part: &Part, terms: &FitTerms) -> Share {
    match (part.kind, part.flag(Spec::BoxedCooler)) {
        (Kind::Cooler, _) => Share::Known(-64),
        (_, Some(true)) => Share::Known(0),
        (_, Some(false)) => Share::Known(1),
        (_, None) => Share::Known(i64::from(terms.strict)),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::catalogue::SpecValue;
    use crate::fit::Gravity;
    use crate::fit::sample::{findings, gravity, part};

    #[test]
    fn a_processor_without_a_cooler_in_its_box_needs_one() {
        // Pitfall C38: boxed without a cooler, and tray.
        let cpu = |boxed| part(Kind::Cpu, &[(Spec::BoxedCooler, SpecValue::Flag(boxed))]);
        let cooler = part(Kind::Cooler, &[]);
        assert_eq!(gravity(&CoolerPresent, &[&cpu(true)]), None);
        assert_eq!(gravity(&CoolerPresent, &[&cpu(false), &cooler]), None);
        let found = findings(&CoolerPresent, &[&cpu(false)]);
        assert_eq!(
            found[0].reason,
            "\"sample cpu\" comes without a cooler and there is none"
        );
        assert_eq!(found[0].gravity, Gravity::Conflict);
        let silent = part(Kind::Cpu, &[]);
        let found = gravity(&CoolerPresent, &[&silent]);
        assert_eq!(found, Some(Gravity::Unproven));
    }
}
