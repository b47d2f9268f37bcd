//! What a fit rule is: one statement about which parts go together.
//!
//! A rule speaks twice. [`FitRule::form`] gives the linear form that the optimiser's model is
//! built from; [`FitRule::check`] judges a finished build in integers, with reasons for a person.
//! The two share no code, so that a slip in one is caught by the other.

use crate::catalogue::{Kind, Part, Spec};

/// What of a brief the rules depend on.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct FitTerms {
    /// Room above the load that a power supply must have, in percent of the load.
    pub headroom_percent: i64,
    /// Load of everything whose draw the catalogue does not state, in watts.
    pub rest_w: i64,
    /// Load that the supply shall have room for later, such as a second card, in watts.
    pub reserve_w: i64,
    /// Refuse what a missing spec leaves unproven, instead of allowing it with a caution.
    pub strict: bool,
}

impl Default for FitTerms {
    fn default() -> FitTerms {
        // Common practice, no source: 50 to 100 W for the rest, then 20 to 40 % more.
        FitTerms {
            headroom_percent: 30,
            rest_w: 75,
            reserve_w: 0,
            strict: false,
        }
    }
}

/// A part in its place, as a finished build has it.
#[derive(Debug, Clone, Copy)]
pub struct Seat<'a> {
    pub role: &'a str,
    pub part: &'a Part,
    pub quantity: u32,
}

/// Whether two parts go together, as far as their specs tell.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Fit {
    Yes,
    /// A spec that the rule reads is missing.
    Unproven,
    No,
}

/// What a part adds to a balance: what it needs is positive, what it gives negative.
///
/// Where the spec is missing, the two sides differ: an unknown need adds nothing to what is known
/// to be needed, while an unknown gift may be as large as anything.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Share {
    Known(i64),
    UnknownNeed,
    UnknownGift,
}

impl Share {
    /// What a part takes up, as far as it is known.
    pub fn need(needed: Option<i64>) -> Share {
        needed.map_or(Share::UnknownNeed, Share::Known)
    }

    /// What a part gives, as far as it is known.
    pub fn gift(given: Option<i64>) -> Share {
        given.map_or(Share::UnknownGift, |given| Share::Known(-given))
    }
}

/// Whether two parts go together.
pub type PairWord<'r> = Box<dyn Fn(&Part, &Part) -> Fit + 'r>;
/// What a part adds to a balance.
pub type ShareWord<'r> = Box<dyn Fn(&Part, &FitTerms) -> Share + 'r>;
/// What a balance may come to.
pub type LimitWord<'r> = Box<dyn Fn(&FitTerms) -> i64 + 'r>;
/// Whether the parts of these seats go together.
pub type SetWord<'r> = Box<dyn Fn(&[Seat<'_>], &FitTerms) -> Fit + 'r>;

/// The form of a rule for the optimiser's model.
pub enum Form<'r> {
    /// Parts of two kinds that go together pair by pair.
    Pairs {
        left: Kind,
        right: Kind,
        fits: PairWord<'r>,
    },
    /// Over all parts of these kinds, quantity times share adds up to at most `at_most`.
    ///
    /// Where one kind gives what the others need, the rule says nothing of a set without it.
    Balance {
        kinds: &'r [Kind],
        giver: Option<Kind>,
        share: ShareWord<'r>,
        at_most: LimitWord<'r>,
    },
    /// Over all parts of these kinds together, where neither pairs nor sums can say it.
    ///
    /// `fits` gets the seats of these kinds alone, in a build's order, and may look at nothing of
    /// a part but the specs that the rule reads: parts that agree in those are taken as one.
    Joint {
        kinds: &'r [Kind],
        fits: SetWord<'r>,
    },
    /// Nothing is ruled out: the rule only tells a person what to know.
    Advice { kinds: &'r [Kind] },
}

/// How grave a finding is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Gravity {
    /// The build works, but a person should know.
    Caution,
    /// A missing spec leaves the rule unproven.
    Unproven,
    /// The parts do not go together.
    Conflict,
}

/// What a rule has to say of a build.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Finding {
    pub rule: String,
    pub gravity: Gravity,
    /// One clause for a person, with the figures.
    pub reason: String,
}

/// One statement about which parts go together. One file each, in `rules/`.
pub trait FitRule: Send + Sync {
    /// A stable name for reports.
    fn id(&self) -> &str;

    /// The rule as one plain sentence.
    fn states(&self) -> &str;

    /// Where the rule comes from.
    fn source(&self) -> &str;

    /// The specs that it reads.
    fn reads(&self) -> &[(Kind, Spec)];

    fn form(&self) -> Form<'_>;

