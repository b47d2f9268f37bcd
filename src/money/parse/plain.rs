//! Reads the texts that most prices are: one number, with or without its currency behind it.
//!
//! A shortcut and no rule of its own: what it reads is what [`super::parse_price`] would read the
//! long way, which a property holds. Whatever is not as plain, or no good price, goes that way.

use super::number::{self, Manner};
use super::token::NumberText;
use super::value::is_parked;
use super::{PriceContext, PriceOrigin, PriceReading, TaxMark};
use crate::money::{Currency, Money};

/// Characters of a number; one with more is not plain.
const NUMBER_CHARACTERS_MAX: usize = 16;

/// The price that a plain text states; `None` where the text needs a closer look.
pub(super) fn price(text: &str, context: &PriceContext) -> Option<PriceReading> {
    let text = text.trim_matches(' ');
    let end = text.find(|one: char| !one.is_ascii_digit() && !is_mark(one));
    let (number, behind) = text.split_at(end.unwrap_or(text.len()));
    let stated = match behind.trim_start_matches(' ') {
        "" => None,
        "€" => Some(Currency::EUR),
        code if code.bytes().all(|byte| byte.is_ascii_uppercase()) => {
            Some(Currency::parse(code).ok()?)
        }
        _ => return None,
    };
    if !is_number(number) {
        return None;
    }
    let currency = stated.or(context.currency)?;
    let manner = Manner {
        marks: context.marks,
        exponent: currency.exponent(),
        machine: context.origin == PriceOrigin::Machine,
    };
    let number = NumberText {
        text: number.to_owned(),
        ..NumberText::default()
    };
    let decimal = number::read(&number, manner).ok()?;
    let exponent = if context.minor_units {
        0
    } else {
        manner.exponent
    };
    let amount = Money::from_minor(decimal.to_minor(exponent)?, currency);
    if is_parked(amount, context) {
        return None;
    }
    Some(PriceReading {
        amount,
        tax: TaxMark::Unstated,
        shipping: None,
        list_price: None,
        minimum_quantity: 1,
        currency_stated: stated.is_some(),
        notes: Vec::new(),
    })
}

fn is_mark(one: char) -> bool {
    matches!(one, '.' | ',')
}

/// Digits with single marks between them.
fn is_number(text: &str) -> bool {
    text.len() <= NUMBER_CHARACTERS_MAX
        && text
            .split(is_mark)
            .all(|digits| !digits.is_empty() && digits.bytes().all(|byte| byte.is_ascii_digit()))
}

#[cfg(test)]
mod tests {
    use super::super::{NumberMarks, decide, with_tokens};
    use super::*;
    use proptest::prelude::*;

    fn is_same(text: &str, context: &PriceContext) -> bool {
        let Some(short) = price(text, context) else {
            return false;
        };
        let long = with_tokens(text, context, decide::price);
        assert_eq!(long, Ok(short), "{text:?} {context:?}");
        true
    }

    fn contexts() -> impl Iterator<Item = PriceContext> {
        let locales = ["", "de", "en", "fr", "de-CH", "en-IN"];
        let origins = [PriceOrigin::Machine, PriceOrigin::Person];
        let currencies = [None, Some("EUR"), Some("JPY"), Some("KWD")];
        locales.into_iter().flat_map(move |locale| {
            origins.into_iter().flat_map(move |origin| {
                currencies.into_iter().map(move |currency| PriceContext {
                    marks: NumberMarks::of_locale(locale),
                    currency: currency.map(|code| Currency::parse(code).unwrap()),
                    origin,
                    ..PriceContext::default()
                })
            })
        })
    }

    #[test]
    fn the_usual_forms_are_read_the_short_way() {
        let german = PriceContext {
            marks: NumberMarks::of_locale("de"),
            currency: Some(Currency::EUR),
            ..PriceContext::default()
        };
        for text in [
            "1299",
            "1.299,00",
            "1299.00",
            " 1.299,00 €",
            "12,90€",
            "1299.00 EUR",
        ] {
            assert!(is_same(text, &german), "{text}");
        }
        // No price, or one that must be told apart from something else.
        for text in [
            "", "0", "9999,99", "12,", ",99", "1..2", "749,-", "from 12", "12 %", "1 299",
        ] {
            assert_eq!(price(text, &german), None, "{text}");
        }
    }

    #[test]
    fn every_currency_is_read_as_the_long_way_reads_it() {
        for currency in Currency::all() {
            for context in contexts() {
                for number in ["1234", "12.50", "1,234.50", "1.234,567"] {
                    is_same(&format!("{number} {}", currency.code()), &context);
                    is_same(&format!("{number}{}", currency.code()), &context);
                }
            }
        }
    }

    proptest! {
        #[test]
        fn the_short_way_reads_what_the_long_way_reads(
            text in " ?[0-9]{1,7}([.,][0-9]{1,4}){0,3} {0,2}(€|EUR|[A-Z]{3})? ?",
            at in any::<prop::sample::Index>(),
            minor_units in any::<bool>(),
        ) {
            let contexts: Vec<PriceContext> = contexts().collect();
            let context = PriceContext { minor_units, ..at.get(&contexts).clone() };
            is_same(&text, &context);
        }
    }
}
