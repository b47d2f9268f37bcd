//! Which amount a phrase stands near, and how near.

use super::cue::Side;
use super::roles::Binder;
use super::spoken::Spoken;
use super::token::{Gap, Kind};

/// How far an amount lies from a phrase.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Distance {
    pub index: usize,
    pub n_words: usize,
    /// A comma, bracket or line break lies between.
    pub separated: bool,
}

impl Binder<'_, '_> {
    /// The amount a phrase speaks of. Marks both as unsure where nothing tells them apart.
    pub(super) fn one_side(&mut self, spoken: Spoken) -> Option<usize> {
        const WORDS_MAX: usize = 3;
        let before = self.before(spoken);
        let after = self
            .after(spoken)
            .filter(|after| after.n_words <= WORDS_MAX);
        let (Some(left), Some(right)) = (before, after) else {
            let near = |side: Distance| side.n_words <= WORDS_MAX;
            return before
                .filter(|left| near(*left))
                .or(after)
                .map(|side| side.index);
        };
        let choice = match spoken.side {
            Side::Before => right,
            Side::After if !left.separated || right.separated => left,
            Side::After => right,
            Side::Either => match (left.separated, right.separated) {
                (true, false) => right,
                (false, true) => left,
                _ if left.n_words < right.n_words => left,
                _ if left.n_words > right.n_words => right,
                _ => {
                    self.roles.readings[left.index].unsure = true;
                    self.roles.readings[right.index].unsure = true;
                    return None;
                }
            },
        };
        Some(choice.index)
    }

    /// The last amount before a phrase, in the same brackets or just before them.
    pub(super) fn before(&self, spoken: Spoken) -> Option<Distance> {
        let bracket = self.layout.brackets[spoken.start];
        let amounts = self.layout.amounts.iter().enumerate().rev();
        let inside = self
            .layout
            .amounts
            .iter()
            .any(|amount| amount.bracket == bracket);
        let outer = bracket != 0 && !inside;
        let mut earlier = amounts.filter(|(_, amount)| amount.tokens.end <= spoken.start);
        let (index, amount) = earlier.find(|(_, amount)| outer || amount.bracket == bracket)?;
        Some(self.distance(index, amount.tokens.end, spoken.start, outer))
    }

    /// The first amount after a phrase, in the same brackets.
    pub(super) fn after(&self, spoken: Spoken) -> Option<Distance> {
        let bracket = self.layout.brackets[spoken.start];
        let mut later = self.layout.amounts.iter().enumerate();
        let (index, amount) = later
            .find(|(_, amount)| amount.tokens.start >= spoken.end && amount.bracket == bracket)?;
        Some(self.distance(index, spoken.end, amount.tokens.start, false))
    }

    fn distance(&self, index: usize, from: usize, to: usize, into_bracket: bool) -> Distance {
        const WORDS_OF_A_NUMBER: usize = 5;
        let mut distance = Distance {
            index,
            n_words: 0,
            separated: false,
        };
        for at in from..to.min(self.layout.tokens.len()) {
            match &self.layout.tokens[at].kind {
                Kind::Word(_) | Kind::Currency(_) => distance.n_words += 1,
                Kind::Number(_) => distance.n_words += WORDS_OF_A_NUMBER,
                Kind::Open | Kind::Close if into_bracket => {}
                Kind::Open | Kind::Close | Kind::Mark | Kind::Dash | Kind::Plus => {
                    distance.separated = true;
                }
                _ => {}
            }
            distance.separated |= at > from && self.layout.tokens[at].gap == Gap::Break;
        }
        let last_breaks = |at: usize| {
            self.layout
                .tokens
                .get(at)
                .is_some_and(|token| token.gap == Gap::Break)
        };
        distance.separated |=
            from < self.layout.tokens.len() && last_breaks(from.max(1)) && from == to;
        distance
    }
}
