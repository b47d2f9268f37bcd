//! What a feed's settings say about reading its offers.

use super::text;
use crate::catalogue::table::{At, Table, nearest};
use crate::market::offer::{Availability, Condition, RetailerId};
use crate::market::retailer::Retailer;
use crate::money::{Currency, Decimal, NumberMarks};
use std::collections::BTreeMap;

/// How the offers of one feed are read.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct NormaliseSettings {
    pub retailer: RetailerId,
    /// Told apart from other sellers by this name.
    pub retailer_name: String,
    /// ISO 3166-1 alpha-2, for delivery terms.
    pub country: String,
    /// The currency where a record names none.
    pub currency: Currency,
    /// How the retailer's pages write numbers.
    pub marks: Option<NumberMarks>,
    pub prices_include_tax: bool,
    /// The condition where a record names none.
    pub condition: Condition,
    /// Whether offers of other sellers are taken.
    pub allow_marketplace: bool,
    /// The retailer's own words, folded by [`NormaliseSettings::word`].
    pub availability_words: BTreeMap<String, Availability>,
    pub condition_words: BTreeMap<String, Condition>,
    /// Prices count minor units: `129990` is EUR 1299.90.
    pub minor_units: bool,
    /// Amounts that stand for "price unknown" here.
    pub placeholders: Vec<Decimal>,
}

impl NormaliseSettings {
    /// Settings that say nothing but where the shop is.
    pub fn of(retailer: &str, country: &str, currency: Currency) -> NormaliseSettings {
        NormaliseSettings {
            retailer: RetailerId::new(retailer),
            retailer_name: retailer.to_owned(),
            country: country.to_owned(),
            currency,
            marks: None,
            prices_include_tax: true,
            condition: Condition::New,
            allow_marketplace: false,
            availability_words: BTreeMap::new(),
            condition_words: BTreeMap::new(),
            minor_units: false,
            placeholders: Vec::new(),
        }
    }

    /// Reads a feed's keys; the caller reads the others and finishes the table.
    ///
    /// | key | meaning | without it |
    /// | --- | --- | --- |
    /// | `marketplace` | take offers of other sellers | `false` |
    /// | `condition` | condition where a record names none | `"new"` |
    /// | `minor_units` | prices count cents | `false` |
    /// | `placeholders` | amounts that stand for "price unknown" | zero and rows of nines |
    /// | `availability` | table: the shop's words and the state each means | |
    /// | `conditions` | table: the same for conditions | |
    pub fn read(table: &mut Table<'_, '_>, retailer: &Retailer) -> Option<NormaliseSettings> {
        let mut settings =
            NormaliseSettings::of(retailer.id.as_str(), &retailer.country, retailer.currency);
        settings.retailer_name.clone_from(&retailer.name);
        settings.prices_include_tax = retailer.prices_include_tax;
        settings.marks = retailer.locale.as_deref().and_then(NumberMarks::of_locale);
        let mut sound = true;
        if let (Some(locale), None) = (&retailer.locale, settings.marks) {
            let message = format!("the retailer's locale \"{locale}\" is not known");
            table.document().fault(
                &table.span(),
                message,
                "write a language such as \"de\" or \"en-GB\"",
            );
            sound = false;
        }
        settings.allow_marketplace = table.flag("marketplace").is_some_and(|flag| flag.value);
        settings.minor_units = table.flag("minor_units").is_some_and(|flag| flag.value);
        if let Some(word) = table.text("condition") {
            let condition = read_name(table, &word, Condition::NAMES);
            sound &= condition.is_some();
            settings.condition = condition.unwrap_or_default();
        }
        for text in table
            .texts("placeholders")
            .map(|texts| texts.value)
            .unwrap_or_default()
        {
            match Decimal::parse(&text.value) {
                Some(decimal) => settings.placeholders.push(decimal),
                None => {
                    let message = format!("\"{}\" is not an amount", text.value);
                    table.document().fault(
                        &text.span,
                        message,
                        "write digits with a point, such as \"9999.99\"",
                    );
                    sound = false;
                }
            }
        }
        let availability = read_words(table, "availability", Availability::NAMES);
        let conditions = read_words(table, "conditions", Condition::NAMES);
        settings.availability_words = availability?;
        settings.condition_words = conditions?;
        sound.then_some(settings)
    }

