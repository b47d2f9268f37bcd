//! Picks the price among the amounts, and turns numbers into money.

use super::amount::{Amount, Layout, lay_out};
use super::decimal::Decimal;
use super::fault::{Figure, PriceFault, PriceNote};
use super::number::{self, Manner, Unread};
use super::roles::{Role, Roles, assign};
use super::symbol::{Meaning, Symbol};
use super::token::{Gap, Kind, NumberText, Token};
use super::{PriceContext, PriceOrigin, PriceReading, TaxMark};
use crate::money::{Currency, Money};

/// The price that the tokens state.
pub(super) fn price(tokens: &[Token], context: &PriceContext) -> Result<PriceReading, PriceFault> {
    let reader = Reader::new(tokens, context);
    let candidates = reader.candidates()?;
    let chosen = reader.choose(&candidates)?;
    let (amount, rounded) = reader.money_of(chosen)?;
    reader.refuse_placeholder(chosen, amount)?;
    let mut notes: Vec<PriceNote> = rounded.map(PriceNote::Rounded).into_iter().collect();
    let minor = amount.minor();
    let (amount, minimum_quantity) = match reader.layout.bundle {
        Some((index, count)) if index == chosen => {
            if minor % i64::from(count) != 0 {
                let figure = Figure::Read(amount);
                return Err(PriceFault::Bundle { figure, count });
            }
            notes.push(PriceNote::PerPieceOf(count, amount));
            let each = Money::from_minor(minor / i64::from(count), amount.currency());
            (each, count)
        }
        _ => (amount, reader.layout.minimum_quantity.unwrap_or(1)),
    };
    let list_price = reader.list_price(chosen, amount)?;
    reader.check_saving(amount, list_price)?;
    notes.extend(reader.notes(&candidates, chosen));
    Ok(PriceReading {
        amount,
        tax: match reader.roles.readings[chosen].tax_included {
            Some(true) => TaxMark::Inclusive,
            Some(false) => TaxMark::Exclusive,
            None => TaxMark::Unstated,
        },
        shipping: reader.shipping(amount.currency()),
        list_price,
        minimum_quantity,
        currency_stated: reader.symbols_of(chosen).1,
        notes,
    })
}

/// The charge that the tokens state; words like "free" are zero.
pub(super) fn charge(tokens: &[Token], context: &PriceContext) -> Result<Money, PriceFault> {
    let reader = Reader::new(tokens, context);
    let payable = |role: Role| matches!(role, Role::Price | Role::Shipping);
    let readings = &reader.roles.readings;
    let charges: Vec<usize> = (0..readings.len())
        .filter(|index| payable(readings[*index].role))
        .collect();
    match (charges.as_slice(), readings.is_empty()) {
        ([], true) if reader.roles.free_words || reader.roles.free_shipping => context
            .currency
            .map(Money::zero)
            .ok_or(PriceFault::UnknownCurrency),
        ([], _) => Err(reader.why_no_price()),
        (charges, _) => {
            let chosen = reader.choose(charges)?;
            reader.money_of(chosen).map(|(amount, _)| amount)
        }
    }
}

struct Reader<'t> {
    layout: Layout<'t>,
    roles: Roles,
    context: &'t PriceContext,
}

