//! Turns schema.org products into raw offers: one for every offer of every product or variant.

use super::price_spec::stated_price;
use super::things::{Thing, Value, local_name};
use crate::catalogue::reading::Property;
use crate::feeds::decode::layers::Context;
use crate::market::{Field, RawOffer, RawText};
use std::collections::BTreeMap;

const PRODUCT_TYPES: [&str; 5] = [
    "Product",
    "IndividualProduct",
    "ProductModel",
    "SomeProducts",
    "ProductGroup",
];
/// Properties that carry trade numbers, on products and on offers.
const GTIN_PROPERTIES: [&str; 8] = [
    "gtin", "gtin13", "gtin14", "gtin12", "gtin8", "ean", "ean13", "upc",
];
/// Kinds of number that `productID` may carry in front of a colon.
const GTIN_SCHEMES: [&str; 7] = ["gtin", "gtin8", "gtin12", "gtin13", "gtin14", "ean", "upc"];
/// Things inside things that are followed: `@id` references can point in circles.
const REFERENCES_MAX: usize = 8;

pub(super) fn is_product(thing: &Thing) -> bool {
    thing.is_any(&PRODUCT_TYPES)
}

/// The things of one page, with those that references point at.
pub(super) struct Graph<'t> {
    by_id: BTreeMap<&'t str, &'t Thing>,
}

impl<'t> Graph<'t> {
    pub(super) fn new(things: &'t [Thing]) -> Graph<'t> {
        let mut by_id = BTreeMap::new();
        let mut waiting: Vec<&Thing> = things.iter().rev().collect();
        while let Some(thing) = waiting.pop() {
            if let (Some(id), false) = (thing.id.as_deref(), thing.is_reference()) {
                by_id.entry(id).or_insert(thing);
            }
            for (_, value) in &thing.properties {
                if let Value::Thing(inner) = value {
                    waiting.push(inner);
                }
            }
        }
        Graph { by_id }
    }

    /// The thing itself, or the one that it points at.
    pub(super) fn resolve(&self, thing: &'t Thing) -> &'t Thing {
        let mut thing = thing;
        for _ in 0..REFERENCES_MAX {
            let target = thing.id.as_deref().and_then(|id| self.by_id.get(id));
            match target {
                Some(target) if thing.is_reference() => thing = target,
                _ => break,
            }
        }
        thing
    }

    fn things(&self, of: &'t Thing, property: &str) -> Vec<&'t Thing> {
        of.things(property)
            .map(|thing| self.resolve(thing))
            .collect()
    }
}

/// The raw offers of one product. A group's variants count each for itself, and what the group
/// says of prices and numbers is left out: it belongs to no part.
pub(super) fn offers_of<'t>(
    product: &'t Thing,
    graph: &Graph<'t>,
    context: &Context<'_>,
) -> Vec<RawOffer> {
    let variants = graph.things(product, "hasVariant");
    if variants.is_empty() {
        return offers_of_one(product, None, graph, context);
    }
    let of_variant = |variant| offers_of_one(variant, Some(product), graph, context);
    variants.into_iter().flat_map(of_variant).collect()
}

fn offers_of_one<'t>(
    product: &'t Thing,
    group: Option<&'t Thing>,
    graph: &Graph<'t>,
    context: &Context<'_>,
) -> Vec<RawOffer> {
    let reader = OfferReader {
        product,
        group,
        graph,
        context,
    };
    let mut offers = Vec::new();
    for offer in graph.things(product, "offers") {
        if !is_aggregate(offer) {
            offers.push(reader.offer(offer));
            continue;
        }
        let inner = graph.things(offer, "offers");
        if inner.is_empty() {
            offers.push(reader.aggregate(offer));
        }
        for each in inner {
            let mut one = reader.offer(each);
            if one.first(Field::Currency).is_none()
                && let Some(currency) = offer.text("priceCurrency")
            {
                one.push(Field::Currency, currency);
            }
            offers.push(one);
        }
    }
    if offers.is_empty() {
        let mut bare = reader.product_fields(None);
        bare.notes.push("the page states no offer".to_owned());
        offers.push(bare);
    }
    offers
}

/// Templates call an aggregate an Offer, so its properties decide too.
fn is_aggregate(offer: &Thing) -> bool {
    offer.is_any(&["AggregateOffer"]) || offer.has("lowPrice") || offer.has("highPrice")
}

struct OfferReader<'r, 't> {
    product: &'t Thing,
    group: Option<&'t Thing>,
    graph: &'r Graph<'t>,
    context: &'r Context<'r>,
}

impl<'t> OfferReader<'_, 't> {
    fn offer(&self, offer: &'t Thing) -> RawOffer {
        let mut raw = self.product_fields(Some(offer));
        let stated = stated_price(offer);
        let fields = [
            (Field::Price, stated.price),
            (Field::ListPrice, stated.list_price),
            (Field::Currency, stated.currency),
            (Field::TaxIncluded, stated.tax_included),
            (Field::ValidUntil, stated.valid_until),
            (Field::AvailableFrom, offer.text("availabilityStarts")),
        ];
        for (field, value) in fields {
            push(&mut raw, field, value);
        }
        raw.notes.extend(stated.notes);
        push(&mut raw, Field::Seller, self.name_of(offer, "seller"));
        for quantity in self.graph.things(offer, "eligibleQuantity") {
            push(&mut raw, Field::MinimumQuantity, quantity.text("minValue"));
        }
        self.lead_time(offer, &mut raw);
        self.delivery(offer, stated.delivery, &mut raw);
        raw
    }

