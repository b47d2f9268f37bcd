//! Numbers that count something: pieces, payments, months, a minimum order.

use super::amount::{Amount, Layout};
use super::cue::{self, Cue, means};
use super::token::Kind;

impl Layout<'_> {
    /// Takes out the bare whole numbers that count something.
    pub(super) fn take_counts(&mut self) {
        let mut counts: Vec<usize> = Vec::new();
        for index in 0..self.amounts.len() {
            let amount = &self.amounts[index];
            let (at, end) = (amount.at, amount.tokens.end);
            let Some(count) = small_count(amount) else {
                self.note_times(index, &mut counts);
                continue;
            };
            let next_amount = self.amounts.get(index + 1).map(|next| next.tokens.start);
            let next_word = self.word(end);
            let means_next = |cue| next_word.is_some_and(|word| means(word, cue));
            if self.note_times(index, &mut counts) {
                continue;
            }
            if self.follows_minimum(at) {
                self.minimum_quantity = Some(count);
                counts.push(index);
            } else if means_next(Cue::Piece) {
                if at > 0
                    && self
                        .word(at - 1)
                        .is_some_and(|word| means(word, Cue::Bound))
                {
                    self.minimum_quantity = Some(count);
                }
                counts.push(index);
                let for_at = end + 1;
                let for_next = self
                    .word(for_at)
                    .is_some_and(|word| means(word, Cue::ForCount));
                if for_next && next_amount == Some(for_at + 1) {
                    self.bundle = Some((index + 1, count));
                }
            } else if means_next(Cue::Count) {
                counts.push(index);
            } else if means_next(Cue::Instalment) {
                counts.push(index);
                // "24 months at 41.62": only a short link leads to the payment.
                let payment = next_amount.filter(|start| *start == end + 1 || *start == end + 2);
                if payment.is_some() && !matches!(self.kind(end + 1), Some(Kind::Mark | Kind::Dash))
                {
                    self.instalments.push(index + 1);
                }
            } else if means_next(Cue::ForCount)
                && next_amount == Some(end + 1)
                && (2..100).contains(&count)
            {
                self.bundle = Some((index + 1, count));
                counts.push(index);
            }
        }
        for index in &counts {
            let at = self.amounts[*index].at;
            self.counted[at] = true;
        }
        self.forget(&counts);
    }

    /// Notes `12 × 99,90` and `99,90 × 12`; true when the amount at `index` is the count.
    fn note_times(&mut self, index: usize, counts: &mut Vec<usize>) -> bool {
        let end = self.amounts[index].tokens.end;
        if !matches!(self.kind(end), Some(Kind::Times)) {
            return false;
        }
        let is_count = small_count(&self.amounts[index]).is_some();
        let next = self.amounts.get(index + 1).filter(|next| {
            // "12x de 99,90": at most two words lie between.
            let between = end + 1..next.tokens.start;
            between.len() <= 2 && between.clone().all(|at| self.word(at).is_some())
        });
        let next_counts = next.and_then(small_count).is_some();
        match (is_count, next.is_some()) {
            (true, true) => {
                counts.push(index);
                self.instalments.push(index + 1);
            }
            (true, false) => counts.push(index),
            (false, true) if next_counts => {
                self.instalments.push(index);
                counts.push(index + 1);
            }
            (false, _) => self.instalments.push(index),
        }
        is_count
    }

    fn follows_minimum(&self, at: usize) -> bool {
        let mut before = (0..at)
            .rev()
            .filter(|at| !matches!(self.kind(*at), Some(Kind::Colon)));
        let words: Vec<&str> = before
            .by_ref()
            .map_while(|at| self.word(at))
            .take(4)
            .collect();
        let forward: Vec<&str> = words.into_iter().rev().collect();
        (0..forward.len()).any(|from| {
            let found = cue::find(forward[from..].iter().copied());
            found.is_some_and(|found| {
                found.cue == Cue::MinimumQuantity && from + found.n_words == forward.len()
            })
        })
    }

    /// Removes amounts and moves the indices that point behind them.
    fn forget(&mut self, gone: &[usize]) {
        let shift = |index: usize| index - gone.iter().filter(|gone| **gone < index).count();
        self.bundle = self.bundle.map(|(index, count)| (shift(index), count));
        self.instalments.retain(|index| !gone.contains(index));
        self.instalments
            .iter_mut()
            .for_each(|index| *index = shift(*index));
        let mut index = 0;
        self.amounts.retain(|_| {
            index += 1;
            !gone.contains(&(index - 1))
        });
    }
}

/// The value of a bare whole number that is small enough to count something.
fn small_count(amount: &Amount<'_>) -> Option<u32> {
    let digits = &amount.number.text;
    let plain = !amount.is_marked() && !amount.negative && !amount.number.dash_ending;
    let count = plain.then(|| digits.parse().ok())??;
    (1..=9999).contains(&count).then_some(count)
}
