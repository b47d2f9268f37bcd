//! Finds the amounts among the tokens: numbers with their currency and sign, and numbers that
//! count something instead.

use super::cue::{Cue, means};
use super::symbol::Symbol;
use super::token::{Gap, Kind, NumberText, Token};
use std::ops::Range;

/// A number that could be a sum of money.
#[derive(Debug, Clone)]
pub(super) struct Amount<'t> {
    pub number: &'t NumberText,
    /// Where the number itself stands.
    pub at: usize,
    /// Number, currency and sign together.
    pub tokens: Range<usize>,
    pub symbols: Vec<&'static Symbol>,
    pub negative: bool,
    /// Which pair of brackets it stands in; 0 outside of all.
    pub bracket: usize,
}

/// What the tokens of a text turned out to be.
pub(super) struct Layout<'t> {
    pub tokens: &'t [Token],
    /// The pair of brackets of each token; 0 outside of all.
    pub brackets: Vec<usize>,
    pub amounts: Vec<Amount<'t>>,
    /// Tokens that count or measure: percentages, numbers of pieces or months, parts of names.
    pub counted: Vec<bool>,
    /// Tokens that belong to an amount.
    pub owned: Vec<bool>,
    /// How many must be bought.
    pub minimum_quantity: Option<u32>,
    /// The amount at this index is for so many.
    pub bundle: Option<(usize, u32)>,
    /// Amounts at these indices are one of several payments.
    pub instalments: Vec<usize>,
}

impl Amount<'_> {
    pub fn is_marked(&self) -> bool {
        !self.symbols.is_empty()
    }
}

/// Finds the amounts.
pub(super) fn lay_out(tokens: &[Token]) -> Layout<'_> {
    let mut layout = Layout {
        tokens,
        brackets: number_brackets(tokens),
        amounts: Vec::new(),
        counted: vec![false; tokens.len()],
        owned: vec![false; tokens.len()],
        minimum_quantity: None,
        bundle: None,
        instalments: Vec::new(),
    };
    layout.mark_percentages_and_names();
    layout.attach_currencies();
    layout.take_counts();
    layout
}

fn number_brackets(tokens: &[Token]) -> Vec<usize> {
    let mut open: Vec<usize> = Vec::new();
    let mut n_pairs = 0;
    let number = |token: &Token| {
        match token.kind {
            Kind::Open => {
                n_pairs += 1;
                open.push(n_pairs);
            }
            Kind::Close => {
                open.pop();
                return 0;
            }
            _ => {}
        }
        open.last().copied().unwrap_or(0)
    };
    tokens.iter().map(number).collect()
}

