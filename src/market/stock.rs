//! How long a brief's readers wait for a part.

use super::offer::Availability;
use super::snapshot::LeftOut;
use crate::catalogue::table::Table;
use chrono::{DateTime, Utc};

/// Which offers a brief takes, by whether and when they can be sent.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Stock {
    /// Those in stock.
    #[default]
    InStock,
    /// Also those that can be ordered and say that they leave the retailer within so many days.
    LeadTime { days_max: u32 },
    /// Also those out of stock, for guides that plan ahead.
    Any,
}

impl Stock {
    /// Whether an offer counts, and if not, why.
    ///
    /// What a shop alone hands out and what is made no more never counts. Goods in stock that name
    /// no days are sent at once (common practice, no source).
    pub(super) fn judge(
        self,
        availability: Availability,
        lead_days: Option<u32>,
    ) -> Result<(), LeftOut> {
        use Availability::{
            BackOrder, Discontinued, InStock, InStoreOnly, LimitedAvailability, MadeToOrder,
            OnlineOnly, OutOfStock, PreOrder, PreSale, Reserved, SoldOut, Unknown,
        };
        match (self, availability) {
            (_, InStoreOnly | Discontinued) => Err(LeftOut::NotInStock),
            (Stock::Any, _) => Ok(()),
            (Stock::InStock, _) if availability.is_orderable() => Ok(()),
            (Stock::InStock, _) => Err(LeftOut::NotInStock),
            (Stock::LeadTime { days_max }, InStock | LimitedAvailability | OnlineOnly) => {
                within(days_max, lead_days.unwrap_or(0))
            }
            // Who says how soon the goods leave has them to sell.
            (
                Stock::LeadTime { days_max },
                BackOrder | PreOrder | PreSale | MadeToOrder | Unknown,
            ) => within(days_max, lead_days.ok_or(LeftOut::TooLate)?),
            (Stock::LeadTime { .. }, OutOfStock | SoldOut | Reserved) => Err(LeftOut::NotInStock),
        }
    }

    /// From a brief's keys `stock` and `lead_days_max`.
    pub(super) fn read(table: &mut Table<'_, '_>) -> Stock {
        let days = table.integer("lead_days_max", 0..3_651);
        let Some(text) = table.text("stock") else {
            if let Some(days) = days {
                let message = "`lead_days_max` says nothing without `stock = \"lead_time\"`";
                let remedy = "add the line, or take this one out";
                table.document().fault(&days.span, message, remedy);
            }
            return Stock::default();
        };
        let fault = |message: String, remedy: &str| {
            table.document().fault(&text.span, message, remedy);
            Stock::default()
        };
        let days_max = days.and_then(|days| u32::try_from(days.value).ok());
        match (text.value.as_str(), days_max) {
            ("lead_time", Some(days_max)) => Stock::LeadTime { days_max },
            ("lead_time", None) => fault(
                "`stock = \"lead_time\"` does not say how long".to_owned(),
                "add `lead_days_max`, in days",
            ),
            ("in_stock", None) => Stock::InStock,
            ("any", None) => Stock::Any,
            (known @ ("in_stock" | "any"), Some(_)) => fault(
                format!("`lead_days_max` says nothing beside `stock = \"{known}\"`"),
                "write `stock = \"lead_time\"`, or take `lead_days_max` out",
            ),
            (other, _) => fault(
                format!("`stock` cannot be \"{other}\""),
                "write one of in_stock, lead_time, any",
            ),
        }
    }
}

/// How many days an order waited at an instant: what the retailer needs, and what is left until it
/// has the goods, whichever is longer.
pub fn waiting_days(
    lead_days: Option<u32>,
    available_from: Option<DateTime<Utc>>,
    at: DateTime<Utc>,
) -> Option<u32> {
    const DAY_MS: i64 = 24 * 60 * 60 * 1_000;
    let until = available_from.map(|from| {
        let left_ms = (from - at).num_milliseconds().max(0);
        u32::try_from((left_ms + DAY_MS - 1) / DAY_MS).unwrap_or(u32::MAX)
    });
    lead_days.into_iter().chain(until).max()
}

