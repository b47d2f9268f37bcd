//! Landed prices: what a pick costs the reader, tax and delivery included.

use super::brief::Brief;
use super::retailer::Retailer;
use super::snapshot::Listed;
use crate::money::{Money, MoneyError};

/// What `quantity` of an offer cost delivered: price and tax of each, and one delivery.
///
/// Tax is added per piece and rounded half up, as a shop's own list shows it. Delivery is the
/// offer's own where it says so, else the retailer's for each pick.
///
/// # Errors
/// [`MoneyError`] when the offer's currency is not the retailer's delivery currency, or the amount
/// is too large.
pub fn landed_price(
    listed: &Listed,
    retailer: &Retailer,
    quantity: u32,
) -> Result<Money, MoneyError> {
    let goods = with_tax(listed, retailer.tax_percent_hundredths, quantity)?;
    let delivery = listed.shipping.unwrap_or(retailer.delivery_per_pick);
    goods.checked_add(delivery)
}

/// What `quantity` of an offer cost without delivery, in the retailer's currency, with the tax of
/// the brief's country where the retailer's terms state it.
///
/// # Errors
/// [`MoneyError`] when the amount is too large or not in the retailer's currency.
pub fn goods_price(
    listed: &Listed,
    retailer: &Retailer,
    brief: &Brief,
    quantity: u32,
) -> Result<Money, MoneyError> {
    let there = retailer.delivery_to(brief);
    let tax = there.and_then(|delivery| delivery.tax_percent_hundredths);
    let goods = with_tax(
        listed,
        tax.unwrap_or(retailer.tax_percent_hundredths),
        quantity,
    )?;
    // Thresholds are in the retailer's currency: an offer in another cannot be held against them.
    goods.checked_add(Money::zero(retailer.currency))
}

fn with_tax(listed: &Listed, percent_hundredths: u32, quantity: u32) -> Result<Money, MoneyError> {
    let piece = match listed.tax_included {
        true => listed.price,
        false => listed.price.plus_percent_half_up(percent_hundredths)?,
    };
    piece.times(quantity)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::catalogue::PartId;
    use crate::market::{Availability, Condition, RetailerId, Sku, Terms};
    use crate::money::Currency;
    use chrono::DateTime;

    fn eur(minor: i64) -> Money {
        Money::from_minor(minor, Currency::EUR)
    }

    fn check(price: i64, tax_included: bool, shipping: Option<i64>, quantity: u32, expected: i64) {
        let retailer = Retailer {
            id: RetailerId::new("r"),
            name: "R".to_owned(),
            country: "DE".to_owned(),
            currency: Currency::EUR,
            locale: None,
            prices_include_tax: tax_included,
            tax_percent_hundredths: 1_900,
            delivery_per_pick: eur(490),
            terms: Terms::default(),
            links: Default::default(),
            exchange: Vec::new(),
        };
        let listed = Listed {
            retailer: retailer.id.clone(),
            sku: Sku::new("1"),
            part: PartId::new("p"),
            title: String::new(),
            price: eur(price),
            tax_included,
            availability: Availability::InStock,
            lead_days: None,
            condition: Condition::New,
            seller: None,
            shipping: shipping.map(eur),
            minimum_quantity: 1,
            link: None,
            seen_at: DateTime::UNIX_EPOCH,
        };
        assert_eq!(
            landed_price(&listed, &retailer, quantity),
            Ok(eur(expected))
        );
    }

    #[test]
    fn the_dearer_price_with_free_delivery_can_be_the_cheaper_one() {
        // Pitfall O20: 199 + 12 against 205 free.
        check(19_900, true, Some(1_200), 1, 21_100);
        check(20_500, true, Some(0), 1, 20_500);
    }

    #[test]
    fn tax_is_added_to_prices_that_exclude_it() {
        // 419.33 net at 19 % is 499.00 (vat table: 499.00 -> 419.33 + 79.67).
        check(41_933, false, Some(0), 1, 49_900);
    }

    #[test]
    fn delivery_is_paid_once_for_several_pieces() {
        check(1_000, true, None, 3, 3_490);
    }
}
