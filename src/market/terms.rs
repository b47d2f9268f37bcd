//! What a retailer asks and grants beyond its prices: delivery, coupons, bundles, rebates.
//!
//! All of it hangs on what else is in the order, so that a price alone does not say what a part
//! costs. [`super::order`] settles one order; the optimiser decides which orders to make.

use super::retailer::read_country;
use super::wishes::known_part;
use crate::catalogue::table::Table;
use crate::catalogue::{Catalogue, Kind, Part, PartId, read_kind};
use crate::money::{Currency, Money, MoneyError};
use chrono::NaiveDate;
use std::collections::BTreeSet;
use std::ops::Range;

/// What delivery to some countries costs, for each order.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Delivery {
    /// ISO 3166-1 alpha-2; empty stands for the retailer's own country.
    pub to: Vec<String>,
    pub flat: Money,
    /// For each piece.
    pub per_item: Money,
    /// By weight, lightest first; what is heavier than the last pays the last.
    pub by_weight: Vec<Band>,
    /// Goods of this value, after coupons and bundles, are delivered for nothing.
    pub free_from: Option<Money>,
    /// Hundredths of a percent: the tax there, where it is not the retailer's own.
    pub tax_percent_hundredths: Option<u32>,
}

/// Delivery of up to some weight.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Band {
    pub up_to_g: i64,
    pub costs: Money,
}

/// Which goods something applies to. A list that is empty restricts nothing.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct AppliesTo {
    pub kinds: Vec<Kind>,
    pub parts: Vec<PartId>,
    /// As the catalogue writes them; case does not matter.
    pub brands: Vec<String>,
}

/// How much something takes off.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Off {
    /// Hundredths of a percent of each line, every line rounded half up.
    Percent(u32),
    Amount(Money),
}

/// The days on which something holds, both included, by UTC.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Days {
    pub from: Option<NaiveDate>,
    pub until: Option<NaiveDate>,
}

/// A code that takes something off an order. An order takes one.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Coupon {
    pub code: String,
    pub applies_to: AppliesTo,
    /// An amount asks for goods that it applies to of at least that value.
    pub off: Off,
    /// The most that it takes off.
    pub at_most: Option<Money>,
    /// The goods of the order must be worth this much, before anything is taken off.
    pub minimum_spend: Option<Money>,
    pub days: Days,
}

/// Parts that cost less when they are in one order, once each.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Bundle {
    pub name: String,
    /// At least two, all different.
    pub parts: Vec<PartId>,
    pub saves: Money,
    pub days: Days,
}

/// Money that comes back some time after the order.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Rebate {
    pub name: String,
    pub applies_to: AppliesTo,
    /// Of each piece.
    pub off: Off,
    pub days: Days,
}

/// Everything that a retailer asks and grants.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Terms {
    pub deliveries: Vec<Delivery>,
    pub coupons: Vec<Coupon>,
    pub bundles: Vec<Bundle>,
    pub rebates: Vec<Rebate>,
}

impl AppliesTo {
    pub fn covers(&self, part: &Part) -> bool {
        (self.kinds.is_empty() || self.kinds.contains(&part.kind))
            && (self.parts.is_empty() || self.parts.contains(&part.id))
            && (self.brands.is_empty() || part.is_of_brand(&self.brands))
    }
}

impl Off {
    /// What is taken off an amount: never more than all of it.
    ///
    /// # Errors
    /// [`MoneyError`] when the currencies differ or the amount is too large.
    pub fn of(self, amount: Money) -> Result<Money, MoneyError> {
        match self {
            Off::Percent(hundredths) => {
                // What a price grows by is what it falls by.
                let grown = amount.plus_percent_half_up(hundredths)?;
                grown.checked_sub(amount)
            }
            Off::Amount(off) => {
                let left = amount.checked_sub(off)?;
                Ok(if left.minor() < 0 { amount } else { off })
            }
        }
    }
}

impl Days {
    pub fn hold_on(self, day: NaiveDate) -> bool {
        self.from.is_none_or(|from| from <= day) && self.until.is_none_or(|until| day <= until)
    }

    fn read(table: &mut Table<'_, '_>) -> Days {
        Days {
            from: read_day(table, "from"),
            until: read_day(table, "until"),
        }
    }
}