fn within(days_max: u32, lead_days: u32) -> Result<(), LeftOut> {
    match lead_days <= days_max {
        true => Ok(()),
        false => Err(LeftOut::TooLate),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::catalogue::table::Document;

    #[test]
    fn a_brief_takes_what_comes_as_soon_as_it_says() {
        use Availability::*;
        let fortnight = Stock::LeadTime { days_max: 14 };
        let (ok, late, none) = (Ok(()), Err(LeftOut::TooLate), Err(LeftOut::NotInStock));
        for (availability, lead_days, in_stock, within, any) in [
            (InStock, None, ok, ok, ok),
            (InStock, Some(14), ok, ok, ok),
            (InStock, Some(15), ok, late, ok),
            (LimitedAvailability, None, ok, ok, ok),
            (OnlineOnly, None, ok, ok, ok),
            (PreOrder, Some(14), none, ok, ok),
            (PreOrder, Some(15), none, late, ok),
            (PreOrder, None, none, late, ok),
            (BackOrder, Some(0), none, ok, ok),
            (PreSale, Some(3), none, ok, ok),
            (MadeToOrder, Some(3), none, ok, ok),
            (Unknown, Some(3), none, ok, ok),
            (Unknown, None, none, late, ok),
            (OutOfStock, Some(3), none, none, ok),
            (SoldOut, None, none, none, ok),
            (Reserved, None, none, none, ok),
            // Pitfall S16: what is handed out in a shop alone cannot be ordered.
            (InStoreOnly, None, none, none, none),
            (Discontinued, Some(3), none, none, none),
        ] {
            let said = format!("{availability:?} {lead_days:?}");
            let judge = |stock: Stock| stock.judge(availability, lead_days);
            assert_eq!(judge(Stock::InStock), in_stock, "{said}");
            assert_eq!(judge(fortnight), within, "{said}");
            assert_eq!(judge(Stock::Any), any, "{said}");
        }
    }

    #[test]
    fn how_long_it_waits_is_read_with_every_fault_named() {
        let read = |text: &str| {
            let document = Document::parse("b.toml", text);
            let mut root = document.root();
            let stock = Stock::read(&mut root);
            root.finish();
            let faults = document.into_faults();
            (stock, faults.first().map(ToString::to_string))
        };
        for (text, expected) in [
            ("", Stock::InStock),
            ("stock = \"in_stock\"", Stock::InStock),
            ("stock = \"any\"", Stock::Any),
            (
                "stock = \"lead_time\"\nlead_days_max = 10",
                Stock::LeadTime { days_max: 10 },
            ),
        ] {
            assert_eq!(read(text), (expected, None), "{text}");
        }
        for (text, expected) in [
            ("stock = \"soon\"", "write one of in_stock, lead_time, any"),
            ("stock = \"lead_time\"", "add `lead_days_max`, in days"),
            (
                "stock = \"any\"\nlead_days_max = 1",
                "take `lead_days_max` out",
            ),
            ("lead_days_max = 1", "says nothing without"),
        ] {
            let fault = read(text).1.unwrap_or_default();
            assert!(fault.contains(expected), "{text}: {fault}");
        }
    }

    #[test]
    fn an_order_waits_for_whichever_takes_longer() {
        let day = |day: &str| {
            let text = format!("2026-12-{day}T12:00:00Z");
            DateTime::parse_from_rfc3339(&text).unwrap().to_utc()
        };
        let (now, from) = (day("10"), Some(day("14")));
        for (lead_days, available_from, expected) in [
            (None, None, None),
            (Some(3), None, Some(3)),
            (None, from, Some(4)),
            (Some(3), from, Some(4)),
            (Some(9), from, Some(9)),
            // Begun days count; what there is already is waited for no more.
            (None, Some(now + chrono::TimeDelta::hours(25)), Some(2)),
            (None, Some(day("01")), Some(0)),
        ] {
            assert_eq!(waiting_days(lead_days, available_from, now), expected);
        }
    }
}
