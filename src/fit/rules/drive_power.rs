//! The supply has a SATA power plug for every drive on a cable.

use crate::catalogue::{Kind, Spec, same_name};
use crate::fit::rule::{
    Finding, Fit, FitRule, FitTerms, Form, Seat, conflict, seats_of, sum_fits, unproven,
};

pub struct DrivePower;

impl FitRule for DrivePower {
    fn id(&self) -> &str {
        "drive-power"
    }

    fn states(&self) -> &str {
        "The supply has a SATA power plug for every drive that is not an M.2 drive."
    }

    fn source(&self) -> &str {
        "common practice, no source"
    }

    fn reads(&self) -> &[(Kind, Spec)] {
        &[
            (Kind::Storage, Spec::FormFactor),
            (Kind::Psu, Spec::SataPlugs),
        ]
    }

    fn form(&self) -> Form<'_> {
        Form::Joint {
            kinds: &[Kind::Storage, Kind::Psu],
            fits: Box::new(fits),
        }
    }

    fn subjects(&self) -> &[Kind] {
        &[Kind::Storage, Kind::Psu]
    }

    fn check(&self, seats: &[Seat<'_>], _terms: &FitTerms) -> Vec<Finding> {
        let (mut wanted, mut unknown) = (0, Vec::new());
        for drive in seats_of(seats, Kind::Storage) {
            match drive.part.text(Spec::FormFactor) {
                None => unknown.push(unproven(self.id(), drive.part, Spec::FormFactor)),
                Some(form) if same_name(form, "M.2") => {}
                Some(_) => wanted += i64::from(drive.quantity),
            }
        }
        let supplies = seats_of(seats, Kind::Psu).filter(|_| wanted > 0);
        let mut findings: Vec<Finding> = supplies
            .filter_map(|psu| match psu.part.number(Spec::SataPlugs) {
                None => Some(unproven(self.id(), psu.part, Spec::SataPlugs)),
                Some(plugs) if plugs < wanted => {
                    let reason = format!(
                        "{wanted} drives need SATA power plugs, \"{}\" has {plugs}",
                        psu.part.name
                    );
                    Some(conflict(self.id(), reason))
                }
                Some(_) => None,
            })
            .collect();
        findings.append(&mut unknown);
        findings
    }
}

fn fits(seats: &[Seat<'_>], _terms: &FitTerms) -> Fit {
    let needs = seats_of(seats, Kind::Storage).map(|drive| {
        let form = drive.part.text(Spec::FormFactor)?;
        Some(match same_name(form, "M.2") {
            true => 0,
            false => i64::from(drive.quantity),
        })
    });
    match seats_of(seats, Kind::Psu).next() {
        Some(psu) => sum_fits(needs, psu.part.number(Spec::SataPlugs)),
        None if needs.clone().all(|need| need.is_some()) => Fit::Yes,
        None => Fit::Unproven,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::catalogue::Part;
    use crate::fit::Gravity;
    use crate::fit::sample::{gravity, number, part, text};

    #[test]
    fn drives_on_cables_need_plugs_and_m2_drives_none() {
        let psu = |plugs| part(Kind::Psu, &[(Spec::SataPlugs, number(plugs))]);
        let drive = |form| part(Kind::Storage, &[(Spec::FormFactor, text(form))]);
        let (disk, stick) = (drive("3.5-inch"), drive("M.2"));
        let found = |plugs, drives: &[&Part]| {
            let psu = psu(plugs);
            let mut parts = vec![&psu];
            parts.extend(drives);
            gravity(&DrivePower, &parts)
        };
        assert_eq!(found(2, &[&disk, &disk, &stick]), None);
        assert_eq!(found(1, &[&disk, &disk]), Some(Gravity::Conflict));
        assert_eq!(found(0, &[&stick]), None);
        assert_eq!(
            gravity(&DrivePower, &[&part(Kind::Psu, &[]), &disk]),
            Some(Gravity::Unproven)
        );
    }
}
