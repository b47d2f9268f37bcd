//! A part's past as it is read from the ledger and sorted into what can be compared.

use super::asking::{AskFault, amount};
use super::settings::Settings;
use crate::catalogue::PartId;
use crate::chart::steps::{Line, StepChart};
use crate::history::prior_price::{self, Finding, Reduction, Stated, Terms, Verdict};
use crate::history::{Asked, Facts, Reading, Series, State, Stock, lowest_of};
use crate::ledger::{Interval, LedgerError, OfferRow, Reader};
use crate::market::{Condition, FeedId, RetailerId, Sku};
use crate::money::{Currency, Money};
use chrono::{DateTime, NaiveDate, NaiveTime, Utc};
use chrono_tz::Tz;
use std::collections::BTreeMap;

/// What of a part's past is asked for.
#[derive(Debug, Clone, Default)]
pub struct PastWanted {
    pub part: String,
    /// Only from this day on, in UTC.
    pub since: Option<NaiveDate>,
    /// Only these retailers' offers; all, if none is named.
    pub retailers: Vec<String>,
    /// A price that is waited for, in words.
    pub target: Option<String>,
    /// Of a reduction that grew step by step, the price before its first step is the one before it.
    pub progressive: bool,
    pub on_market_since: Option<NaiveDate>,
}

impl PastWanted {
    /// All that is known of the part.
    pub fn of(part: &str) -> PastWanted {
        PastWanted {
            part: part.to_owned(),
            ..PastWanted::default()
        }
    }
}

/// Everything that is told of a part.
pub struct Past {
    pub part: String,
    /// Its name, or its id where the catalogue has it no more.
    pub name: String,
    /// What was asked for, by feed, SKU and time.
    pub intervals: Vec<Interval>,
    pub wares: Vec<Ware>,
    pub claims: Vec<Claim>,
}

/// What makes prices comparable.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub struct WareKind {
    pub condition: Condition,
    pub currency: Currency,
    pub tax_included: bool,
}

/// The comparable offers of the part, and the lowest of them at every instant.
pub struct Ware {
    pub kind: WareKind,
    pub offers: Vec<OfferPast>,
    pub lowest: Series,
    pub facts: Option<Facts>,
    pub target: Option<Money>,
}

/// One offer's series in one currency.
pub struct OfferPast {
    pub retailer: RetailerId,
    pub sku: Sku,
    pub seller: Option<String>,
    pub series: Series,
}

/// A claimed reduction and what the record says of it.
pub struct Claim {
    pub offer: OfferRow,
    pub retailer: RetailerId,
    pub sku: Sku,
    pub currency: Currency,
    pub reduction: Reduction,
    pub finding: Finding,
}

impl Past {
    /// # Errors
    /// The ledger's, and a target that is no amount.
    pub fn read(
        settings: &Settings,
        reader: &Reader,
        wanted: &PastWanted,
        now: DateTime<Utc>,
    ) -> Result<Past, AskFault> {
        let mut intervals = reader.series(&wanted.part)?;
        let asked = |one: &Interval| {
            let mut named = wanted.retailers.iter();
            wanted.retailers.is_empty() || named.any(|name| one.retailer.as_str() == name)
        };
        intervals.retain(asked);
        let readings = readings(reader, &intervals)?;
        let since = wanted.since.map(midnight);
        let mut wares = wares(&intervals, &readings, since, now);
        if let Some(target) = &wanted.target {
            for ware in &mut wares {
                ware.target = Some(amount(target, ware.kind.currency)?);
            }
        }
        let mut claims = claims(settings, wanted, &intervals, &readings, now);
        // A claim is judged by the whole record, and told if it was made or seen in what was asked for.
        let is_told = |interval: &Interval| since.is_none_or(|since| interval.until >= since);
        intervals.retain(is_told);
        claims.retain(|claim| intervals.iter().any(|one| claim.covers(one)));
        let part = settings.catalogue.parts.get(&PartId::new(&wanted.part));
        Ok(Past {
            name: part.map_or_else(|| wanted.part.clone(), |part| part.name.clone()),
            part: wanted.part.clone(),
            intervals,
            wares,
            claims,
        })
    }

    pub fn ware_of(&self, interval: &Interval) -> Option<&Ware> {
        let kind = WareKind::of(interval);
        self.wares.iter().find(|ware| ware.kind == kind)
    }
}

