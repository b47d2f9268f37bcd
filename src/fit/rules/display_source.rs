//! Something in the build drives a display.

use crate::catalogue::{Kind, Part, Spec};
use crate::fit::rule::{
    Finding, FitRule, FitTerms, Form, Seat, Share, conflict, seats_of, unproven,
};

pub struct DisplaySource;

impl FitRule for DisplaySource {
    fn id(&self) -> &'static str {
        "display-source"
    }

    fn states(&self) -> &'static str {
        "There is a graphics card, or the processor has graphics of its own."
    }

    fn source(&self) -> &'static str {
        "common practice, no source"
    }

    fn reads(&self) -> &'static [(Kind, Spec)] {
        &[(Kind::Cpu, Spec::Graphics)]
    }

    fn form(&self) -> Form {
        Form::Balance {
            kinds: &[Kind::Cpu, Kind::Gpu],
            share,
            at_most: |_| 0,
        }
    }

    fn check(&self, seats: &[Seat<'_>], _terms: &FitTerms) -> Vec<Finding> {
        if seats_of(seats, Kind::Gpu).next().is_some() {
            return Vec::new();
        }
        let mut findings = Vec::new();
        for cpu in seats_of(seats, Kind::Cpu) {
            match cpu.part.flag(Spec::Graphics) {
                Some(true) => {}
                Some(false) => {
                    let reason = format!(
                        "\"{}\" has no graphics and there is no graphics card",
                        cpu.part.name
                    );
                    findings.push(conflict(self.id(), reason));
                }
                None => findings.push(unproven(self.id(), cpu.part, Spec::Graphics)),
            }
        }
        findings
    }
}

/// A processor without graphics needs one card; a card gives enough for any number of them.
///
/// A processor that does not say is proven by a card alone, so under strict terms it counts as one
/// without graphics.
fn share(part: &Part, terms: &FitTerms) -> Share {
    match (part.kind, part.flag(Spec::Graphics)) {
        (Kind::Gpu, _) => Share::Known(-64),
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
    use crate::fit::sample::{gravity, part};

    #[test]
    fn a_processor_without_graphics_needs_a_card() {
        // Pitfall C31.
        let cpu = |graphics| part(Kind::Cpu, &[(Spec::Graphics, SpecValue::Flag(graphics))]);
        let gpu = part(Kind::Gpu, &[]);
        assert_eq!(
            gravity(&DisplaySource, &[&cpu(false)]),
            Some(Gravity::Conflict)
        );
        assert_eq!(gravity(&DisplaySource, &[&cpu(true)]), None);
        assert_eq!(gravity(&DisplaySource, &[&cpu(false), &gpu]), None);
        assert_eq!(
            gravity(&DisplaySource, &[&part(Kind::Cpu, &[])]),
            Some(Gravity::Unproven)
        );
    }
}
