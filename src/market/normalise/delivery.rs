//! Reads what delivery costs, where a record says so.

use super::settings::NormaliseSettings;
use crate::market::raw::{Field, RawOffer};
use crate::money::{Currency, Money, PriceContext, PriceFault, PriceOrigin, parse_charge};

/// Delivery of this offer to the retailer's country, in the currency of its price.
///
/// A cell is an amount, or a list of `country:region:service:amount`. Of several services the
/// cheapest counts. Terms for another country or for one region say nothing about ours.
pub(super) fn read(
    raw: &RawOffer,
    settings: &NormaliseSettings,
    context: &PriceContext,
    currency: Currency,
    notes: &mut Vec<String>,
) -> Option<Money> {
    let values = raw.fields.get(Field::Shipping);
    let mut cheapest: Option<Money> = None;
    let mut elsewhere = false;
    for value in values.iter().filter(|value| !value.text.trim().is_empty()) {
        let context = PriceContext {
            origin: match value.origin {
                crate::market::Origin::Machine => PriceOrigin::Machine,
                crate::market::Origin::Person => PriceOrigin::Person,
            },
            minor_units: false,
            ..context.clone()
        };
        for entry in entries(&value.text) {
            let Some(amount) = entry.amount_for(&settings.country) else {
                elsewhere = true;
                continue;
            };
            match read_charge(amount, &context, currency) {
                Ok(charge) => {
                    let least = cheapest.is_none_or(|known| charge.minor() < known.minor());
                    cheapest = if least { Some(charge) } else { cheapest };
                }
                Err(problem) => notes.push(format!("shipping: \"{amount}\" {problem}")),
            }
        }
    }
    if cheapest.is_none() && elsewhere {
        notes.push(format!("shipping: nothing is said of {}", settings.country));
    }
    cheapest
}

/// One set of delivery terms.
struct Entry<'a> {
    /// Country and region; none where the cell is only an amount.
    place: Option<(&'a str, &'a str)>,
    amount: &'a str,
}

impl<'a> Entry<'a> {
    fn amount_for(&self, country: &str) -> Option<&'a str> {
        let ours = self.place.is_none_or(|(place, region)| {
            region.is_empty() && (place.is_empty() || place.eq_ignore_ascii_case(country))
        });
        ours.then_some(self.amount)
    }
}

/// Splits a cell into its terms. A comma separates only before another country's letters, since
/// it may also stand in an amount.
fn entries(cell: &str) -> Vec<Entry<'_>> {
    let mut entries = Vec::new();
    let mut rest = cell.trim();
    while !rest.is_empty() {
        let end = rest
            .match_indices(',')
            .map(|(at, _)| at)
            .find(|at| starts_with_country(rest[at + 1..].trim_start()))
            .unwrap_or(rest.len());
        entries.push(entry(rest[..end].trim()));
        rest = rest.get(end + 1..).unwrap_or_default().trim_start();
    }
    entries
}

fn starts_with_country(text: &str) -> bool {
    let bytes = text.as_bytes();
    matches!(bytes, [a, b, b':', ..] if a.is_ascii_alphabetic() && b.is_ascii_alphabetic())
}

fn entry(text: &str) -> Entry<'_> {
    const AMOUNT_AT: usize = 3;
    let parts: Vec<&str> = text.split(':').map(str::trim).collect();
    if !starts_with_country(text) && (parts.len() <= AMOUNT_AT || !parts[0].is_empty()) {
        return Entry {
            place: None,
            amount: text,
        };
    }
    let amount = parts
        .get(AMOUNT_AT)
        .or(parts.last())
        .copied()
        .unwrap_or_default();
    let region = if parts.len() > AMOUNT_AT {
        parts[1]
    } else {
        ""
    };
    Entry {
        place: Some((parts[0], region)),
        amount,
    }
}

fn read_charge(text: &str, context: &PriceContext, wanted: Currency) -> Result<Money, String> {
    let charge = parse_charge(text, context).map_err(|fault: PriceFault| fault.to_string())?;
    if charge.currency() == wanted {
        Ok(charge)
    } else {
        Err(format!(
            "is in {}, the price in {wanted}",
            charge.currency()
        ))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::market::RawText;

    fn shipping(cell: &str, country: &str) -> Option<i64> {
        let mut raw = RawOffer::default();
        raw.push(Field::Shipping, RawText::person(cell));
        let settings = NormaliseSettings::of("shop", country, Currency::EUR);
        let context = PriceContext {
            currency: Some(Currency::EUR),
            ..PriceContext::default()
        };
        read(&raw, &settings, &context, Currency::EUR, &mut Vec::new()).map(|charge| charge.minor())
    }

    #[test]
    fn terms_count_for_their_own_country_only() {
        for (cell, country, expected) in [
            // F31, S35.
            ("DE:::4.99 EUR", "DE", Some(499)),
            ("DE:::4.99 EUR", "AT", None),
            ("DE:::4,99 EUR, AT:::9,90 EUR", "AT", Some(990)),
            (
                "DE::Standard:4.99 EUR,DE::Express:12.99 EUR",
                "DE",
                Some(499),
            ),
            ("DE:BY::4.99 EUR", "DE", None),
            ("DE:4.99 EUR", "DE", Some(499)),
            (":::4.99 EUR", "DE", Some(499)),
            ("4,99 €", "DE", Some(499)),
            ("0.00", "DE", Some(0)),
            ("free", "DE", Some(0)),
            ("kostenlos", "DE", Some(0)),
            ("DE:::4.99 USD", "DE", None),
            ("soon", "DE", None),
            ("", "DE", None),
        ] {
            assert_eq!(shipping(cell, country), expected, "{cell}");
        }
    }
}
