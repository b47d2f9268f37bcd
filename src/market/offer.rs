//! Offers: one retailer's listing of one product, read and checked.

use crate::catalogue::reading::Property;
use crate::catalogue::{Gtin, text_id};
use crate::money::Money;
use chrono::{DateTime, Utc};

text_id!(
    /// A retailer's name in the configuration.
    RetailerId
);
text_id!(
    /// A feed: `retailer/feed`.
    FeedId
);
text_id!(
    /// A retailer's own number for what it sells.
    Sku
);

/// Whether a reader could order now. The states are schema.org's ItemAvailability.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Default)]
pub enum Availability {
    InStock,
    LimitedAvailability,
    OnlineOnly,
    InStoreOnly,
    BackOrder,
    PreOrder,
    PreSale,
    MadeToOrder,
    Reserved,
    OutOfStock,
    SoldOut,
    Discontinued,
    /// The feed does not say, or says something that nobody mapped.
    #[default]
    Unknown,
}

/// The condition of what is sold. The states are schema.org's OfferItemCondition.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Default)]
pub enum Condition {
    New,
    Refurbished,
    Used,
    Damaged,
    #[default]
    Unknown,
}

impl Availability {
    /// Every state with its stable name.
    pub const NAMES: &[(&str, Availability)] = &[
        ("in_stock", Availability::InStock),
        ("limited_availability", Availability::LimitedAvailability),
        ("online_only", Availability::OnlineOnly),
        ("in_store_only", Availability::InStoreOnly),
        ("back_order", Availability::BackOrder),
        ("pre_order", Availability::PreOrder),
        ("pre_sale", Availability::PreSale),
        ("made_to_order", Availability::MadeToOrder),
        ("reserved", Availability::Reserved),
        ("out_of_stock", Availability::OutOfStock),
        ("sold_out", Availability::SoldOut),
        ("discontinued", Availability::Discontinued),
        ("unknown", Availability::Unknown),
    ];

    /// Reads the stable name back.
    pub fn parse_name(name: &str) -> Option<Availability> {
        Availability::NAMES
            .iter()
            .find(|(known, _)| *known == name)
            .map(|(_, state)| *state)
    }

    pub fn name(self) -> &'static str {
        // `NAMES` lists every variant; a test holds that.
        Availability::NAMES
            .iter()
            .find(|(_, state)| *state == self)
            .map_or("", |(name, _)| name)
    }

    /// True when it can be ordered for delivery from stock.
    pub fn is_orderable(self) -> bool {
        matches!(
            self,
            Availability::InStock | Availability::LimitedAvailability | Availability::OnlineOnly
        )
    }
}

impl Condition {
    /// Every state with its stable name.
    pub const NAMES: &[(&str, Condition)] = &[
        ("new", Condition::New),
        ("refurbished", Condition::Refurbished),
        ("used", Condition::Used),
        ("damaged", Condition::Damaged),
        ("unknown", Condition::Unknown),
    ];

    /// Reads the stable name back.
    pub fn parse_name(name: &str) -> Option<Condition> {
        Condition::NAMES
            .iter()
            .find(|(known, _)| *known == name)
            .map(|(_, state)| *state)
    }

    pub fn name(self) -> &'static str {
        // `NAMES` lists every variant; a test holds that.
        Condition::NAMES
            .iter()
            .find(|(_, state)| *state == self)
            .map_or("", |(name, _)| name)
    }
}

/// One retailer's listing of one product at one moment.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Offer {
    pub retailer: RetailerId,
    pub sku: Sku,
    pub title: String,
    pub brand: Option<String>,
    /// Every identity that the record carried and that passed its check.
    pub gtins: Vec<Gtin>,
    pub mpn: Option<String>,
    /// The price as the retailer states it; see `tax_included`.
    pub price: Money,
    pub list_price: Option<Money>,
    pub tax_included: bool,
    pub availability: Availability,
    /// The most days between an order and the goods' leaving the retailer, where the record says.
    pub lead_days: Option<u32>,
    /// From when the retailer has it to send, where the record says.
    pub available_from: Option<DateTime<Utc>>,
    pub condition: Condition,
    /// Set when somebody other than the retailer sells it.
    pub seller: Option<String>,
    /// Delivery of this offer alone, where the record says so.
    pub shipping: Option<Money>,
    pub minimum_quantity: u32,
    pub link: Option<String>,
    pub valid_until: Option<DateTime<Utc>>,
    /// What the record states of the thing one by one; nobody has checked it.
    pub properties: Vec<Property>,
    pub notes: Vec<String>,
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_state_has_a_name_that_reads_back() {
        for (name, state) in Availability::NAMES {
            assert_eq!(Availability::parse_name(name), Some(*state));
            assert_eq!(state.name(), *name);
        }
        assert_eq!(
            Availability::NAMES.len(),
            Availability::Unknown as usize + 1
        );
        for (name, state) in Condition::NAMES {
            assert_eq!(Condition::parse_name(name), Some(*state));
            assert_eq!(state.name(), *name);
        }
        assert_eq!(Condition::NAMES.len(), Condition::Unknown as usize + 1);
    }

    #[test]
    fn only_stock_that_ships_is_orderable() {
        // schema.org 30.0 ItemAvailability; InStoreOnly cannot be delivered.
        let orderable = Availability::NAMES
            .iter()
            .filter(|(_, state)| state.is_orderable());
        let names: Vec<&str> = orderable.map(|(name, _)| *name).collect();
        assert_eq!(names, ["in_stock", "limited_availability", "online_only"]);
    }
}
