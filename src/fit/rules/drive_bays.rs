//! Every drive on a cable finds a bay in the case.

use crate::catalogue::{Kind, Spec, same_name};
use crate::fit::rule::{Finding, Fit, FitRule, FitTerms, Form, Seat, conflict, seats_of, unproven};

pub struct DriveBays;

const BAYS: [Spec; 3] = [Spec::Bays35, Spec::Bays25, Spec::BaysEither];

impl FitRule for DriveBays {
    fn id(&self) -> &str {
        "drive-bays"
    }

    fn states(&self) -> &str {
        "The case has a bay for every 2.5-inch and 3.5-inch drive; a bay for either takes one."
    }

    fn source(&self) -> &str {
        "common practice, no source"
    }

    fn reads(&self) -> &[(Kind, Spec)] {
        &[
            (Kind::Storage, Spec::FormFactor),
            (Kind::Case, Spec::Bays35),
            (Kind::Case, Spec::Bays25),
            (Kind::Case, Spec::BaysEither),
        ]
    }

    fn form(&self) -> Form<'_> {
        Form::Joint {
            kinds: &[Kind::Storage, Kind::Case],
            fits: Box::new(fits),
        }
    }

    fn subjects(&self) -> &[Kind] {
        &[Kind::Storage, Kind::Case]
    }

    fn check(&self, seats: &[Seat<'_>], _terms: &FitTerms) -> Vec<Finding> {
        let mut findings = Vec::new();
        let (mut large, mut small) = (0, 0);
        for drive in seats_of(seats, Kind::Storage) {
            match drive.part.text(Spec::FormFactor) {
                None => findings.push(unproven(self.id(), drive.part, Spec::FormFactor)),
                Some(form) if is_large(form) => large += i64::from(drive.quantity),
                Some(form) if is_small(form) => small += i64::from(drive.quantity),
                Some(_) => {}
            }
        }
        for case in seats_of(seats, Kind::Case) {
            if large + small == 0 {
                continue;
            }
            if BAYS.iter().all(|spec| case.part.number(*spec).is_none()) {
                findings.push(unproven(self.id(), case.part, Spec::BaysEither));
                continue;
            }
            let [of_large, of_small, of_either] =
                BAYS.map(|spec| case.part.number(spec).unwrap_or(0));
            // What the bays of one size cannot hold has to share the others.
            let over = (large - of_large).max(0) + (small - of_small).max(0);
            if over > of_either {
                let reason = format!(
                    "{large} drives of 3.5 inch and {small} of 2.5 inch do not fit the bays of \
                     \"{}\": {of_large} and {of_small}, and {of_either} for either",
                    case.part.name
                );
                findings.push(conflict(self.id(), reason));
            }
        }
        findings
    }
}

fn is_large(form: &str) -> bool {
    same_name(form, "3.5-inch")
}

fn is_small(form: &str) -> bool {
    same_name(form, "2.5-inch")
}

fn fits(seats: &[Seat<'_>], _terms: &FitTerms) -> Fit {
    let drives = || seats_of(seats, Kind::Storage);
    let count = |is_such: fn(&str) -> bool| -> i64 {
        let such = drives().filter(|seat| seat.part.text(Spec::FormFactor).is_some_and(is_such));
        such.map(|seat| i64::from(seat.quantity)).sum()
    };
    let (large, small) = (count(is_large), count(is_small));
    let is_sure = drives().all(|seat| seat.part.text(Spec::FormFactor).is_some());
    let sure = if is_sure { Fit::Yes } else { Fit::Unproven };
    let Some(case) = seats_of(seats, Kind::Case).next().map(|seat| seat.part) else {
        return sure;
    };
    if large + small == 0 {
        return sure;
    }
    let known: Vec<Option<i64>> = BAYS.iter().map(|spec| case.number(*spec)).collect();
    if known.iter().all(Option::is_none) {
        return Fit::Unproven;
    }
    let bays: Vec<i64> = known.iter().map(|bays| bays.unwrap_or(0)).collect();
    // Hall's condition: every set of drives finds as many bays that take one of them.
    let has_room = large <= bays[0] + bays[2]
        && small <= bays[1] + bays[2]
        && large + small <= bays.iter().sum();
    if has_room { sure } else { Fit::No }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::catalogue::Part;
    use crate::fit::Gravity;
    use crate::fit::sample::{gravity, number, part, text};

    #[test]
    fn a_bay_for_either_size_counts_once() {
        // Pitfall C37: three 3.5-inch drives, two bays for either.
        let drive = |form| part(Kind::Storage, &[(Spec::FormFactor, text(form))]);
        let (large, small, stick) = (drive("3.5-inch"), drive("2.5-inch"), drive("M.2"));
        let case = |large, either| {
            part(
                Kind::Case,
                &[
                    (Spec::Bays35, number(large)),
                    (Spec::BaysEither, number(either)),
                ],
            )
        };
        let found = |parts: &[&Part]| gravity(&DriveBays, parts);
        assert_eq!(
            found(&[&case(0, 2), &large, &large, &large]),
            Some(Gravity::Conflict)
        );
        assert_eq!(found(&[&case(0, 2), &large, &small]), None);
        assert_eq!(
            found(&[&case(1, 1), &large, &small, &small]),
            Some(Gravity::Conflict)
        );
        assert_eq!(found(&[&case(0, 0), &stick]), None);
        assert_eq!(
            found(&[&part(Kind::Case, &[]), &large]),
            Some(Gravity::Unproven)
        );
    }
}
