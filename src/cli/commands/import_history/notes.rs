//! An author's own notes of prices: a CSV file, read line by line with all faults at once.

use crate::catalogue::PartId;
use crate::catalogue::scale_decimal;
use crate::catalogue::table::nearest;
use crate::cli::args::Past;
use crate::ledger::PastPrice;
use crate::market::{Availability, Retailer, RetailerId, Sku};
use crate::money::{Currency, Money};
use crate::watch::settings::Settings;
use anyhow::Context as _;
use chrono::{DateTime, NaiveTime, TimeDelta, Utc};
use std::fs::File;
use std::path::Path;

const COLUMNS: &[&str] = &[
    "retailer",
    "sku",
    "part",
    "at",
    "price",
    "currency",
    "availability",
    "tax_included",
    "title",
];

/// A file of notes that is open, its header read.
pub struct Notes {
    reader: csv::Reader<File>,
    header: Vec<String>,
}

/// What could be read, and what is wrong with which line.
pub type Read = (Vec<PastPrice>, Vec<(u64, String)>);

impl Notes {
    /// Opens a file of notes; `None` when it is an export of a ledger.
    pub fn of(path: &Path) -> anyhow::Result<Option<Notes>> {
        if path
            .extension()
            .is_none_or(|ending| !ending.eq_ignore_ascii_case("csv"))
        {
            return Ok(None);
        }
        let cannot = || format!("cannot read {}", path.display());
        let mut reader = csv::ReaderBuilder::new()
            .trim(csv::Trim::All)
            .flexible(true)
            .from_path(path)
            .with_context(cannot)?;
        let header = reader.headers().with_context(cannot)?;
        let header: Vec<String> = header
            .iter()
            .map(|name| name.trim_start_matches('\u{feff}').to_lowercase())
            .collect();
        let is_export = header.first().is_some_and(|first| first == "table");
        Ok((!is_export).then_some(Notes { reader, header }))
    }

    /// Reads every line.
    pub fn read(self, settings: &Settings, now: DateTime<Utc>) -> anyhow::Result<Read> {
        let Notes { mut reader, header } = self;
        let (mut prices, mut faults) = (Vec::new(), Vec::new());
        for name in header
            .iter()
            .filter(|name| !COLUMNS.contains(&name.as_str()))
        {
            let known = match nearest(name, COLUMNS.iter().copied()) {
                Some(near) => format!("did you mean `{near}`?"),
                None => format!("known are {}", COLUMNS.join(", ")),
            };
            faults.push((1, format!("there is no column `{name}`; {known}")));
        }
        for needed in ["retailer", "at", "price"] {
            if !header.iter().any(|name| name == needed) {
                faults.push((1, format!("the column `{needed}` is missing")));
            }
        }
        if !faults.is_empty() {
            return Ok((prices, faults));
        }
        for record in reader.records() {
            let record = record?;
            let line = record.position().map_or(0, csv::Position::line);
            let cell = |name: &str| {
                let at = header.iter().position(|known| known == name);
                let cell = at.and_then(|at| record.get(at));
                cell.filter(|cell| !cell.is_empty())
            };
            let noted = Line {
                cell,
                settings,
                now,
            };
            match noted.price(line) {
                Ok(price) => prices.push(price),
                Err(mut found) => faults.extend(found.drain(..).map(|fault| (line, fault))),
            }
        }
        Ok((prices, faults))
    }
}

struct Line<'n, C> {
    cell: C,
    settings: &'n Settings,
    now: DateTime<Utc>,
}