    /// An aggregate without its offers: a price only if its ends are one.
    fn aggregate(&self, aggregate: &'t Thing) -> RawOffer {
        let mut raw = self.product_fields(Some(aggregate));
        push(&mut raw, Field::Currency, aggregate.text("priceCurrency"));
        let text = |property| {
            aggregate
                .text(property)
                .map(|value| value.text.trim().to_owned())
        };
        let (low, high, count) = (text("lowPrice"), text("highPrice"), text("offerCount"));
        let is_single = match (&low, &high) {
            (Some(low), Some(high)) => low == high,
            (Some(_), None) => count.as_deref() == Some("1"),
            _ => false,
        };
        if is_single {
            push(&mut raw, Field::Price, aggregate.text("lowPrice"));
        } else if low.is_none() && high.is_none() {
            push(&mut raw, Field::Price, aggregate.text("price"));
        } else {
            let (low, high) = (low.unwrap_or_default(), high.unwrap_or_default());
            raw.notes.push(format!(
                "the page states a range from \"{low}\" to \"{high}\", not a price"
            ));
        }
        raw
    }

    fn product_fields(&self, offer: Option<&'t Thing>) -> RawOffer {
        let mut raw = RawOffer::default();
        let product = self.product;
        let either = |property: &str| {
            let own = offer.and_then(|offer| offer.text(property));
            own.or_else(|| product.text(property))
        };
        let inherited = |property: &str| {
            let own = self.name_of(product, property);
            own.or_else(|| self.group.and_then(|group| self.name_of(group, property)))
        };
        push(&mut raw, Field::Sku, either("sku"));
        push(&mut raw, Field::Title, inherited("name"));
        push(&mut raw, Field::Brand, inherited("brand"));
        push(&mut raw, Field::Mpn, either("mpn"));
        push(&mut raw, Field::Availability, either("availability"));
        push(&mut raw, Field::Condition, either("itemCondition"));
        self.push_numbers(offer, &mut raw);
        let page = self.context.address.map(RawText::machine);
        push(&mut raw, Field::Link, either("url").or(page));
        push(&mut raw, Field::GroupId, self.group_id());
        self.state_properties(&mut raw);
        raw
    }

    /// What the product states of itself, then what its group states of every variant and the
    /// product does not state itself.
    fn state_properties(&self, raw: &mut RawOffer) {
        let own = properties_of(self.product, self.graph);
        let inherited = self
            .group
            .map(|group| properties_of(group, self.graph))
            .unwrap_or_default();
        let is_own = |one: &Property| own.iter().any(|other| other.name == one.name);
        let inherited: Vec<Property> = inherited.into_iter().filter(|one| !is_own(one)).collect();
        for property in own.into_iter().chain(inherited) {
            raw.state(property);
        }
    }

    /// Every number that may be a GTIN, each once; which of them is one is checked later.
    fn push_numbers(&self, offer: Option<&'t Thing>, raw: &mut RawOffer) {
        let mut numbers: Vec<RawText> = Vec::new();
        for thing in [Some(self.product), offer].into_iter().flatten() {
            for property in GTIN_PROPERTIES {
                numbers.extend(thing.texts(property));
            }
            for id in thing.texts("productID") {
                let (scheme, number) = id.text.split_once(':').unwrap_or(("", ""));
                if GTIN_SCHEMES.contains(&scheme.trim().to_lowercase().as_str()) {
                    numbers.push(RawText::machine(number.trim()));
                }
            }
            numbers.extend(thing.texts("sku").filter(|sku| has_gtin_length(&sku.text)));
        }
        let mut known = std::collections::BTreeSet::new();
        for number in numbers {
            if !number.text.trim().is_empty() && known.insert(number.text.trim().to_owned()) {
                raw.push(Field::Gtin, number);
            }
        }
    }

    fn group_id(&self) -> Option<RawText> {
        let group = self.group.or_else(|| {
            let of = self.graph.things(self.product, "isVariantOf");
            of.into_iter().next()
        });
        group
            .and_then(|group| group.text("productGroupID"))
            .or_else(|| self.product.text("inProductGroupWithID"))
    }

    fn name_of(&self, thing: &'t Thing, property: &str) -> Option<RawText> {
        let direct = thing.text(property);
        let target = self.graph.things(thing, property).into_iter().next();
        target.and_then(|target| target.text("name")).or(direct)
    }

