//! What holds for any text, and for any amount.

use super::*;
use proptest::prelude::*;

fn any_currency() -> impl Strategy<Value = Currency> {
    let all: Vec<Currency> = Currency::all().collect();
    proptest::sample::select(all)
}

/// Texts made of the characters and words that price texts are made of.
fn pricelike() -> impl Strategy<Value = String> {
    const PIECES: &[&str] = &[
        "1", "12", "299", "00", "99", "1299", "9080", ".", ",", "'", " ", "\u{a0}", "\u{202f}",
        "-", "–", "€", "$", "EUR", "kr", "Rs.", "(", ")", "%", "x", "×", "/", "+", "*", "¹", "\n",
        "ab", "from", "was", "statt", "now", "jetzt", "UVP", "save", "inkl.", "zzgl.", "MwSt.",
        "Versand", "free", "delivery", "Monat", "pro", "GB", "Stück", "ca.", "&nbsp;", "&euro;",
        "税込", "円", "٬", "٫", "١", "de", "por", "2", "for", "min", "order", ":", "~", "Fenrir",
        "\u{200f}",
    ];
    proptest::collection::vec(proptest::sample::select(PIECES), 0..14)
        .prop_map(|pieces| pieces.concat())
}

fn any_context() -> impl Strategy<Value = PriceContext> {
    let locales = proptest::sample::select(&["", "de", "en", "fr", "de-CH", "ja"][..]);
    (
        locales,
        proptest::option::of(any_currency()),
        any::<bool>(),
        any::<bool>(),
    )
        .prop_map(|(locale, currency, machine, minor_units)| PriceContext {
            marks: NumberMarks::of_locale(locale),
            currency,
            origin: if machine {
                PriceOrigin::Machine
            } else {
                PriceOrigin::Person
            },
            minor_units,
            placeholders: Vec::new(),
        })
}

proptest! {
    #[test]
    fn any_text_is_read_or_refused(text in ".{0,80}", context in any_context()) {
        let _ = parse_price(&text, &context);
        let _ = parse_charge(&text, &context);
        let _ = parse_currency(&text, context.currency);
    }

    #[test]
    fn a_price_is_above_zero_and_never_above_its_list_price(
        text in pricelike(),
        context in any_context(),
    ) {
        if let Ok(reading) = parse_price(&text, &context) {
            prop_assert!(reading.amount.minor() > 0, "{}", reading.amount);
            prop_assert!(reading.minimum_quantity > 0);
            if let Some(list) = reading.list_price {
                prop_assert!(list >= reading.amount);
            }
        }
        let _ = parse_charge(&text, &context);
    }

    #[test]
    fn a_printed_amount_reads_back(minor in 1_i64..1_000_000_000_000, currency in any_currency()) {
        let amount = Money::from_minor(minor, currency);
        let parked = |fault: &PriceFault| matches!(fault, PriceFault::Placeholder { .. });
        for (text, origin, currency) in [
            (amount.decimal(), PriceOrigin::Machine, Some(currency)),
            (amount.to_string(), PriceOrigin::Person, None),
        ] {
            // Three decimals alone after the mark need the machine or the locale to settle them.
            let marks = NumberMarks::of_locale("en");
            let context = PriceContext { origin, currency, marks, ..PriceContext::default() };
            match parse_price(&text, &context) {
                Ok(reading) => prop_assert_eq!(reading.amount, amount),
                Err(fault) => prop_assert!(parked(&fault), "{text}: {fault}"),
            }
        }
    }

    #[test]
    fn spaces_and_footnotes_around_change_nothing(
        text in pricelike(),
        context in any_context(),
        before in "[ \u{a0}\u{2009}\n\u{200e}]{0,3}",
        after in "[ \u{a0}\n*\u{200f}†]{0,3}",
    ) {
        // A star after a dangling number could still be a multiplication sign; it is not, at the
        // end of a text.
        let framed = format!("{before}{text}{after}");
        prop_assert_eq!(parse_price(&framed, &context), parse_price(&text, &context));
    }
}