impl Terms {
    /// What holds on a day.
    #[must_use]
    pub fn on(&self, day: NaiveDate) -> Terms {
        let mut terms = self.clone();
        terms.coupons.retain(|coupon| coupon.days.hold_on(day));
        terms.bundles.retain(|bundle| bundle.days.hold_on(day));
        terms.rebates.retain(|rebate| rebate.days.hold_on(day));
        terms
    }

    /// Delivery to a country, for a retailer of another or the same.
    pub fn delivery_to(&self, country: &str, own_country: &str) -> Option<&Delivery> {
        self.deliveries.iter().find(|delivery| {
            let is_home = delivery.to.is_empty() && country == own_country;
            is_home || delivery.to.iter().any(|to| to == country)
        })
    }

    /// Reads the tables `delivery`, `coupon`, `bundle` and `rebate` of a retailer.
    pub(super) fn read(
        table: &mut Table<'_, '_>,
        currency: Currency,
        catalogue: &Catalogue,
    ) -> Terms {
        let deliveries = table.tables("delivery").into_iter();
        let deliveries = deliveries.filter_map(|one| read_delivery(one, currency));
        let deliveries: Vec<Delivery> = deliveries.collect();
        let coupons = table.tables("coupon").into_iter();
        let coupons = coupons.filter_map(|one| read_coupon(one, currency, catalogue));
        let coupons: Vec<Coupon> = coupons.collect();
        let bundles = table.tables("bundle").into_iter();
        let bundles = bundles.filter_map(|one| read_bundle(one, currency, catalogue));
        let bundles: Vec<Bundle> = bundles.collect();
        let codes = coupons.iter().map(|coupon| coupon.code.as_str());
        refuse_repeated(table, "coupon", codes);
        refuse_repeated(table, "bundle", bundles.iter().map(|one| one.name.as_str()));
        let rebates = table.tables("rebate").into_iter();
        let rebates = rebates.filter_map(|one| read_rebate(one, currency, catalogue));
        Terms {
            deliveries,
            coupons,
            bundles,
            rebates: rebates.collect(),
        }
    }
}

/// A bill names the coupon and the bundles that it uses: each needs a name of its own.
fn refuse_repeated<'n>(table: &Table<'_, '_>, what: &str, names: impl Iterator<Item = &'n str>) {
    let mut known = BTreeSet::new();
    for name in names.filter(|name| !known.insert(*name)) {
        let message = format!("the {what} \"{name}\" is defined twice");
        let remedy = "give each of the retailer's a name of its own";
        table.document().fault(&table.span(), message, remedy);
    }
}

fn read_delivery(mut table: Table<'_, '_>, currency: Currency) -> Option<Delivery> {
    let to = table.texts("to").map(|at| at.value).unwrap_or_default();
    let to: Vec<Option<String>> = to
        .iter()
        .map(|country| read_country(&table, &country.value, &country.span))
        .collect();
    let flat = table.money("flat", currency);
    let per_item = table.money("per_item", currency);
    let free_from = table.money("free_from", currency);
    let tax = read_percent(&mut table, "tax_percent");
    let bands = table.tables("by_weight");
    let n_bands = bands.len();
    let by_weight: Vec<Band> = bands
        .into_iter()
        .filter_map(|band| read_band(band, currency))
        .collect();
    let rises = by_weight
        .windows(2)
        .all(|two| two[0].up_to_g < two[1].up_to_g);
    if !rises {
        let remedy = "write the lightest first, each weight once";
        let message = "`by_weight` does not go from light to heavy";
        table.document().fault(&table.span(), message, remedy);
    }
    table.finish();
    if !rises || by_weight.len() != n_bands {
        return None;
    }
    let zero = Money::zero(currency);
    Some(Delivery {
        to: to.into_iter().collect::<Option<_>>()?,
        flat: flat.map_or(zero, |at| at.value),
        per_item: per_item.map_or(zero, |at| at.value),
        by_weight,
        free_from: free_from.map(|at| at.value),
        tax_percent_hundredths: tax,
    })
}

fn read_band(mut table: Table<'_, '_>, currency: Currency) -> Option<Band> {
    table.require("up_to_kg");
    let up_to = table.scaled("up_to_kg", 3);
    table.require("costs");
    let costs = table.money("costs", currency);
    table.finish();
    Some(Band {
        up_to_g: up_to?.value,
        costs: costs?.value,
    })
}