impl<'r, C: Fn(&str) -> Option<&'r str>> Line<'_, C> {
    fn price(&self, line: u64) -> Result<PastPrice, Vec<String>> {
        let mut faults = Vec::new();
        let retailer = keep(self.retailer(), &mut faults);
        let part = keep(self.part(), &mut faults);
        let at = keep(self.at(), &mut faults);
        let price = retailer.and_then(|retailer| keep(self.amount(retailer), &mut faults));
        let availability = keep(self.availability(), &mut faults);
        let tax = retailer.map(|retailer| self.tax_included(retailer));
        let tax_included = tax.and_then(|tax| keep(tax, &mut faults));
        let part = part.flatten();
        let sku = (self.cell)("sku").map(Sku::new);
        let sku = sku.or_else(|| part.as_ref().map(|part| Sku::new(part.as_str())));
        if sku.is_none() && faults.is_empty() {
            faults.push("neither sku nor part says what it is of".to_owned());
        }
        match (retailer, at, price, availability, tax_included, sku) {
            (Some(retailer), Some(at), Some(price), Some(availability), Some(tax), Some(sku))
                if faults.is_empty() =>
            {
                let known = part
                    .as_ref()
                    .and_then(|id| self.settings.catalogue.parts.get(id));
                let title = (self.cell)("title").map(str::to_owned);
                let title = title.or_else(|| known.map(|part| part.name.clone()));
                Ok(PastPrice {
                    line,
                    retailer: retailer.id.clone(),
                    title: title.unwrap_or_else(|| sku.to_string()),
                    sku,
                    part: part.map(|part| part.to_string()),
                    at,
                    price,
                    tax_included: tax,
                    availability,
                })
            }
            _ => Err(faults),
        }
    }

    fn retailer(&self) -> Result<&Retailer, String> {
        let name = (self.cell)("retailer").ok_or("the retailer is missing")?;
        let retailers = &self.settings.retailers;
        retailers.get(&RetailerId::new(name)).ok_or_else(|| {
            let near = nearest(name, retailers.keys().map(RetailerId::as_str));
            let near = near.map_or(String::new(), |near| format!("; did you mean \"{near}\"?"));
            format!("no retailer of the configuration is called \"{name}\"{near}")
        })
    }

    fn part(&self) -> Result<Option<PartId>, String> {
        let Some(name) = (self.cell)("part") else {
            return Ok(None);
        };
        let id = PartId::new(name);
        let parts = &self.settings.catalogue.parts;
        if parts.contains_key(&id) {
            return Ok(Some(id));
        }
        let near = nearest(name, parts.keys().map(PartId::as_str));
        let near = near.map_or(String::new(), |near| format!("; did you mean \"{near}\"?"));
        Err(format!(
            "no part of the catalogue is called \"{name}\"{near}"
        ))
    }

    /// A date stands for the beginning of its day in UTC, so that a question about the end of that
    /// day finds the price.
    fn at(&self) -> Result<DateTime<Utc>, String> {
        let text = (self.cell)("at").ok_or("the instant `at` is missing")?;
        let past = Past::parse(text).map_err(|wanted| format!("\"{text}\" in `at`: {wanted}"))?;
        let at = match past {
            Past::Day(day) => day.and_time(NaiveTime::MIN).and_utc(),
            // A whole second was read as its end.
            Past::At(at) if at.timestamp_subsec_millis() == 999 => {
                at - TimeDelta::milliseconds(999)
            }
            Past::At(at) => at,
        };
        match at <= self.now {
            true => Ok(at),
            false => Err(format!("{text} lies ahead")),
        }
    }

    fn amount(&self, retailer: &Retailer) -> Result<Money, String> {
        let currency = match (self.cell)("currency") {
            Some(code) => Currency::parse(code).map_err(|fault| fault.to_string())?,
            None => retailer.currency,
        };
        let text = (self.cell)("price").ok_or("the price is missing")?;
        let minor = scale_decimal(text, currency.exponent()).filter(|minor| *minor > 0);
        let minor = minor.ok_or_else(|| {
            format!(
                "\"{text}\" is no price in {currency}; write digits with a point, such as 149.90"
            )
        })?;
        Ok(Money::from_minor(minor, currency))
    }

    /// A price that was noted was one to buy at, unless the line says otherwise.
    fn availability(&self) -> Result<Availability, String> {
        let Some(text) = (self.cell)("availability") else {
            return Ok(Availability::InStock);
        };
        Availability::parse_name(text).ok_or_else(|| {
            let known = Availability::NAMES.iter().map(|(name, _)| *name);
            let known: Vec<&str> = known.collect();
            format!(
                "\"{text}\" is no availability; known are {}",
                known.join(", ")
            )
        })
    }

    fn tax_included(&self, retailer: &Retailer) -> Result<bool, String> {
        match (self.cell)("tax_included") {
            None => Ok(retailer.prices_include_tax),
            Some("yes" | "true" | "1") => Ok(true),
            Some("no" | "false" | "0") => Ok(false),
            Some(text) => Err(format!("\"{text}\" in `tax_included`: write yes or no")),
        }
    }
}

fn keep<T>(read: Result<T, String>, faults: &mut Vec<String>) -> Option<T> {
    read.map_err(|fault| faults.push(fault)).ok()
}