impl<'t> Layout<'t> {
    pub fn kind(&self, at: usize) -> Option<&'t Kind> {
        self.tokens.get(at).map(|token| &token.kind)
    }

    /// The word at a place, if there is one.
    pub fn word(&self, at: usize) -> Option<&'t str> {
        match self.kind(at) {
            Some(Kind::Word(word)) => Some(word),
            _ => None,
        }
    }

    pub fn is_number(&self, at: usize) -> bool {
        matches!(self.kind(at), Some(Kind::Number(_)))
    }

    fn glued(&self, at: usize) -> bool {
        self.tokens
            .get(at)
            .is_some_and(|token| token.gap == Gap::Glued)
    }

    fn mark_percentages_and_names(&mut self) {
        for at in 0..self.tokens.len() {
            if !self.is_number(at) {
                continue;
            }
            let percent_after = matches!(self.kind(at + 1), Some(Kind::Percent));
            let percent_before = at > 0
                && matches!(self.kind(at - 1), Some(Kind::Percent))
                && self.glued(at)
                && !(at > 1 && self.is_number(at - 2));
            // `DDR5-6000`: glued through a dash to letters.
            let name = at > 1
                && self.glued(at)
                && self.glued(at - 1)
                && matches!(self.kind(at - 1), Some(Kind::Dash | Kind::Slash))
                && self.word(at - 2).is_some();
            self.counted[at] = percent_after || percent_before || name;
        }
    }

    fn attach_currencies(&mut self) {
        let currency = |at: usize| match self.kind(at) {
            Some(Kind::Currency(symbol)) => Some(*symbol),
            _ => None,
        };
        let first_number =
            (0..self.tokens.len()).find(|at| self.is_number(*at) && !self.counted[*at]);
        let prefixed = first_number.is_some_and(|at| {
            let before = (0..at)
                .rev()
                .find(|at| !matches!(self.kind(*at), Some(Kind::Dash)));
            before.is_some_and(|before| currency(before).is_some())
        });
        let mut owned = vec![false; self.tokens.len()];
        let mut amounts = Vec::new();
        for at in 0..self.tokens.len() {
            let Some(Kind::Number(number)) = self.kind(at) else {
                continue;
            };
            if self.counted[at] {
                continue;
            }
            let mut start = at;
            let mut end = at + 1;
            let mut symbols: Vec<&'static Symbol> = Vec::new();
            let mut negative = false;
            // Before the number: sign, currency, sign.
            let dash = |at: usize| matches!(self.kind(at), Some(Kind::Dash));
            let range_before =
                |dash_at: usize| dash_at > 0 && (owned[dash_at - 1] || self.is_number(dash_at - 1));
            if start > 0 && dash(start - 1) && !range_before(start - 1) && self.is_sign(start - 1) {
                negative = true;
                start -= 1;
            }
            let left = start.checked_sub(1).filter(|left| !owned[*left]);
            let left_symbol = left.and_then(currency);
            let right_symbol = currency(end);
            if let (Some(symbol), true) = (left_symbol, prefixed || right_symbol.is_none()) {
                symbols.push(symbol);
                start -= 1;
                if start > 0
                    && dash(start - 1)
                    && !range_before(start - 1)
                    && self.is_sign(start - 1)
                {
                    negative = true;
                    start -= 1;
                }
            }
            // After the number: sign, currency.
            let trailing = dash(end) && self.glued(end) && !self.is_number(end + 1);
            let trailing =
                trailing && !(currency(end + 1).is_some() && self.is_number(end + 2) && prefixed);
            if trailing {
                negative = true;
                end += 1;
            }
            if let Some(symbol) = currency(end) {
                let clarifies = symbols.iter().all(|known| !known.is_code()) && symbol.is_code();
                let next_owns = prefixed && self.is_number(end + 1) && !symbol.is_code();
                if (symbols.is_empty() || clarifies) && !next_owns {
                    symbols.push(symbol);
                    end += 1;
                }
            }
            // A sign inside the number names the currency, except `$`: in Cape Verde that is the
            // decimal mark, whatever the currency.
            if let Some(inner) = number.inner_symbol
                && (symbols.is_empty() || inner.text != "$")
            {
                symbols.insert(0, inner);
            }
            owned[start..end].fill(true);
            amounts.push(Amount {
                number,
                at,
                tokens: start..end,
                symbols,
                negative,
                bracket: self.brackets[at],
            });
        }
        self.owned = owned;
        self.amounts = amounts;
    }

    /// True when the dash at `at` is a minus: first of all, first in brackets, or glued to what
    /// follows and not to a word before.
    fn is_sign(&self, at: usize) -> bool {
        let opens = at == 0 || matches!(self.kind(at - 1), Some(Kind::Open | Kind::Colon));
        let after_currency = at > 0 && matches!(self.kind(at - 1), Some(Kind::Currency(_)));
        let glued_on = self.glued(at + 1) && (!self.glued(at) || !self.word_ends(at));
        opens || after_currency || glued_on
    }

    fn word_ends(&self, at: usize) -> bool {
        at > 0 && self.word(at - 1).is_some()
    }

    /// Takes out the bare whole numbers that count something.
    fn take_counts(&mut self) {
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
            let found = super::cue::find(forward[from..].iter().copied());
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
