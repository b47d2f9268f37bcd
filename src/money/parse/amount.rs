//! Finds the amounts among the tokens: numbers with their currency and sign.
//!
//! Numbers that count something instead are taken out by `count`.

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
        let prefixed = self.currencies_lead();
        for at in 0..self.tokens.len() {
            if let Some(Kind::Number(number)) = self.kind(at)
                && !self.counted[at]
            {
                let amount = self.attach(number, at, prefixed);
                self.owned[amount.tokens.clone()].fill(true);
                self.amounts.push(amount);
            }
        }
    }

    /// True when currencies stand before their numbers, as the first one shows.
    fn currencies_lead(&self) -> bool {
        let mut numbers = (0..self.tokens.len()).filter(|at| self.is_number(*at));
        let first = numbers.find(|at| !self.counted[*at]).unwrap_or(0);
        let mut before = (0..first).rev().filter(|at| !self.is_dash(*at));
        before.next().is_some_and(|at| self.currency(at).is_some())
    }

    /// A number with the sign and currency around it, as far as no other amount owns them.
    fn attach(&self, number: &'t NumberText, at: usize, prefixed: bool) -> Amount<'t> {
        let mut tokens = at..at + 1;
        let mut symbols: Vec<&'static Symbol> = Vec::new();
        let mut negative = self.take_minus(&mut tokens);
        let left = tokens
            .start
            .checked_sub(1)
            .filter(|left| !self.owned[*left]);
        let left = left.and_then(|left| self.currency(left));
        let right = self.currency(tokens.end);
        if let Some(symbol) = left.filter(|_| prefixed || right.is_none()) {
            symbols.push(symbol);
            tokens.start -= 1;
            negative |= self.take_minus(&mut tokens);
        }
        let next = tokens.end + 1;
        let trailing = self.is_dash(tokens.end) && self.glued(tokens.end) && !self.is_number(next);
        let next_amount_follows =
            prefixed && self.currency(next).is_some() && self.is_number(next + 1);
        if trailing && !next_amount_follows {
            negative = true;
            tokens.end += 1;
        }
        if let Some(symbol) = self.currency(tokens.end) {
            let clarifies = symbol.is_code() && symbols.iter().all(|known| !known.is_code());
            let of_next = prefixed && self.is_number(tokens.end + 1) && !symbol.is_code();
            if (symbols.is_empty() || clarifies) && !of_next {
                symbols.push(symbol);
                tokens.end += 1;
            }
        }
        // A sign inside the number names the currency, except `$`: in Cape Verde that is the
        // decimal mark, whatever the currency.
        if let Some(inner) = number.inner_symbol
            && (symbols.is_empty() || inner.text != "$")
        {
            symbols.insert(0, inner);
        }
        Amount {
            number,
            at,
            tokens,
            symbols,
            negative,
            bracket: self.brackets[at],
        }
    }

    /// Takes a minus before the tokens into them.
    fn take_minus(&self, tokens: &mut Range<usize>) -> bool {
        let Some(dash) = tokens.start.checked_sub(1).filter(|at| self.is_dash(*at)) else {
            return false;
        };
        let ends_amount = |at: usize| self.owned[at] || self.is_number(at);
        let range = dash.checked_sub(1).is_some_and(ends_amount);
        let minus = !range && self.is_sign(dash);
        tokens.start -= usize::from(minus);
        minus
    }

    fn currency(&self, at: usize) -> Option<&'static Symbol> {
        match self.kind(at) {
            Some(Kind::Currency(symbol)) => Some(symbol),
            _ => None,
        }
    }

    fn is_dash(&self, at: usize) -> bool {
        matches!(self.kind(at), Some(Kind::Dash))
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
}