fn read_coupon(
    mut table: Table<'_, '_>,
    currency: Currency,
    catalogue: &Catalogue,
) -> Option<Coupon> {
    let code = table.required_text("code");
    let applies_to = read_applies_to(&mut table, catalogue);
    let off = read_off(&mut table, currency);
    let at_most = table.money("at_most", currency).map(|at| at.value);
    let minimum_spend = table.money("minimum_spend", currency).map(|at| at.value);
    let days = Days::read(&mut table);
    table.finish();
    Some(Coupon {
        code: code?.value,
        applies_to,
        off: off?,
        at_most,
        minimum_spend,
        days,
    })
}

fn read_bundle(
    mut table: Table<'_, '_>,
    currency: Currency,
    catalogue: &Catalogue,
) -> Option<Bundle> {
    let name = table.required_text("name");
    let named = table.texts("parts").map(|at| at.value).unwrap_or_default();
    let mut parts: Vec<PartId> = Vec::new();
    for part in &named {
        parts.extend(known_part(&table, &part.value, &part.span, catalogue));
    }
    let n_parts = parts.len();
    parts.sort();
    parts.dedup();
    table.require("saves");
    let saves = table.money("saves", currency);
    let days = Days::read(&mut table);
    let is_bundle = n_parts == named.len() && parts.len() == n_parts && n_parts > 1;
    if n_parts == named.len() && !is_bundle {
        let message = "`parts` does not name two different parts or more";
        let remedy = "name each part of the bundle once";
        table.document().fault(&table.span(), message, remedy);
    }
    table.finish();
    let bundle = Bundle {
        name: name?.value,
        parts,
        saves: saves?.value,
        days,
    };
    is_bundle.then_some(bundle)
}

fn read_rebate(
    mut table: Table<'_, '_>,
    currency: Currency,
    catalogue: &Catalogue,
) -> Option<Rebate> {
    let name = table.required_text("name");
    let applies_to = read_applies_to(&mut table, catalogue);
    let off = read_off(&mut table, currency);
    let days = Days::read(&mut table);
    table.finish();
    Some(Rebate {
        name: name?.value,
        applies_to,
        off: off?,
        days,
    })
}

fn read_applies_to(table: &mut Table<'_, '_>, catalogue: &Catalogue) -> AppliesTo {
    let mut texts = |key| table.texts(key).map(|at| at.value).unwrap_or_default();
    let (kinds, parts, brands) = (texts("kinds"), texts("parts"), texts("brands"));
    AppliesTo {
        kinds: kinds
            .iter()
            .filter_map(|kind| read_kind(table, kind))
            .collect(),
        parts: parts
            .iter()
            .filter_map(|part| known_part(table, &part.value, &part.span, catalogue))
            .collect(),
        brands: brands.into_iter().map(|brand| brand.value).collect(),
    }
}

/// One of `percent` and `amount`.
fn read_off(table: &mut Table<'_, '_>, currency: Currency) -> Option<Off> {
    let is_percent = table.has("percent");
    if is_percent == table.has("amount") {
        let message = "it takes off a `percent` or an `amount`, one of them";
        let remedy = "write `percent = 10` or `amount = \"20.00\"`";
        table.document().fault(&table.span(), message, remedy);
        // Both keys are known, whatever they say.
        let _unread = (table.decimal("percent"), table.decimal("amount"));
        return None;
    }
    if is_percent {
        return read_percent(table, "percent").map(Off::Percent);
    }
    table
        .money("amount", currency)
        .map(|at| Off::Amount(at.value))
}

/// A day, `2026-11-30`.
pub fn read_day(table: &mut Table<'_, '_>, key: &'static str) -> Option<NaiveDate> {
    let text = table.text(key)?;
    let day = NaiveDate::parse_from_str(text.value.trim(), "%Y-%m-%d").ok();
    if day.is_none() {
        let message = format!("`{key}` is \"{}\", which is no day", text.value);
        let remedy = "write it as \"2026-11-30\"";
        table.document().fault(&text.span, message, remedy);
    }
    day
}