    /// `deliveryLeadTime`, which schema.org counts up to the goods' leaving; its end, with its unit.
    fn lead_time(&self, offer: &'t Thing, raw: &mut RawOffer) {
        for lead in self.graph.things(offer, "deliveryLeadTime") {
            let most = lead.text("maxValue").or_else(|| lead.text("value"));
            let unit = lead.text("unitCode").or_else(|| lead.text("unitText"));
            let text = most.map(|most| match &unit {
                Some(unit) => RawText::machine(format!("{} {}", most.text, unit.text)),
                None => most,
            });
            push(raw, Field::LeadTime, text);
        }
        if !raw.fields.has(Field::LeadTime) {
            push(raw, Field::LeadTime, offer.text("deliveryLeadTime"));
        }
    }

    /// The delivery charge for our country. Another country's rate says nothing of ours.
    fn delivery(&self, offer: &'t Thing, charge: Option<RawText>, raw: &mut RawOffer) {
        let mut elsewhere = Vec::new();
        for details in self.graph.things(offer, "shippingDetails") {
            let countries = self.countries(details);
            let is_ours = countries.is_empty()
                || self.context.country.is_some_and(|ours| {
                    countries
                        .iter()
                        .any(|country| country.eq_ignore_ascii_case(ours))
                });
            if !is_ours {
                elsewhere.extend(countries);
                continue;
            }
            for rate in self.graph.things(details, "shippingRate") {
                let amount = rate.text("value").or_else(|| rate.text("maxValue"));
                let currency = rate.text("currency");
                let is_other_currency = |currency: &RawText| {
                    raw.first(Field::Currency)
                        .is_none_or(|own| own.text.trim() != currency.text.trim())
                };
                let foreign = currency.filter(is_other_currency);
                let amount = amount.map(|amount| match foreign {
                    Some(currency) => {
                        RawText::machine(format!("{} {}", amount.text, currency.text))
                    }
                    None => amount,
                });
                push(raw, Field::Shipping, amount);
            }
        }
        if !raw.fields.has(Field::Shipping) {
            push(raw, Field::Shipping, charge);
        }
        if !raw.fields.has(Field::Shipping) && !elsewhere.is_empty() {
            let countries = elsewhere.join(", ");
            raw.notes
                .push(format!("delivery is stated for {countries} only"));
        }
    }

    fn countries(&self, details: &'t Thing) -> Vec<String> {
        let destinations = self.graph.things(details, "shippingDestination");
        let named = destinations.into_iter().flat_map(|destination| {
            let countries: Vec<RawText> = destination.texts("addressCountry").collect();
            countries
                .into_iter()
                .map(|country| country.text.trim().to_owned())
        });
        named.filter(|country| !country.is_empty()).collect()
    }
}

/// The product's `additionalProperty` (schema.org PropertyValue), colour and category. A range
/// (`minValue`, `maxValue`) is no value.
fn properties_of<'t>(product: &'t Thing, graph: &Graph<'t>) -> Vec<Property> {
    let plain = ["color", "category"].into_iter().flat_map(|name| {
        product.texts(name).map(move |value| Property {
            name: name.to_owned(),
            value: value.text,
            unit: None,
        })
    });
    let stated = graph.things(product, "additionalProperty").into_iter();
    let stated = stated.filter_map(|one| {
        let first = |names: [&str; 2]| names.into_iter().find_map(|name| one.text(name));
        Some(Property {
            name: first(["name", "propertyID"])?.text.trim().to_owned(),
            value: one.text("value")?.text.trim().to_owned(),
            unit: first(["unitCode", "unitText"]).map(|unit| unit.text.trim().to_owned()),
        })
    });
    plain.chain(stated).collect()
}

fn push(raw: &mut RawOffer, field: Field, value: Option<RawText>) {
    if let Some(value) = value
        && !value.text.trim().is_empty()
    {
        raw.push(field, value);
    }
}

fn has_gtin_length(text: &str) -> bool {
    let text = text.trim();
    matches!(text.len(), 8 | 12 | 13 | 14) && text.bytes().all(|byte| byte.is_ascii_digit())
}

/// A product under the offer that names it, as `Offer.itemOffered` allows, turned around.
pub(super) fn product_of_offer<'t>(offer: &'t Thing, graph: &Graph<'t>) -> Option<Thing> {
    let item = graph
        .things(offer, "itemOffered")
        .into_iter()
        .find(|item| is_product(item))?;
    let mut product = item.clone();
    if !product.has("offers") {
        let mut offer = offer.clone();
        offer.properties.retain(|(name, _)| name != "itemOffered");
        product
            .properties
            .push(("offers".to_owned(), Value::Thing(offer)));
    }
    Some(product)
}

/// Whether one of a product's addresses or numbers is among those wanted.
pub(super) fn is_called(product: &Thing, wanted: &[String]) -> bool {
    let properties = ["sku", "mpn", "productID"]
        .into_iter()
        .chain(GTIN_PROPERTIES);
    let fold = |text: &str| text.trim().to_lowercase();
    let mut names = properties.flat_map(|property| product.texts(property).collect::<Vec<_>>());
    names.any(|name| {
        let name = fold(&name.text);
        wanted
            .iter()
            .any(|wanted| fold(wanted) == name || fold(wanted) == local_name(&name))
    })
}