    /// The folded form in which the retailer's words are compared.
    pub fn word(text: &str) -> String {
        text::key(text)
    }
}

fn read_words<T: Copy>(
    table: &mut Table<'_, '_>,
    key: &'static str,
    names: &[(&'static str, T)],
) -> Option<BTreeMap<String, T>> {
    let mut words = BTreeMap::new();
    if !table.has(key) {
        // Asking makes the key known, so that a misspelt one is named together with it.
        let _ = table.table(key);
        return Some(words);
    }
    let mut sound = true;
    for (word, name) in table.table(key)?.named_texts() {
        match read_name(table, &name, names) {
            Some(state) => {
                words.insert(text::key(&word.value), state);
            }
            None => sound = false,
        }
    }
    sound.then_some(words)
}

fn read_name<T: Copy>(
    table: &Table<'_, '_>,
    name: &At<String>,
    names: &[(&'static str, T)],
) -> Option<T> {
    let wanted = text::key(&name.value);
    let found = names.iter().find(|(known, _)| text::key(known) == wanted);
    if let Some((_, state)) = found {
        return Some(*state);
    }
    let known: Vec<&str> = names.iter().map(|(known, _)| *known).collect();
    let remedy = match nearest(&name.value, known.iter().copied()) {
        Some(near) => format!("did you mean \"{near}\"?"),
        None => format!("write one of {}", known.join(", ")),
    };
    let message = format!("\"{}\" is not a known state", name.value);
    table.document().fault(&name.span, message, remedy);
    None
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::catalogue::table::Document;
    use crate::money::Money;

    fn retailer(locale: Option<&str>) -> Retailer {
        Retailer {
            id: RetailerId::new("nordhafen"),
            name: "Nordhafen Technik".to_owned(),
            country: "DE".to_owned(),
            currency: Currency::EUR,
            locale: locale.map(str::to_owned),
            prices_include_tax: true,
            tax_percent_hundredths: 1900,
            delivery_per_pick: Money::zero(Currency::EUR),
            terms: crate::market::Terms::default(),
            links: Default::default(),
            exchange: Vec::new(),
        }
    }

    #[test]
    fn the_keys_of_a_feed_are_read() {
        let text = "marketplace = true\ncondition = \"used\"\nminor_units = true\n\
                    placeholders = [\"7777\"]\n[availability]\n\"Sofort da\" = \"in_stock\"\n\
                    [conditions]\n\"A+\" = \"refurbished\"\n";
        let document = Document::parse("shops/a.toml", text);
        let mut root = document.root();
        let settings = NormaliseSettings::read(&mut root, &retailer(Some("de"))).unwrap();
        root.finish();
        assert_eq!(document.into_faults(), []);
        assert!(settings.allow_marketplace && settings.minor_units);
        assert_eq!(settings.condition, Condition::Used);
        assert_eq!(settings.marks, NumberMarks::of_locale("de"));
        let word = NormaliseSettings::word("SOFORT DA");
        assert_eq!(
            settings.availability_words.get(&word),
            Some(&Availability::InStock)
        );
        assert_eq!(
            settings.condition_words.get("a+"),
            Some(&Condition::Refurbished)
        );
    }

    #[test]
    fn every_fault_of_the_keys_is_named() {
        let text =
            "condition = \"usd\"\nplaceholders = [\"many\"]\n[availability]\nda = \"instok\"\n";
        let document = Document::parse("shops/a.toml", text);
        let mut root = document.root();
        assert_eq!(
            NormaliseSettings::read(&mut root, &retailer(Some("tlh"))),
            None
        );
        let faults: Vec<String> = document
            .into_faults()
            .iter()
            .map(ToString::to_string)
            .collect();
        assert_eq!(
            faults,
            [
                "shops/a.toml:1:1: the retailer's locale \"tlh\" is not known; write a language such \
                 as \"de\" or \"en-GB\"",
                "shops/a.toml:1:13: \"usd\" is not a known state; did you mean \"used\"?",
                "shops/a.toml:2:17: \"many\" is not an amount; write digits with a point, such as \
                 \"9999.99\"",
                "shops/a.toml:4:6: \"instok\" is not a known state; did you mean \"in_stock\"?",
            ]
        );
    }
}