    /// Kinds without any of which the rule has nothing to say of a set.
    fn subjects(&self) -> &[Kind] {
        &[]
    }

    /// True when the rule asks for something to be there, so that a set which is not complete yet
    /// does not break it.
    fn asks_for_presence(&self) -> bool {
        false
    }

    /// Judges a finished build; no findings means that it fits.
    fn check(&self, seats: &[Seat<'_>], terms: &FitTerms) -> Vec<Finding>;
}

/// The seats of one kind.
pub fn seats_of<'s, 'a>(
    seats: &'s [Seat<'a>],
    kind: Kind,
) -> impl Iterator<Item = &'s Seat<'a>> + Clone {
    seats.iter().filter(move |seat| seat.part.kind == kind)
}

/// Every pair of seats of two kinds.
pub fn seat_pairs<'s, 'a>(
    seats: &'s [Seat<'a>],
    left: Kind,
    right: Kind,
) -> impl Iterator<Item = (&'s Seat<'a>, &'s Seat<'a>)> {
    seats_of(seats, left).flat_map(move |one| seats_of(seats, right).map(move |other| (one, other)))
}

/// A finding that some spec of `part` is missing.
pub fn unproven(rule: &str, part: &Part, spec: Spec) -> Finding {
    let reason = format!("\"{}\" has no `{spec}` in the catalogue", part.name);
    Finding {
        rule: rule.to_owned(),
        gravity: Gravity::Unproven,
        reason,
    }
}

/// A finding that the parts do not go together.
pub fn conflict(rule: &str, reason: String) -> Finding {
    Finding {
        rule: rule.to_owned(),
        gravity: Gravity::Conflict,
        reason,
    }
}

/// A finding that a person should know, though the parts go together.
pub fn caution(rule: &str, reason: String) -> Finding {
    Finding {
        rule: rule.to_owned(),
        gravity: Gravity::Caution,
        reason,
    }
}

/// Whether what parts need adds up to no more than is given, as far as both are known.
///
/// Where nothing is needed it does not matter what is given.
pub fn sum_fits(needs: impl Iterator<Item = Option<i64>>, given: Option<i64>) -> Fit {
    let (mut known, mut is_sure) = (0, true);
    for need in needs {
        known += need.unwrap_or(0);
        is_sure &= need.is_some();
    }
    match given {
        _ if known == 0 && is_sure => Fit::Yes,
        Some(given) if known > given => Fit::No,
        Some(_) if is_sure => Fit::Yes,
        _ => Fit::Unproven,
    }
}

/// Finds every pair where a number of one kind exceeds what another kind allows.
///
/// `reason` gets what is needed, what is allowed, and the part that allows it.
pub fn check_at_most(
    rule: &str,
    seats: &[Seat<'_>],
    (needing, need): (Kind, Spec),
    (allowing, allowance): (Kind, Spec),
    reason: impl Fn(i64, i64, &Part) -> String,
) -> Vec<Finding> {
    let mut findings = Vec::new();
    for (one, other) in seat_pairs(seats, needing, allowing) {
        match (one.part.number(need), other.part.number(allowance)) {
            (Some(needed), Some(allowed)) if needed > allowed => {
                findings.push(conflict(rule, reason(needed, allowed, other.part)));
            }
            (Some(_), Some(_)) => {}
            (None, _) => findings.push(unproven(rule, one.part, need)),
            (_, None) => findings.push(unproven(rule, other.part, allowance)),
        }
    }
    findings
}

/// Finds that a number of one kind, over all its seats together, exceeds what another allows.
///
/// `reason` gets the sum, what is allowed, and the part that allows it.
pub fn check_sum_at_most(
    rule: &str,
    seats: &[Seat<'_>],
    (needing, need): (Kind, Spec),
    (allowing, allowance): (Kind, Spec),
    reason: impl Fn(i64, i64, &Part) -> String,
) -> Vec<Finding> {
    let mut findings = Vec::new();
    if seats_of(seats, allowing).next().is_none() {
        return findings;
    }
    let mut sum = 0;
    for seat in seats_of(seats, needing) {
        match seat.part.number(need) {
            Some(needed) => sum += needed * i64::from(seat.quantity),
            None => findings.push(unproven(rule, seat.part, need)),
        }
    }
    for seat in seats_of(seats, allowing) {
        match seat.part.number(allowance) {
            Some(allowed) if sum > allowed => {
                findings.push(conflict(rule, reason(sum, allowed, seat.part)));
            }
            Some(_) => {}
            None => findings.push(unproven(rule, seat.part, allowance)),
        }
    }
    findings
}