/// A percentage from 0 to 100 in hundredths.
pub(super) fn read_percent(table: &mut Table<'_, '_>, key: &'static str) -> Option<u32> {
    const WHOLE: Range<u32> = 0..10_001;
    let percent = table.scaled(key, 2)?;
    let hundredths = u32::try_from(percent.value).ok();
    let hundredths = hundredths.filter(|hundredths| WHOLE.contains(hundredths));
    if hundredths.is_none() {
        let message = format!("`{key}` is out of range");
        let remedy = "write a percentage from 0 to 100";
        table.document().fault(&percent.span, message, remedy);
    }
    hundredths
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::catalogue::table::Document;
    use crate::fit::sample::part;
    use std::collections::BTreeMap;

    fn catalogue() -> Catalogue {
        let part = |id: &str| Part {
            id: PartId::new(id),
            brand: Some("Ostrin".into()),
            ..part(Kind::Case, &[])
        };
        let parts = ["box", "lamp"].map(|id| (PartId::new(id), part(id)));
        Catalogue {
            parts: BTreeMap::from(parts),
            ..Catalogue::default()
        }
    }

    fn read(text: &str) -> (Terms, Vec<String>) {
        let document = Document::parse("shop.toml", text);
        let mut table = document.root();
        let terms = Terms::read(&mut table, Currency::EUR, &catalogue());
        table.finish();
        let faults = document.into_faults();
        (terms, faults.iter().map(ToString::to_string).collect())
    }

    #[test]
    fn terms_are_read_in_the_retailers_currency() {
        let (terms, faults) = read(
            "[[delivery]]\nto = [\"de\", \"AT\"]\nflat = \"5.90\"\nper_item = 1\nfree_from = 50\n\
             by_weight = [{ up_to_kg = 5, costs = 2 }, { up_to_kg = \"31.5\", costs = 9 }]\n\
             [[coupon]]\ncode = \"A\"\npercent = \"12.5\"\nkinds = [\"gpu\"]\nat_most = 50\n\
             until = \"2026-12-24\"\n\
             [[bundle]]\nname = \"both\"\nparts = [\"lamp\", \"box\"]\nsaves = 15\n\
             [[rebate]]\nname = \"back\"\nbrands = [\"ostrin\"]\namount = 10\n",
        );
        assert_eq!(faults, Vec::<String>::new());
        let delivery = terms.delivery_to("AT", "DE").unwrap();
        assert_eq!(delivery.flat.minor(), 590);
        assert_eq!(delivery.by_weight[1].up_to_g, 31_500);
        assert!(terms.delivery_to("FR", "DE").is_none());
        assert_eq!(terms.coupons[0].off, Off::Percent(1_250));
        assert_eq!(terms.bundles[0].saves.minor(), 1_500);
        let part = &catalogue().parts[&PartId::new("box")];
        assert!(terms.rebates[0].applies_to.covers(part));
        assert!(!terms.coupons[0].applies_to.covers(part));

        let day = |text| NaiveDate::parse_from_str(text, "%Y-%m-%d").unwrap();
        assert_eq!(terms.on(day("2026-12-24")).coupons.len(), 1);
        assert_eq!(terms.on(day("2026-12-25")).coupons.len(), 0);
    }

    #[test]
    fn what_cannot_be_meant_is_said_with_its_line() {
        for (text, line, fault) in [
            (
                "[[coupon]]\ncode = \"A\"\n",
                1,
                "a `percent` or an `amount`",
            ),
            (
                "[[coupon]]\ncode = \"A\"\npercent = 120\n",
                3,
                "out of range",
            ),
            (
                "[[coupon]]\ncode = \"A\"\namount = 5\nuntil = \"soon\"\n",
                4,
                "no day",
            ),
            (
                "[[coupon]]\ncode = \"A\"\namount = 5\nparts = [\"bix\"]\n",
                4,
                "\"box\"?",
            ),
            (
                "[[bundle]]\nname = \"b\"\nparts = [\"box\", \"box\"]\nsaves = 1\n",
                1,
                "two different",
            ),
            (
                "[[coupon]]\ncode = \"A\"\namount = 5\n[[coupon]]\ncode = \"A\"\namount = 6\n",
                1,
                "\"A\" is defined twice",
            ),
            (
                "[[delivery]]\nto = [\"Austria\"]\n",
                2,
                "not a country code",
            ),
            ("[[delivery]]\nflatt = 5\n", 2, "unknown key"),
            (
                "[[delivery]]\nby_weight = [{ up_to_kg = 9, costs = 1 }, { up_to_kg = 2, costs = 2 }]\n",
                1,
                "from light to heavy",
            ),
        ] {
            let (_, faults) = read(text);
            assert_eq!(faults.len(), 1, "{text}: {faults:?}");
            let place = format!("shop.toml:{line}:");
            assert!(
                faults[0].starts_with(&place) && faults[0].contains(fault),
                "{faults:?}"
            );
        }
    }
}
