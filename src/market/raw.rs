//! Raw offers: what a decoder found in one record of a feed, before anything is believed.

use std::collections::BTreeMap;

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
    pub fields: BTreeMap<Field, Vec<RawText>>,
    /// What the decoder noticed and did not act on.
    pub notes: Vec<String>,
}

impl RawOffer {
    pub fn push(&mut self, field: Field, value: RawText) {
        self.fields.entry(field).or_default().push(value);
    }

    /// The first value of a field that is not blank.
    pub fn first(&self, field: Field) -> Option<&RawText> {
        self.fields
            .get(&field)?
            .iter()
            .find(|value| !value.text.trim().is_empty())
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
    fn every_field_has_a_name_that_reads_back() {
        for (name, field) in Field::NAMES {
            assert_eq!(Field::parse(name), Some(*field));
            assert_eq!(field.name(), *name);
        }
        assert_eq!(Field::NAMES.len(), Field::MinimumQuantity as usize + 1);
    }
}
