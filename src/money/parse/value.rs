//! Turns one amount of a text into money: its number, its currency, and what speaks against it.

use super::amount::{Amount, Layout, lay_out};
use super::cue;
use super::decimal::Decimal;
use super::fault::{Figure, PriceFault};
use super::number::{self, Manner, Unread};
use super::roles::{Roles, assign};
use super::symbol::{Meaning, Symbol};
use super::token::{Gap, Kind, NumberText, Token};
use super::{PriceContext, PriceOrigin};
use crate::money::{Currency, Money};

/// A text laid out, with what is known from outside it.
pub(super) struct Reader<'t> {
    pub layout: Layout<'t>,
    pub roles: Roles,
    pub context: &'t PriceContext,
}

impl<'t> Reader<'t> {
    pub fn new(tokens: &'t [Token], context: &'t PriceContext) -> Reader<'t> {
        let layout = lay_out(tokens);
        let roles = assign(&layout);
        Reader {
            layout,
            roles,
            context,
        }
    }

    pub fn amount(&self, index: usize) -> &Amount<'t> {
        &self.layout.amounts[index]
    }

    /// The amount, and its text where it had to be rounded.
    pub fn money_of(&self, index: usize) -> Result<(Money, Option<String>), PriceFault> {
        let amount = self.amount(index);
        let currency = self.currency_of(index)?;
        let manner = Manner {
            marks: self.context.marks,
            exponent: currency.exponent(),
            machine: self.context.origin == PriceOrigin::Machine,
        };
        self.refuse_split(index)?;
        self.refuse_loose_join(index, manner)?;
        let text = || amount.number.text.clone();
        let decimal = number::read(amount.number, manner).map_err(|unread| match unread {
            Unread::Malformed => PriceFault::Malformed { text: text() },
            Unread::TooLarge => PriceFault::TooLarge { text: text() },
            Unread::Either(grouped, decimals) => PriceFault::Ambiguous {
                first: grouped.to_string(),
                second: decimals.to_string(),
            },
        })?;
        let minor_units = self.context.minor_units;
        let exponent = if minor_units { 0 } else { manner.exponent };
        let sign = if amount.negative { -1 } else { 1 };
        if let Some(minor) = decimal.to_minor(exponent) {
            return Ok((Money::from_minor(sign * minor, currency), None));
        }
        const PLACES_OF_A_COMPUTED_PRICE: u32 = 4;
        let computed = manner.machine && decimal.places() >= PLACES_OF_A_COMPUTED_PRICE;
        match decimal.to_minor_half_up(exponent) {
            Some(minor) if computed && !minor_units => {
                let rounded = Money::from_minor(sign * minor, currency);
                Ok((rounded, Some(decimal.to_string())))
            }
            Some(_) => Err(PriceFault::TooFine {
                text: decimal.to_string(),
                currency,
            }),
            None => Err(PriceFault::TooLarge { text: text() }),
        }
    }

    /// Refuses numbers side by side of which one may be the cents of the other.
    fn refuse_split(&self, index: usize) -> Result<(), PriceFault> {
        let amount = self.amount(index);
        let number = |at: usize| match self.layout.kind(at) {
            Some(Kind::Number(number)) if !self.layout.counted[at] => Some(number),
            _ => None,
        };
        let is_plain = |number: &NumberText| number.text.bytes().all(|b| b.is_ascii_digit());
        let cents = |number: &NumberText| number.text.len() == 2 && is_plain(number);
        let split = |left: &str, right: &str| PriceFault::SideBySide {
            first: format!("\"{left} {right}\""),
            second: format!("\"{left}\" and \"{right}\""),
        };
        let before = amount.at.checked_sub(1).and_then(number);
        // Four plain digits are no group of a larger number; anything else may belong to it.
        let apart = |before: &NumberText| before.text.len() >= 4 && is_plain(before);
        if let Some(before) = before.filter(|before| cents(amount.number) || !apart(before)) {
            return Err(split(&before.text, &amount.number.text));
        }
        // A whole number may go on in what follows: `CHF 10 49,05`, `1.299 € 99`.
        let complete = amount.number.dash_ending || amount.number.has_decimals();
        let symbol_last = amount.tokens.end > amount.at + 1;
        let next_is_bare = self
            .layout
            .amounts
            .get(index + 1)
            .is_some_and(|next| !next.is_marked());
        let after = number(amount.tokens.end).filter(|_| !complete && next_is_bare);
        if let Some(after) = after.filter(|after| !symbol_last || cents(after) || !is_plain(after))
        {
            return Err(split(&amount.number.text, &after.text));
        }
        if amount.number.raised_cents {
            return Err(split(&amount.number.text, "raised"));
        }
        Ok(())
    }

    /// Refuses `Fenrir 980 199,00`: a plain space joins groups, but the first may be a name's.
    fn refuse_loose_join(&self, index: usize, manner: Manner) -> Result<(), PriceFault> {
        let amount = self.amount(index);
        let Some(before) = amount.at.checked_sub(1) else {
            return Ok(());
        };
        let breaks = self.layout.tokens[amount.at].gap == Gap::Break;
        let name_before = match &self.layout.tokens[before].kind {
            Kind::Slash => true,
            _ if breaks => false,
            Kind::Word(word) => cue::find(std::iter::once(word.as_str())).is_none(),
            Kind::Number(_) => true,
            _ => false,
        };
        if !amount.number.loosely_joined || !name_before {
            return Ok(());
        }
        let last = amount.number.text.rsplit(' ').next().unwrap_or_default();
        let shown = |text: &str| {
            let alone = NumberText {
                text: text.to_owned(),
                ..amount.number.clone()
            };
            number::read(&alone, manner).map_or_else(|_| text.to_owned(), |read| read.to_string())
        };
        Err(PriceFault::SideBySide {
            first: shown(&amount.number.text),
            second: shown(last),
        })
    }

    /// The symbols that name an amount's currency, and whether the text states it at all.
    pub fn symbols_of(&self, index: usize) -> (Vec<&'static Symbol>, bool) {
        let own = &self.amount(index).symbols;
        if !own.is_empty() {
            return (own.clone(), true);
        }
        let apart = (0..self.layout.tokens.len()).filter_map(|at| match self.layout.kind(at) {
            Some(Kind::Currency(symbol)) if !self.layout.owned[at] => {
                (symbol.is_code() || !symbol.is_word()).then_some(*symbol)
            }
            _ => None,
        });
        let others = self
            .layout
            .amounts
            .iter()
            .flat_map(|amount| amount.symbols.iter().copied());
        let mut shared: Vec<&'static Symbol> = apart.chain(others).collect();
        shared.dedup();
        let stated = shared.len() == 1;
        (if stated { shared } else { Vec::new() }, stated)
    }

    fn currency_of(&self, index: usize) -> Result<Currency, PriceFault> {
        let configured = self.context.currency;
        let (symbols, _) = self.symbols_of(index);
        match symbols.as_slice() {
            [] => configured.ok_or(PriceFault::UnknownCurrency),
            [symbol] => self.meaning(symbol, configured),
            [symbol, code, ..] => {
                let currency = self.meaning(code, configured)?;
                if symbol.meaning(Some(currency)) == Meaning::Certain(currency) {
                    return Ok(currency);
                }
                Err(PriceFault::MixedCurrencies {
                    first: symbol.text.clone(),
                    second: code.text.clone(),
                })
            }
        }
    }

    fn meaning(
        &self,
        symbol: &Symbol,
        configured: Option<Currency>,
    ) -> Result<Currency, PriceFault> {
        // Japanese words settle the sign that yen and yuan share.
        let japanese = |token: &Token| match &token.kind {
            Kind::Word(word) => matches!(word.as_str(), "込" | "抜" | "送"),
            Kind::Currency(symbol) => symbol.text == "円",
            _ => false,
        };
        let configured = if configured.is_none() && self.layout.tokens.iter().any(japanese) {
            Currency::parse("JPY").ok()
        } else {
            configured
        };
        match symbol.meaning(configured) {
            Meaning::Certain(currency) => Ok(currency),
            Meaning::Unclear => Err(PriceFault::AmbiguousCurrency {
                symbol: symbol.text.clone(),
            }),
        }
    }

    pub fn refuse_placeholder(&self, index: usize, amount: Money) -> Result<(), PriceFault> {
        if is_parked(amount, self.context) {
            let figure = self.figure(index);
            return Err(PriceFault::Placeholder { figure });
        }
        Ok(())
    }

    pub fn figure(&self, index: usize) -> Figure {
        match self.money_of(index) {
            Ok((amount, _)) => Figure::Read(amount),
            Err(_) => Figure::Text(self.amount(index).number.text.clone()),
        }
    }
}

/// True of an amount that stands for "price unknown".
pub(super) fn is_parked(amount: Money, context: &PriceContext) -> bool {
    let decimal = Decimal::of_minor(amount.minor(), amount.currency().exponent());
    let mut extra = context.placeholders.iter();
    decimal.is_zero()
        || extra.any(|placeholder| placeholder.equals(decimal))
        || is_row_of_nines(decimal, amount.currency())
}

// Currencies whose unit is worth so much that no part costs 99999 of it.
const LARGE_UNITS: &str = "EUR USD GBP CHF CAD AUD NZD SGD KWD BHD OMR JOD";

/// Rows of nines on which shops park unknown prices: 9999.99, 99999, 99999.99 and longer ones.
///
/// Common practice, no source. Where the unit is small (99 999 yen), only seven nines count.
fn is_row_of_nines(decimal: Decimal, currency: Currency) -> bool {
    let whole = decimal.whole_if_no_fraction();
    let shown = whole.unwrap_or(decimal);
    let n_nines = if whole.is_some() { 5 } else { 4 };
    if !shown.is_all_nines(n_nines) {
        return false;
    }
    let large = LARGE_UNITS.split(' ').any(|code| code == currency.code());
    large || shown.is_all_nines(7)
}
