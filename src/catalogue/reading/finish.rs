//! What only the whole title tells: totals of memory kits, and a cooler in a processor's box.

use super::scan::Scan;
use super::{Claim, Place, Sign, Use, What};
use crate::catalogue::{Kind, SpecValue};

pub(super) fn finish(scan: &mut Scan) {
    settle_totals(scan);
    leave_out_repeats(scan);
    let coolers = scan
        .signs
        .iter()
        .filter(|seen| seen.sign == Sign::Kind(Kind::Cooler));
    let mut told = coolers.filter_map(|seen| match seen.place {
        Place::Attached => Some((true, seen.atom)),
        Place::Negated => Some((false, seen.atom)),
        Place::Main | Place::Context => None,
    });
    if let Some((comes, atom)) = told.next_back() {
        scan.say(What::BoxedCooler, SpecValue::Flag(comes), atom..atom + 1);
        if let Some(claim) = scan.claims.last_mut() {
            claim.place = Place::Main;
        }
    }
    for atom in 0..scan.len() {
        // A lone "x" between a count and a thing says nothing.
        if scan.text(atom) == "x"
            && scan.atoms[atom].used == Use::Free
            && atom > 0
            && scan.atoms[atom - 1].used != Use::Free
        {
            scan.mark(atom..atom + 1, Use::Silent);
        }
    }
}

/// In "32GB (2x16GB)" and "32GB 2er Kit 16GB" the capacity is that of the kit.
fn settle_totals(scan: &mut Scan) {
    let number = |what: What| {
        let claims = scan.claims.iter().filter(move |claim| claim.what == what);
        claims.filter_map(|claim| match claim.value {
            SpecValue::Number(number) => Some(number),
            _ => None,
        })
    };
    let Some(count) = number(What::Modules).max().filter(|count| *count > 1) else {
        return;
    };
    let Some(total) = number(What::CapacityGb).max() else {
        return;
    };
    if total % count == 0 {
        let each = SpecValue::Number(total / count);
        let is_each = |what, value: &SpecValue| what == What::CapacityGb && *value == each;
        scan.claims
            .retain(|claim| !is_each(claim.what, &claim.value));
    }
}

/// A thing that is said twice is claimed once.
fn leave_out_repeats(scan: &mut Scan) {
    let mut kept: Vec<Claim> = Vec::with_capacity(scan.claims.len());
    for claim in std::mem::take(&mut scan.claims) {
        let is_known = kept.iter().any(|one| {
            one.what == claim.what && one.value == claim.value && one.place == claim.place
        });
        if !is_known {
            kept.push(claim);
        }
    }
    scan.claims = kept;
}
