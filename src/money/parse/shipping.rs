//! Delivery: which amount is the charge, which are terms, and whether it is free.

use super::cue::Cue;
use super::roles::{Binder, Role};
use super::token::Kind;

impl Binder<'_, '_> {
    /// True when the phrase before this one is about delivery, with no amount between.
    pub(super) fn about_shipping(&self, index: usize) -> bool {
        let Some(previous) = index.checked_sub(1).map(|before| self.spoken[before]) else {
            return false;
        };
        let spoken = self.spoken[index];
        let amount_between = self.layout.owned[previous.end..spoken.start]
            .iter()
            .any(|owned| *owned);
        let delivery = matches!(previous.cue, Cue::Shipping | Cue::FreeShipping | Cue::Free);
        delivery && !amount_between && spoken.start - previous.end <= 3
    }

    pub(super) fn bind_shipping(&mut self, index: usize) {
        let spoken = self.spoken[index];
        let neighbour = |step: Option<usize>| step.and_then(|at| self.spoken.get(at)).copied();
        let previous = neighbour(index.checked_sub(1)).filter(|cue| cue.end == spoken.start);
        let next = neighbour(Some(index + 1)).filter(|cue| cue.start <= spoken.end + 1);
        let free = [previous, next]
            .iter()
            .flatten()
            .any(|cue| cue.cue == Cue::Free);
        if free {
            return self.bind_free_shipping(index);
        }
        let left = self
            .before(spoken)
            .filter(|left| left.n_words <= 1 && !left.separated);
        let left = left.filter(|_| {
            previous.is_none_or(|cue| {
                matches!(
                    cue.cue,
                    Cue::Neutral | Cue::ForCount | Cue::ListOf | Cue::Per
                )
            })
        });
        let right = self
            .after(spoken)
            .filter(|right| right.n_words == 0 && !right.separated);
        let opened_by = |amount: usize| {
            let start = self.layout.amounts[amount].tokens.start;
            let opener = self
                .spoken
                .iter()
                .find(|cue| cue.end == start)
                .map(|cue| cue.cue);
            let plus = start > 0 && matches!(self.layout.kind(start - 1), Some(Kind::Plus));
            if plus { Some(Cue::Plus) } else { opener }
        };
        match (left, right) {
            (Some(left), Some(right)) if opened_by(left.index) != Some(Cue::Plus) => {
                self.roles.readings[left.index].unsure = true;
                self.roles.readings[right.index].unsure = true;
            }
            (Some(left), _) if opened_by(left.index) == Some(Cue::With) => {
                self.set(left.index, Role::ShippingIncluded);
                self.roles.free_shipping = true;
            }
            (Some(left), _) => self.set(left.index, Role::Shipping),
            (None, Some(right)) => self.set(right.index, Role::Shipping),
            (None, None) => {
                self.roles.free_shipping |= previous.is_some_and(|cue| cue.cue == Cue::With);
            }
        }
    }

    pub(super) fn bind_free_shipping(&mut self, index: usize) {
        let spoken = self.spoken[index];
        let bound_follows = self.spoken.get(index + 1).is_some_and(|next| {
            next.cue == Cue::Bound
                || self
                    .spoken
                    .get(index + 2)
                    .is_some_and(|next| next.cue == Cue::Bound)
        });
        let terms_follow =
            bound_follows && self.after(spoken).is_some_and(|after| after.n_words <= 5);
        let left = self.before(spoken).filter(|left| left.n_words == 0);
        let bound_left = left.filter(|left| self.roles.readings[left.index].role == Role::Bound);
        match bound_left {
            Some(left) => self.roles.readings[left.index].role = Role::ShippingTerms,
            None if terms_follow => {}
            None => self.roles.free_shipping = true,
        }
    }
}
