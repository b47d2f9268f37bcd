//! The past as a table for spreadsheets: CSV by RFC 4180.

use crate::cli::report::Failure;
use crate::decide::shown_instant;
use crate::history::{State, Stock};
use crate::money::Money;
use crate::watch::past::Past;
use std::borrow::Cow;

const HEADING: [&str; 12] = [
    "retailer",
    "sku",
    "seller",
    "condition",
    "currency",
    "tax_included",
    "from",
    "until",
    "state",
    "price",
    "orderable",
    "is_lowest",
];

/// Every step of every offer, gaps included: a row for as long as nothing changed.
///
/// # Errors
/// None that is known: it is written to memory.
pub(super) fn text(past: &Past) -> Result<String, Failure> {
    let mut writer = csv::WriterBuilder::new()
        .terminator(csv::Terminator::CRLF)
        .from_writer(Vec::new());
    writer.write_record(HEADING)?;
    for ware in &past.wares {
        let lowest = ware.facts.as_ref().and_then(|facts| facts.lowest);
        for offer in &ware.offers {
            for step in offer.series.steps() {
                let (state, price, orderable) = match step.state {
                    State::Asked(quote) => {
                        let price = Money::from_minor(quote.minor, ware.kind.currency).decimal();
                        let orderable = match quote.stock {
                            Stock::Orderable => "yes",
                            Stock::NotOrderable => "no",
                            Stock::Untold => "unknown",
                        };
                        ("asked", price, orderable)
                    }
                    State::Absent => ("absent", String::new(), ""),
                    State::Unread => ("unread", String::new(), ""),
                };
                let had = step.state.to_be_had();
                let is_lowest = had.is_some() && had == lowest.map(|lowest| lowest.minor);
                writer.write_record([
                    inert(offer.retailer.as_str()).as_ref(),
                    inert(offer.sku.as_str()).as_ref(),
                    inert(offer.seller.as_deref().unwrap_or("")).as_ref(),
                    ware.kind.condition.name(),
                    ware.kind.currency.code(),
                    yes_no(ware.kind.tax_included),
                    &shown_instant(step.from),
                    &shown_instant(step.until),
                    state,
                    &price,
                    orderable,
                    yes_no(is_lowest),
                ])?;
            }
        }
    }
    let bytes = writer.into_inner().map_err(|error| error.into_error())?;
    Ok(String::from_utf8(bytes)?)
}

fn yes_no(is_so: bool) -> &'static str {
    if is_so { "yes" } else { "no" }
}

/// Text from outside that a spreadsheet would run as a formula, with an apostrophe before it. The
/// signs are those of OWASP's page on CSV injection (from memory), and their full-width forms.
fn inert(text: &str) -> Cow<'_, str> {
    const STARTS: [char; 10] = [
        '=', '+', '-', '@', '\t', '\r', '\u{ff1d}', '\u{ff0b}', '\u{ff0d}', '\u{ff20}',
    ];
    match text.starts_with(STARTS) || text.starts_with('\n') {
        true => Cow::Owned(format!("'{text}")),
        false => Cow::Borrowed(text),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_a_spreadsheet_would_run_becomes_text() {
        for text in [
            "=1+1",
            "+1",
            "-1",
            "@x",
            "\t=1",
            "\r=1",
            "\n=1",
            "\u{ff1d}1",
        ] {
            assert_eq!(inert(text), format!("'{text}"));
        }
        for text in ["", "A-1=", "12", "'x"] {
            assert_eq!(inert(text), text);
        }
    }
}