impl WareKind {
    /// What a ware is called where there are several: `new, EUR with tax`.
    pub fn words(&self) -> String {
        let tax = match self.tax_included {
            true => "with",
            false => "without",
        };
        let condition = match self.condition.name() {
            "unknown" => "condition not told",
            told => told,
        };
        format!("{condition}, {} {tax} tax", self.currency)
    }

    fn of(interval: &Interval) -> WareKind {
        WareKind {
            condition: interval.condition,
            currency: interval.price.currency(),
            tax_included: interval.tax_included,
        }
    }
}

impl Ware {
    pub fn money(&self, minor: i64) -> Money {
        Money::from_minor(minor, self.kind.currency)
    }

    /// Whose the price of a merged step is.
    pub fn source(&self, number: usize) -> Option<&OfferPast> {
        self.offers.get(number)
    }

    /// True where the interval has the lowest price of its ware.
    pub fn is_lowest(&self, interval: &Interval) -> bool {
        let lowest = self.facts.as_ref().and_then(|facts| facts.lowest);
        lowest.is_some_and(|lowest| {
            lowest.minor == interval.price.minor()
                && Stock::of(interval.availability) != Stock::NotOrderable
                && interval.until >= lowest.from
        })
    }

    pub fn chart(&self, past: &Past) -> StepChart {
        let named = |offer: &OfferPast| format!("{} {}", offer.retailer, offer.sku);
        let (subject, others) = match self.offers.as_slice() {
            [only] => (named(only), Vec::new()),
            several => {
                let lines = several.iter().map(|offer| Line {
                    name: named(offer),
                    series: offer.series.clone(),
                });
                (
                    format!("the lowest of {} offers", several.len()),
                    lines.collect(),
                )
            }
        };
        StepChart {
            title: format!("{}: {subject} ({})", past.name, self.kind.words()),
            description: self.description(),
            subject: Line {
                name: subject,
                series: self.lowest.clone(),
            },
            others,
        }
    }

    /// The chart in words.
    fn description(&self) -> String {
        let Some(facts) = &self.facts else {
            return String::new();
        };
        let day = |at: DateTime<Utc>| at.date_naive();
        let mut words = vec![format!(
            "Prices in {} from {} to {}.",
            self.kind.currency,
            day(facts.record.from),
            day(facts.record.until)
        )];
        if let State::Asked(quote) = facts.now {
            words.push(format!("At the end {}.", self.money(quote.minor)));
        }
        for (word, extreme) in [("Lowest", facts.lowest), ("Highest", facts.highest)] {
            if let Some(extreme) = extreme {
                let (price, from) = (self.money(extreme.minor), day(extreme.from));
                words.push(format!("{word} {price}, first on {from}."));
            }
        }
        words.join(" ")
    }
}

impl Claim {
    pub fn was(&self) -> Money {
        Money::from_minor(self.reduction.was_minor, self.currency)
    }

    pub fn verdict(&self) -> &'static str {
        match self.finding.verdict {
            Verdict::Contradicted { .. } => "contradicted",
            Verdict::Consistent => "consistent",
            Verdict::CannotTell(_) => "cannot tell",
        }
    }

    /// True for the intervals in which it was claimed.
    pub fn covers(&self, interval: &Interval) -> bool {
        self.offer == interval.observation.offer
            && interval.from >= self.reduction.from
            && interval.price == Money::from_minor(self.reduction.price_minor, self.currency)
            && interval.list_price == Some(self.was())
    }
}

/// The midnight that begins a day.
pub fn midnight(day: NaiveDate) -> DateTime<Utc> {
    day.and_time(NaiveTime::MIN).and_utc()
}

fn readings(
    reader: &Reader,
    intervals: &[Interval],
) -> Result<BTreeMap<FeedId, Vec<Reading>>, LedgerError> {
    let mut readings = BTreeMap::new();
    for interval in intervals {
        if !readings.contains_key(&interval.feed) {
            let of_feed = reader.readings(&interval.feed)?;
            readings.insert(interval.feed.clone(), of_feed);
        }
    }
    Ok(readings)
}

