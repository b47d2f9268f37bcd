//! What each rule has to say of any set of parts, complete or not.
//!
//! A build is judged by [`RuleBook::check`], which tells only what is wrong. Here
//! a person asks about some parts and wants to hear what was looked at as well.

use super::registry::RuleBook;
use super::rule::{Finding, FitRule, FitTerms, Form, Gravity, Seat};
use crate::catalogue::Kind;

/// One rule's word on a set of parts.
pub struct Verdict<'r> {
    pub rule: &'r dyn FitRule,
    /// Empty when the parts go together as far as this rule goes.
    pub findings: Vec<Finding>,
}

impl Verdict<'_> {
    /// The gravest finding, or `None` when the rule is kept.
    pub fn gravity(&self) -> Option<Gravity> {
        self.findings.iter().map(|finding| finding.gravity).max()
    }
}

/// The word of every rule that concerns at least two of the parts, in the rules' order.
pub fn verdicts<'r>(rules: &'r RuleBook, seats: &[Seat<'_>], terms: &FitTerms) -> Vec<Verdict<'r>> {
    let is_seated = |kind: &Kind| seats.iter().any(|seat| seat.part.kind == *kind);
    let concerns = |rule: &dyn FitRule| {
        let has_kinds = match rule.form() {
            Form::Pairs { left, right, .. } => is_seated(&left) && is_seated(&right),
            Form::Balance {
                giver: Some(giver), ..
            } if !is_seated(&giver) => false,
            Form::Balance { kinds, .. } | Form::Joint { kinds, .. } | Form::Advice { kinds } => {
                kinds.iter().filter(|kind| is_seated(kind)).count() > 1
            }
        };
        has_kinds && rule.subjects().iter().all(is_seated)
    };
    let is_complete = COMPLETE.iter().all(is_seated);
    let judged = rules.iter().map(|rule| {
        let mut findings = rule.check(seats, terms);
        if rule.asks_for_presence() && !is_complete {
            // What is missing may still come.
            for finding in &mut findings {
                finding.gravity = finding.gravity.min(Gravity::Caution);
            }
        }
        Verdict { rule, findings }
    });
    judged
        .filter(|verdict| !verdict.findings.is_empty() || concerns(verdict.rule))
        .collect()
}

/// Without these no set is meant as a whole PC.
const COMPLETE: [Kind; 5] = [Kind::Cpu, Kind::Board, Kind::Memory, Kind::Psu, Kind::Case];

#[cfg(test)]
mod tests {
    use super::*;
    use crate::catalogue::{Spec, SpecValue};
    use crate::fit::sample::{part, text};

    #[test]
    fn only_rules_about_the_parts_at_hand_speak() {
        let cpu = part(
            Kind::Cpu,
            &[
                (Spec::Socket, text("AM5")),
                (Spec::Graphics, SpecValue::Flag(true)),
            ],
        );
        let board = part(Kind::Board, &[(Spec::Socket, text("LGA1700"))]);
        let seats = [&cpu, &board].map(|part| Seat {
            role: part.kind.name(),
            part,
            quantity: 1,
        });
        let rules = RuleBook::default();
        let found = verdicts(&rules, &seats, &FitTerms::default());
        let socket = found
            .iter()
            .find(|verdict| verdict.rule.id() == "processor-socket");
        assert_eq!(socket.and_then(Verdict::gravity), Some(Gravity::Conflict));
        let about_cards = |verdict: &&Verdict<'_>| verdict.rule.id().starts_with("graphics");
        assert_eq!(found.iter().filter(about_cards).count(), 0);
    }
}
