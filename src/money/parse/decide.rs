//! Picks the price among the amounts of a text, or the reason why none is one.

use super::fault::{Figure, PriceFault, PriceNote};
use super::roles::Role;
use super::token::{Kind, Token};
use super::value::Reader;
use super::{PriceContext, PriceReading, TaxMark};
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

/// Makes a fault of the figure it speaks of.
type Reason = fn(Figure) -> PriceFault;

impl Reader<'_> {
    /// The amounts that may be the price, best evidence only.
    fn candidates(&self) -> Result<Vec<usize>, PriceFault> {
        let readings = &self.roles.readings;
        let prices: Vec<usize> = self.with_role(Role::Price).collect();
        let marked: Vec<usize> = prices
            .iter()
            .copied()
            .filter(|index| self.amount(*index).is_marked())
            .collect();
        let pool = if marked.is_empty() { &prices } else { &marked };
        let now: Vec<usize> = pool
            .iter()
            .copied()
            .filter(|index| readings[*index].now)
            .collect();
        // "449 € now 389": the word speaks of a number without a currency, which may count.
        let bare_now = prices
            .iter()
            .find(|index| readings[**index].now && !pool.contains(*index));
        if let (Some(bare), Some(other), true) = (bare_now, pool.first(), now.is_empty()) {
            return Err(PriceFault::Several {
                first: self.figure(*other),
                second: self.figure(*bare),
            });
        }
        let hidden = self.hidden_amount();
        match (pool.first(), hidden) {
            (_, Some(text)) => Err(PriceFault::Unmarked {
                figure: Figure::Text(text),
            }),
            (Some(first), None) if marked.is_empty() && self.roles.unknown_words => {
                Err(PriceFault::Unmarked {
                    figure: self.figure(*first),
                })
            }
            (Some(_), None) if !now.is_empty() => Ok(now),
            (Some(_), None) => Ok(pool.clone()),
            (None, None) => Err(self.why_no_price()),
        }
    }

    /// A word that ends in digits before a currency that no amount owns: `now389 €`.
    fn hidden_amount(&self) -> Option<String> {
        let ends_in_digit = |word: &&str| word.ends_with(|c: char| c.is_ascii_digit());
        (1..self.layout.tokens.len()).find_map(|at| match self.layout.kind(at) {
            Some(Kind::Currency(symbol)) if !self.layout.owned[at] && !symbol.is_word() => self
                .layout
                .word(at - 1)
                .filter(ends_in_digit)
                .map(str::to_owned),
            _ => None,
        })
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
        let reasons: [(Role, Reason); 9] = [
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
                Role::ShippingTerms => notes.push(PriceNote::DeliveryTerms(self.figure(index))),
                _ => {}
            }
        }
        notes
    }
}