/// The offers by ware; of each, the intervals that are of the ware.
fn wares(
    intervals: &[Interval],
    readings: &BTreeMap<FeedId, Vec<Reading>>,
    since: Option<DateTime<Utc>>,
    now: DateTime<Utc>,
) -> Vec<Ware> {
    let mut by_kind: BTreeMap<WareKind, BTreeMap<OfferRow, Vec<&Interval>>> = BTreeMap::new();
    for interval in intervals {
        let offers = by_kind.entry(WareKind::of(interval)).or_default();
        let of_offer = offers.entry(interval.observation.offer).or_default();
        of_offer.push(interval);
    }
    let mut wares: Vec<Ware> = by_kind
        .into_iter()
        .filter_map(|(kind, offers)| ware(kind, offers, readings, since, now))
        .collect();
    // New things first, and what most offers are.
    wares.sort_by_key(|ware| (ware.kind.condition, std::cmp::Reverse(ware.offers.len())));
    wares
}

fn ware(
    kind: WareKind,
    offers: BTreeMap<OfferRow, Vec<&Interval>>,
    readings: &BTreeMap<FeedId, Vec<Reading>>,
    since: Option<DateTime<Utc>>,
    now: DateTime<Utc>,
) -> Option<Ware> {
    let offers = offers.into_values().filter_map(|intervals| {
        let first = intervals.first()?;
        let series = series(kind.currency, &intervals, readings, now);
        let series = match since {
            Some(since) => series.since(since),
            None => series,
        };
        series.last()?;
        Some(OfferPast {
            retailer: first.retailer.clone(),
            sku: first.sku.clone(),
            seller: first.seller.clone(),
            series,
        })
    });
    let offers: Vec<OfferPast> = offers.collect();
    let all: Vec<&Series> = offers.iter().map(|offer| &offer.series).collect();
    let lowest = lowest_of(kind.currency, &all);
    lowest.last()?;
    Some(Ware {
        kind,
        facts: Facts::of(&lowest),
        lowest,
        offers,
        target: None,
    })
}

fn series(
    currency: Currency,
    intervals: &[&Interval],
    readings: &BTreeMap<FeedId, Vec<Reading>>,
    now: DateTime<Utc>,
) -> Series {
    let asked: Vec<Asked> = intervals
        .iter()
        .map(|interval| Asked {
            from: interval.from,
            until: interval.until,
            gone_since: interval.gone_since,
            minor: interval.price.minor(),
            stock: Stock::of(interval.availability),
        })
        .collect();
    let of_feed = intervals
        .first()
        .and_then(|first| readings.get(&first.feed));
    let of_feed = of_feed.map_or(&[][..], Vec::as_slice);
    Series::of_offer(currency, &asked, of_feed, now)
}

/// Every claimed reduction of every offer, held against the offer's own record.
fn claims(
    settings: &Settings,
    wanted: &PastWanted,
    intervals: &[Interval],
    readings: &BTreeMap<FeedId, Vec<Reading>>,
    now: DateTime<Utc>,
) -> Vec<Claim> {
    let mut by_offer: BTreeMap<(OfferRow, WareKind), Vec<&Interval>> = BTreeMap::new();
    for interval in intervals {
        let key = (interval.observation.offer, WareKind::of(interval));
        by_offer.entry(key).or_default().push(interval);
    }
    let mut claims = Vec::new();
    for ((offer, kind), intervals) in by_offer {
        let Some(first) = intervals.first() else {
            continue;
        };
        let in_currency = |one: &Money| one.currency() == kind.currency;
        let stated: Vec<Stated> = intervals
            .iter()
            .map(|interval| Stated {
                from: interval.from,
                price_minor: interval.price.minor(),
                was_minor: interval
                    .list_price
                    .filter(in_currency)
                    .map(|was| was.minor()),
            })
            .collect();
        let reductions = prior_price::reductions(&stated);
        if reductions.is_empty() {
            continue;
        }
        let record = series(kind.currency, &intervals, readings, now);
        let feed = settings.feeds.iter().find(|feed| feed.id == first.feed);
        let terms = Terms {
            zone: feed.map_or(Tz::UTC, |feed| feed.zone),
            progressive: wanted.progressive,
            on_market_since: wanted.on_market_since.map(midnight),
        };
        claims.extend(reductions.into_iter().map(|reduction| Claim {
            offer,
            retailer: first.retailer.clone(),
            sku: first.sku.clone(),
            currency: kind.currency,
            finding: prior_price::check(&record, &reduction, &terms),
            reduction,
        }));
    }
    claims
}
