//! An offer that says nothing but its title, for tests and benchmarks that fill in the rest.

use rigtide::market::{Availability, Condition, Offer, RetailerId, Sku};
use rigtide::money::{Currency, Money};

/// A new thing in stock at one shop for one euro.
pub fn titled(sku: &str, title: &str) -> Offer {
    Offer {
        retailer: RetailerId::new("shop"),
        sku: Sku::new(sku),
        title: title.to_owned(),
        brand: None,
        gtins: Vec::new(),
        mpn: None,
        price: Money::from_minor(100, Currency::EUR),
        list_price: None,
        tax_included: true,
        availability: Availability::InStock,
        lead_days: None,
        available_from: None,
        condition: Condition::New,
        seller: None,
        shipping: None,
        minimum_quantity: 1,
        link: None,
        valid_until: None,
        properties: Vec::new(),
        notes: Vec::new(),
    }
}
