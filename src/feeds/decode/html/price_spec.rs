//! Which of the prices that schema.org lets an offer state is the one to pay now.

use super::things::{Thing, local_name};
use crate::market::RawText;

/// What an offer says of its price.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub(super) struct StatedPrice {
    pub price: Option<RawText>,
    pub list_price: Option<RawText>,
    pub currency: Option<RawText>,
    pub tax_included: Option<RawText>,
    pub valid_until: Option<RawText>,
    /// A charge for delivery that the specification states apart.
    pub delivery: Option<RawText>,
    pub notes: Vec<String>,
}

/// What a price specification is for (schema.org PriceTypeEnumeration).
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Purpose {
    Sale,
    Unstated,
    Regular,
    /// What it costs elsewhere or before: ListPrice, MSRP, SRP, StrikethroughPrice.
    List,
    /// Not for this buyer now: another unit, another quantity, another party.
    Other,
    Delivery,
}

/// Units that mean one piece, so that a price per such unit is the price
/// (UN/ECE Recommendation 20 codes; from memory).
const PIECE_UNITS: [&str; 3] = ["C62", "H87", "EA"];

pub(super) fn stated_price(offer: &Thing) -> StatedPrice {
    let mut stated = StatedPrice {
        price: offer.text("price"),
        currency: offer.text("priceCurrency"),
        tax_included: offer.text("valueAddedTaxIncluded"),
        valid_until: offer.text("priceValidUntil"),
        ..StatedPrice::default()
    };
    let specifications: Vec<(Purpose, &Thing)> = offer
        .things("priceSpecification")
        .map(|specification| (purpose(specification), specification))
        .collect();
    let of = |wanted: Purpose| {
        let fitting = specifications
            .iter()
            .filter(move |(purpose, _)| *purpose == wanted);
        fitting
            .map(|(_, specification)| *specification)
            .collect::<Vec<&Thing>>()
    };
    if let Some(list) = of(Purpose::List).first() {
        stated.list_price = list.text("price");
    }
    if let Some(delivery) = of(Purpose::Delivery).first() {
        stated.delivery = delivery.text("price");
    }
    let levels = [Purpose::Sale, Purpose::Unstated, Purpose::Regular];
    let Some(level) = levels.into_iter().find(|level| !of(*level).is_empty()) else {
        return stated;
    };
    if level != Purpose::Regular && stated.list_price.is_none() {
        stated.list_price = of(Purpose::Regular)
            .first()
            .and_then(|regular| regular.text("price"));
    }
    let Some(chosen) = choose(&of(level), &mut stated) else {
        return stated;
    };
    if stated.price.is_none() {
        stated.price = chosen.text("price");
        stated.tax_included = chosen.text("valueAddedTaxIncluded").or(stated.tax_included);
    } else if chosen
        .text("price")
        .is_none_or(|price| Some(&price) == stated.price.as_ref())
    {
        // The flag belongs to the amount beside it; another amount's flag says nothing.
        stated.tax_included = stated.tax_included.or(chosen.text("valueAddedTaxIncluded"));
    }
    stated.currency = stated.currency.or(chosen.text("priceCurrency"));
    stated.valid_until = stated
        .valid_until
        .or_else(|| chosen.text("priceValidUntil"))
        .or_else(|| chosen.text("validThrough"));
    stated
}

/// The one specification that holds; several that differ hold none, unless tax tells them apart.
fn choose<'t>(candidates: &[&'t Thing], stated: &mut StatedPrice) -> Option<&'t Thing> {
    let with_tax = |thing: &&&Thing| {
        let flag = thing.text("valueAddedTaxIncluded");
        flag.is_some_and(|flag| flag.text.trim().eq_ignore_ascii_case("true"))
    };
    let gross: Vec<&&Thing> = candidates.iter().filter(with_tax).collect();
    let candidates = match gross.as_slice() {
        [] => candidates.to_vec(),
        some => some.iter().map(|thing| **thing).collect(),
    };
    let first = *candidates.first()?;
    let price = first.text("price").map(|price| price.text);
    let differs = |thing: &&Thing| thing.text("price").map(|price| price.text) != price;
    if stated.price.is_none() && candidates.iter().any(differs) {
        let note = "several price specifications differ and none is marked as the sale price";
        stated.notes.push(note.to_owned());
        return None;
    }
    Some(first)
}

fn purpose(specification: &Thing) -> Purpose {
    if specification.is_any(&["DeliveryChargeSpecification"]) {
        return Purpose::Delivery;
    }
    if specification.is_any(&["PaymentChargeSpecification"])
        || is_per_unit(specification)
        || is_for_many(specification)
    {
        return Purpose::Other;
    }
    let stated = specification.text("priceType");
    match stated.as_ref().map(|stated| local_name(&stated.text)) {
        None | Some("") => Purpose::Unstated,
        Some("SalePrice") => Purpose::Sale,
        Some("RegularPrice") => Purpose::Regular,
        Some("ListPrice" | "MSRP" | "SRP" | "StrikethroughPrice") => Purpose::List,
        Some(_) => Purpose::Other,
    }
}

/// A price per 100 g or per month is not the price of the part.
fn is_per_unit(specification: &Thing) -> bool {
    let recurring = ["billingDuration", "billingIncrement", "billingStart"];
    if recurring.iter().any(|property| specification.has(property)) {
        return true;
    }
    if !specification.has("referenceQuantity") {
        let unit = specification.text("unitCode").map(|unit| unit.text);
        return unit.is_some_and(|unit| !PIECE_UNITS.contains(&unit.trim()));
    }
    let is_one_piece = specification.things("referenceQuantity").any(|quantity| {
        let value = quantity.text("value").map(|value| value.text);
        let unit = quantity.text("unitCode").map(|unit| unit.text);
        value.as_deref() == Some("1")
            && unit.is_some_and(|unit| PIECE_UNITS.contains(&unit.as_str()))
    });
    !is_one_piece
}

/// A price from ten pieces on is not the price of one.
fn is_for_many(specification: &Thing) -> bool {
    specification.things("eligibleQuantity").any(|quantity| {
        let least = quantity.text("minValue").map(|least| least.text);
        least.is_some_and(|least| !matches!(least.trim(), "" | "0" | "1" | "1.0"))
    })
}
