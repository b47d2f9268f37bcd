//! Raw offers: what a decoder found in one record of a feed, before anything is believed.

use super::fields::Fields;
use crate::catalogue::reading::Property;

/// What a value of a record means. A feed's mapping leads its columns, paths or selectors here.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Field {
    Sku,
    Title,
    Brand,
    Gtin,
    Mpn,
    /// The price for the buyer now.
    Price,
    /// A price that holds only between [`Field::SaleFrom`] and [`Field::SaleUntil`].
    SalePrice,
    SaleFrom,
    SaleUntil,
    /// What the retailer says it cost before, or recommends.
    ListPrice,
    Currency,
    TaxIncluded,
    Availability,
    /// How long the goods take to leave the retailer.
    LeadTime,
    /// The day from which the retailer has it to send.
    AvailableFrom,
    Condition,
    Seller,
    Shipping,
    Link,
    ValidUntil,
    /// Identifies a family of variants; never a part.
    GroupId,
    /// How many must be bought together at least.
    MinimumQuantity,
}

impl Field {
    /// Every field with the name that mappings and reports use.
    pub const NAMES: &[(&str, Field)] = &[
        ("sku", Field::Sku),
        ("title", Field::Title),
        ("brand", Field::Brand),
        ("gtin", Field::Gtin),
        ("mpn", Field::Mpn),
        ("price", Field::Price),
        ("sale_price", Field::SalePrice),
        ("sale_from", Field::SaleFrom),
        ("sale_until", Field::SaleUntil),
        ("list_price", Field::ListPrice),
        ("currency", Field::Currency),
        ("tax_included", Field::TaxIncluded),
        ("availability", Field::Availability),
        ("lead_time", Field::LeadTime),
        ("available_from", Field::AvailableFrom),
        ("condition", Field::Condition),
        ("seller", Field::Seller),
        ("shipping", Field::Shipping),
        ("link", Field::Link),
        ("valid_until", Field::ValidUntil),
        ("group_id", Field::GroupId),
        ("minimum_quantity", Field::MinimumQuantity),
    ];

    pub fn parse(name: &str) -> Option<Field> {
        Field::NAMES
            .iter()
            .find(|(known, _)| *known == name)
            .map(|(_, field)| *field)
    }

    pub fn name(self) -> &'static str {
        // `NAMES` lists every variant; a test holds that.
        Field::NAMES
            .iter()
            .find(|(_, field)| *field == self)
            .map_or("", |(name, _)| name)
    }
}

/// Where a text stood, which decides how a number in it may be read.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Origin {
    /// Written for programs (JSON numbers, schema.org values, `content` attributes): a lone dot
    /// is the decimal mark.
    Machine,
    /// Written for people (page text, CSV cells): the feed's locale decides.
    Person,
}

/// One value of a record, exactly as it stood.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct RawText {
    pub text: String,
    pub origin: Origin,
}

impl RawText {
    pub fn person(text: impl Into<String>) -> RawText {
        RawText {
            text: text.into(),
            origin: Origin::Person,
        }
    }

    pub fn machine(text: impl Into<String>) -> RawText {
        RawText {
            text: text.into(),
            origin: Origin::Machine,
        }
    }
}

/// One record of a feed.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct RawOffer {
    /// The record's number in the feed, from 1.
    pub index: u64,
    /// A field may have several values, such as two GTINs; they keep their order.
    pub fields: Fields,
    /// What the record states of the thing one by one; as many as [`RawOffer::state`] takes.
    pub properties: Vec<Property>,
    /// What the decoder noticed and did not act on.
    pub notes: Vec<String>,
}

/// Properties of one record that are kept; pages of parts state some thirty.
const PROPERTIES_MAX: usize = 60;
/// Bytes of a name, value or unit. A longer one is prose.
const PROPERTY_BYTES_MAX: usize = 120;

impl RawOffer {
    /// Adds a property. One that is blank, too long or one too many is passed over: a cut value
    /// would be another value.
    pub fn state(&mut self, property: Property) {
        let Property { name, value, unit } = &property;
        let is_text = |text: &str| !text.trim().is_empty() && text.len() <= PROPERTY_BYTES_MAX;
        if self.properties.len() < PROPERTIES_MAX
            && is_text(name)
            && is_text(value)
            && unit.as_deref().is_none_or(is_text)
        {
            self.properties.push(property);
        }
    }

    pub fn push(&mut self, field: Field, value: RawText) {
        self.fields.push(field, value);
    }

    /// The first value of a field that is not blank.
    pub fn first(&self, field: Field) -> Option<&RawText> {
        let mut values = self.fields.get(field).iter();
        values.find(|value| !value.text.trim().is_empty())
    }
}

/// A record that could not be decoded. Its neighbours are not affected.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Reject {
    /// The record's number in the feed, from 1.
    pub index: u64,
    pub reason: String,
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn properties_are_bounded_in_number_and_size() {
        let mut raw = RawOffer::default();
        let state = |raw: &mut RawOffer, name: &str, value: String| {
            raw.state(Property {
                name: name.to_owned(),
                value,
                unit: None,
            });
        };
        state(&mut raw, "prose", "x".repeat(PROPERTY_BYTES_MAX + 1));
        state(&mut raw, " ", "x".to_owned());
        assert_eq!(raw.properties, []);
        for number in 0..2 * PROPERTIES_MAX {
            state(&mut raw, "n", number.to_string());
        }
        assert_eq!(raw.properties.len(), PROPERTIES_MAX);
        assert_eq!(raw.properties[0].value, "0");
    }

    #[test]
    fn every_field_has_a_name_that_reads_back() {
        for (name, field) in Field::NAMES {
            assert_eq!(Field::parse(name), Some(*field));
            assert_eq!(field.name(), *name);
        }
        assert_eq!(Field::NAMES.len(), Field::MinimumQuantity as usize + 1);
    }
}