impl<'t> Reader<'t> {
    fn new(tokens: &'t [Token], context: &'t PriceContext) -> Reader<'t> {
        let layout = lay_out(tokens);
        let roles = assign(&layout);
        Reader {
            layout,
            roles,
            context,
        }
    }

    fn amount(&self, index: usize) -> &Amount<'t> {
        &self.layout.amounts[index]
    }

    /// The amounts that may be the price, best evidence only.
    fn candidates(&self) -> Result<Vec<usize>, PriceFault> {
        let readings = &self.roles.readings;
        let prices: Vec<usize> = (0..readings.len())
            .filter(|index| readings[*index].role == Role::Price)
            .collect();
        let only = |wanted: &dyn Fn(usize) -> bool| -> Vec<usize> {
            prices
                .iter()
                .copied()
                .filter(|index| wanted(*index))
                .collect()
        };
        let now = only(&|index| readings[index].now);
        if !now.is_empty() {
            return Ok(now);
        }
        let marked = only(&|index| self.amount(index).is_marked());
        if !marked.is_empty() {
            return Ok(marked);
        }
        match prices.first() {
            Some(first) if self.roles.unknown_words => Err(PriceFault::Unmarked {
                figure: self.figure(*first),
            }),
            Some(_) => Ok(prices),
            None => Err(self.why_no_price()),
        }
    }

    /// The one candidate, the gross of a gross and net pair, or the same price said twice.
    fn choose(&self, candidates: &[usize]) -> Result<usize, PriceFault> {
        let several = |first: usize, second: usize| PriceFault::Several {
            first: self.figure(first),
            second: self.figure(second),
        };
        let Some((&first, rest)) = candidates.split_first() else {
            return Err(PriceFault::NoAmount);
        };
        let readings = &self.roles.readings;
        let unsure: Vec<usize> = (0..readings.len())
            .filter(|i| readings[*i].unsure)
            .collect();
        if let Some(index) = candidates.iter().find(|index| unsure.contains(*index)) {
            let other = unsure.iter().find(|other| *other != index).unwrap_or(index);
            return Err(several(*index, *other));
        }
        let Some(&second) = rest.first() else {
            return Ok(first);
        };
        let taxed = |included: bool| {
            let labelled = candidates.iter().copied();
            labelled.filter(move |index| readings[*index].tax_included == Some(included))
        };
        let (gross, net) = (taxed(true).collect::<Vec<_>>(), taxed(false).count());
        if let ([gross], true) = (gross.as_slice(), net + 1 == candidates.len()) {
            return Ok(*gross);
        }
        let amounts: Option<Vec<Money>> = candidates
            .iter()
            .map(|index| self.money_of(*index).ok().map(|(amount, _)| amount))
            .collect();
        let same = amounts.is_some_and(|all| all.windows(2).all(|pair| pair[0] == pair[1]));
        if same {
            Ok(first)
        } else {
            Err(several(first, second))
        }
    }

    /// The amount, and its text where it had to be rounded.
    fn money_of(&self, index: usize) -> Result<(Money, Option<String>), PriceFault> {
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
        let exponent = if self.context.minor_units {
            0
        } else {
            currency.exponent()
        };
        let sign = if amount.negative { -1 } else { 1 };
        if let Some(minor) = decimal.to_minor(exponent) {
            return Ok((Money::from_minor(sign * minor, currency), None));
        }
        const PLACES_OF_A_COMPUTED_PRICE: u32 = 4;
        let computed = manner.machine && decimal.places() >= PLACES_OF_A_COMPUTED_PRICE;
        match decimal.to_minor_half_up(exponent) {
            Some(minor) if computed && !self.context.minor_units => {
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
        let split = |left: &str, right: &str| PriceFault::Ambiguous {
            first: format!("one number \"{left} {right}\""),
            second: format!("two numbers {left} and {right}"),
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
        let spaced = self.layout.tokens[amount.at].gap == Gap::Space;
        let Some(before) = amount.at.checked_sub(1).filter(|_| spaced) else {
            return Ok(());
        };
        let name_before = match &self.layout.tokens[before].kind {
            Kind::Word(word) => super::cue::find(std::iter::once(word.as_str())).is_none(),
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
        Err(PriceFault::Ambiguous {
            first: shown(&amount.number.text),
            second: shown(last),
        })
    }

    /// The symbols that name an amount's currency, and whether the text states it at all.
    fn symbols_of(&self, index: usize) -> (Vec<&'static Symbol>, bool) {
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

    fn refuse_placeholder(&self, index: usize, amount: Money) -> Result<(), PriceFault> {
        let Some(decimal) = Decimal::parse(&amount.decimal()) else {
            return Ok(());
        };
        let extra = &self.context.placeholders;
        let parked = decimal.is_zero()
            || extra.iter().any(|placeholder| placeholder.equals(decimal))
            || is_row_of_nines(decimal, amount.currency());
        let figure = || self.figure(index);
        if parked {
            Err(PriceFault::Placeholder { figure: figure() })
        } else {
            Ok(())
        }
    }

    fn figure(&self, index: usize) -> Figure {
        match self.money_of(index) {
            Ok((amount, _)) => Figure::Read(amount),
            Err(_) => Figure::Text(self.amount(index).number.text.clone()),
        }
    }

    fn with_role(&self, role: Role) -> impl Iterator<Item = usize> + '_ {
        let readings = self.roles.readings.iter().enumerate();
        readings
            .filter(move |(_, reading)| reading.role == role)
            .map(|(index, _)| index)
    }

    /// The most telling reason why none of the amounts is a price.
    fn why_no_price(&self) -> PriceFault {
        let first = |role: Role| self.with_role(role).next();
        let ends: Vec<usize> = self.with_role(Role::Range).collect();
        if let [low, high, ..] = ends.as_slice() {
            let (low, high) = (self.figure(*low), self.figure(*high));
            return PriceFault::Range { low, high };
        }
        let reasons: [(Role, fn(Figure) -> PriceFault); 9] = [
            (Role::Bound, |figure| PriceFault::Bound { figure }),
            (Role::Instalment, |figure| PriceFault::Instalment { figure }),
            (Role::PerUnit, |figure| PriceFault::UnitPrice { figure }),
            (Role::Negative, |figure| PriceFault::Negative { figure }),
            (Role::Saving, |figure| PriceFault::Discount { figure }),
            (Role::Approximate, |figure| PriceFault::Approximate {
                figure,
            }),
            (Role::List, |figure| PriceFault::ListPrice { figure }),
            (Role::Shipping, |figure| PriceFault::Shipping { figure }),
            (Role::ShippingTerms, |figure| PriceFault::Shipping {
                figure,
            }),
        ];
        for (role, fault) in reasons {
            if let Some(index) = first(role) {
                return fault(self.figure(index));
            }
        }
        PriceFault::NoAmount
    }

    /// What it cost before. A list price below the price means that the words were misread.
    fn list_price(&self, chosen: usize, amount: Money) -> Result<Option<Money>, PriceFault> {
        for index in self.with_role(Role::List) {
            let Ok((list, _)) = self.money_of(index) else {
                continue;
            };
            if list.currency() != amount.currency() {
                continue;
            }
            if list.minor() < amount.minor() {
                return Err(PriceFault::Several {
                    first: self.figure(chosen),
                    second: Figure::Read(list),
                });
            }
            return Ok(Some(list));
        }
        Ok(None)
    }

    /// More saved than paid, and no list price that explains it: the two may be swapped.
    fn check_saving(&self, amount: Money, list: Option<Money>) -> Result<(), PriceFault> {
        for index in self.with_role(Role::Saving) {
            let Ok((saving, _)) = self.money_of(index) else {
                continue;
            };
            let same = saving.currency() == amount.currency();
            let explained = list.is_some_and(|list| list.minor() > saving.minor());
            if same && saving.minor() > amount.minor() && !explained {
                return Err(PriceFault::Several {
                    first: Figure::Read(amount),
                    second: Figure::Read(saving),
                });
            }
        }
        Ok(())
    }

    fn shipping(&self, currency: Currency) -> Option<Money> {
        let stated = self
            .with_role(Role::Shipping)
            .filter_map(|index| self.money_of(index).ok())
            .map(|(amount, _)| amount)
            .find(|amount| amount.currency() == currency);
        let free = self.roles.free_shipping.then(|| Money::zero(currency));
        stated.or(free)
    }

    fn notes(&self, candidates: &[usize], chosen: usize) -> Vec<PriceNote> {
        let mut notes = Vec::new();
        let gross = self.roles.readings[chosen].tax_included == Some(true);
        for index in candidates.iter().filter(|index| **index != chosen && gross) {
            if self.roles.readings[*index].tax_included == Some(false)
                && let Ok((net, _)) = self.money_of(*index)
            {
                notes.push(PriceNote::Net(net));
            }
        }
        for index in 0..self.roles.readings.len() {
            match self.roles.readings[index].role {
                Role::PerUnit => notes.push(PriceNote::UnitPriceIgnored),
                Role::Instalment => notes.push(PriceNote::InstalmentIgnored),
                Role::Approximate => notes.push(PriceNote::ConversionIgnored(self.figure(index))),
                Role::ShippingTerms => notes.push(PriceNote::FreeShippingFrom(self.figure(index))),
                _ => {}
            }
        }
        notes
    }
}

// Currencies whose unit is worth so much that no part costs 99999 of it.
const LARGE_UNITS: &str = "EUR USD GBP CHF CAD AUD NZD SGD KWD BHD OMR JOD";

/// Rows of nines on which shops park unknown prices: 9999.99, 99999, 99999.99 and longer ones.
///
/// Common practice, no source. Where the unit is small (99 999 yen), only seven nines count.
fn is_row_of_nines(decimal: Decimal, currency: Currency) -> bool {
    let large = LARGE_UNITS.split(' ').any(|code| code == currency.code());
    let whole = decimal.whole_if_no_fraction();
    let shown = whole.unwrap_or(decimal);
    if !large {
        return shown.is_all_nines(7);
    }
    shown.is_all_nines(if whole.is_some() { 5 } else { 4 })
}
