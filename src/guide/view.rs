//! What a guide says, before it is put into any form.
//!
//! Plain data: whoever joins the answer with the ladder, the prices and the specs fills it in, an
//! edition freezes it, and each form in `render` shows it. The JSON form is this itself, so keys are
//! only ever added.

use crate::money::{Currency, Money};
use serde::{Deserialize, Serialize};

/// The guide to one build, in one country.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct View {
    /// The version of this form.
    pub format: u32,
    pub brief: String,
    pub title: String,
    /// RFC 3339: the instant that everything in it is of.
    pub at: String,
    /// ISO 3166-1 alpha-2.
    pub country: String,
    pub currency: String,
    pub budget_minor: i64,
    /// With tax and delivery.
    pub total_minor: i64,
    /// What whole orders cost and save.
    pub orders: Vec<OrderLine>,
    pub score: f64,
    /// The share of the score's weight that rests on estimates.
    pub estimated_percent: f64,
    /// No other build scores higher; else the search was cut off.
    pub is_proven: bool,
    /// Where it is published.
    #[serde(default)]
    pub edition: Option<EditionView>,
    pub picks: Vec<PickView>,
    /// Stands beside the links while any of them is paid for.
    pub disclosures: Vec<String>,
    pub workloads: Vec<WorkloadView>,
    pub steps_up: Vec<StepView>,
    pub steps_down: Vec<StepView>,
    /// Total and score of every rung.
    pub ladder: Vec<RungView>,
    pub alternatives: Vec<AlternativeView>,
    /// What was looked at and holds.
    pub notes: Vec<String>,
    pub cautions: Vec<String>,
    pub power: Option<PowerView>,
    pub upgrades: Vec<String>,
    pub tools: Vec<String>,
    pub assembly: Vec<Stage>,
    /// The same picks elsewhere.
    #[serde(default)]
    pub countries: Vec<CountryView>,
}

/// Which edition this is.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct EditionView {
    pub number: u32,
    /// RFC 3339.
    pub at: String,
    pub before: Option<BeforeView>,
}

/// The edition before, and what changed since.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct BeforeView {
    pub number: u32,
    /// RFC 3339.
    pub at: String,
    /// One sentence each.
    pub changes: Vec<String>,
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct OrderLine {
    pub words: String,
    pub minor: i64,
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct PickView {
    pub role: String,
    pub part: String,
    pub name: String,
    pub brand: Option<String>,
    pub mpn: Option<String>,
    pub gtin: Option<String>,
    pub quantity: u32,
    /// Its name; absent, as SKU, price and instant are, for what the reader has already.
    pub retailer: Option<String>,
    pub sku: Option<String>,
    /// Of one, as the retailer states it.
    pub price_minor: Option<i64>,
    pub price_currency: String,
    /// The price includes the tax.
    pub tax_included: bool,
    /// Of all, with tax, and with delivery where it is not paid for a whole order.
    pub landed_minor: i64,
    pub link: Option<String>,
    pub is_paid_link: bool,
    /// RFC 3339.
    pub seen_at: Option<String>,
    /// A name of schema.org's ItemAvailability, such as InStock.
    pub availability: Option<String>,
    pub lead_days: Option<u32>,
    /// Where the price stands in its own past.
    pub price_position: Option<String>,
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct WorkloadView {
    pub name: String,
    pub unit: String,
    /// The share of the score's weight.
    pub weight_percent: f64,
    pub rate: f64,
    /// What holds it where it is.
    pub limited_by: String,
    pub is_estimate: bool,
    pub measured: Option<MeasuredView>,
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct MeasuredView {
    /// The test and its setting.
    #[serde(default)]
    pub test: String,
    pub rate: f64,
    /// Beside what was expected.
    pub difference_percent: f64,
    /// The difference is larger than runs of one test differ.
    pub is_flagged: bool,
    pub source: String,
    pub date: Option<String>,
    pub note: String,
    /// Of the hottest part, or of the one that the note names.
    #[serde(default)]
    pub temperature_c: Option<f64>,
    /// Of the whole build.
    #[serde(default)]
    pub wall_w: Option<f64>,
    #[serde(default)]
    pub clock_mhz: Option<f64>,
    #[serde(default)]
    pub voltage_v: Option<f64>,
    /// At 230 V, of the load that the supply has to cover.
    #[serde(default)]
    pub wall_expected_w: Option<i64>,
    #[serde(default)]
    pub wall_difference_percent: Option<f64>,
    /// More is drawn than the expected load lets one expect.
    #[serde(default)]
    pub is_wall_flagged: bool,
}

/// The same picks in another country.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct CountryView {
    /// ISO 3166-1 alpha-2.
    pub country: String,
    pub currency: String,
    /// With tax and delivery; absent, as the score is, where there is an obstacle.
    pub total_minor: Option<i64>,
    pub score: Option<f64>,
    pub orders: Vec<OrderLine>,
    pub picks: Vec<PickView>,
    pub disclosures: Vec<String>,
    /// What is not sold there, and the best that is.
    pub substitutes: Vec<ChangeView>,
    /// What had to change with them, though it is sold there.
    pub goes_with: Vec<ChangeView>,
    /// Why the build cannot be had there.
    pub obstacle: Option<String>,
}

/// Another rung of the ladder, seen from the guide's.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct StepView {
    pub cost_minor: i64,
    pub score_change: f64,
    pub changes: Vec<ChangeView>,
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct ChangeView {
    pub role: String,
    pub from: String,
    pub to: String,
}

#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct RungView {
    pub total_minor: i64,
    pub score: f64,
}

/// The best build without the pick of a role, or of any one of several.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct AlternativeView {
    pub role: String,
    pub step: StepView,
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct PowerView {
    pub load_w: i64,
    /// Parts whose draw nobody states.
    pub unknown: Vec<String>,
    pub rated_w: Option<i64>,
    /// Of the supply's rating, unused at the load.
    pub margin_percent: Option<i64>,
    pub wall_115_w: Option<i64>,
    pub wall_230_w: Option<i64>,
    /// What a later part may draw more, the headroom kept.
    pub room_w: Option<i64>,
}

/// A stage of putting the build together.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Stage {
    pub title: String,
    pub cautions: Vec<String>,
    pub steps: Vec<String>,
}

/// The version of [`View`].
pub const FORMAT: u32 = 1;

impl View {
    pub fn money(&self, minor: i64) -> String {
        amount(minor, &self.currency)
    }

    pub fn signed(&self, minor: i64) -> String {
        match minor < 0 {
            true => format!("\u{2212}{}", self.money(minor.saturating_neg())),
            false => format!("+{}", self.money(minor)),
        }
    }

    /// The day of the guide.
    pub fn day(&self) -> &str {
        day_of(&self.at)
    }

    /// What the build is for, by how much it counts.
    pub fn purpose_words(&self) -> String {
        let mut uses: Vec<&WorkloadView> = self.workloads.iter().collect();
        uses.sort_by(|one, other| other.weight_percent.total_cmp(&one.weight_percent));
        let uses = uses.iter().map(|one| match self.workloads.len() {
            1 => one.name.clone(),
            _ => format!("{} ({:.0} %)", one.name, one.weight_percent),
        });
        let uses: Vec<String> = uses.collect();
        match uses.split_last() {
            None => String::new(),
            Some((last, [])) => format!("Built for: {last}."),
            Some((last, others)) => format!("Built for: {} and {last}.", others.join(", ")),
        }
    }

    /// What whole orders cost and what is not in it, in one sentence.
    pub fn total_words(&self) -> String {
        format!(
            "The total includes tax and delivery to {}, as of {}.",
            self.country,
            shown_minute(&self.at)
        )
    }

    pub fn score_words(&self) -> String {
        let proof = match self.is_proven {
            true => "No build within the budget that fits scores higher",
            false => "The search was cut off, so a better build may exist",
        };
        let estimates = match self.estimated_percent {
            share if share <= 0.0 => "all of it rests on measured rates".to_owned(),
            share => format!("{share:.0} % of it rests on estimates"),
        };
        format!("{proof}; {estimates}. 100 is the reference of the brief.")
    }
}

impl EditionView {
    pub fn words(&self) -> String {
        format!("Edition {}, published {}.", self.number, day_of(&self.at))
    }
}

impl View {
    /// The heading of what changed since the edition before, and what did.
    pub fn changed(&self) -> Option<(String, &[String])> {
        let before = self.edition.as_ref()?.before.as_ref()?;
        let title = format!(
            "What changed since edition {} of {}",
            before.number,
            day_of(&before.at)
        );
        Some((title, &before.changes))
    }
}

impl PickView {
    pub fn price(&self) -> Option<String> {
        Some(amount(self.price_minor?, &self.price_currency))
    }

    /// Its name, with the number of pieces where there are several.
    pub fn shown_name(&self) -> String {
        match self.quantity {
            1 => self.name.clone(),
            n => format!("{n} × {}", self.name),
        }
    }

    /// The instant that the price was seen, to the minute.
    pub fn seen(&self) -> Option<String> {
        self.seen_at.as_deref().map(shown_minute)
    }
}

/// An instant of a record, to the minute.
fn shown_minute(at: &str) -> String {
    match (at.get(..10), at.get(11..16)) {
        (Some(day), Some(time)) => format!("{day} {time} UTC"),
        _ => at.to_owned(),
    }
}

impl CountryView {
    /// What it costs there, or why it cannot be had.
    pub fn total_words(&self) -> String {
        match (self.total_minor, self.score, &self.obstacle) {
            (Some(total), Some(score), _) => format!(
                "{} with tax and delivery to {}, score {score:.1}.",
                amount(total, &self.currency),
                self.country
            ),
            (_, _, Some(obstacle)) => format!("Cannot be had: {obstacle}."),
            _ => "Cannot be had.".to_owned(),
        }
    }

    /// What stands for a pick that is not sold there, and what had to change with it.
    pub fn substitute_words(&self) -> Vec<String> {
        let substitutes = self.substitutes.iter().map(|change| {
            let ChangeView { role, from, to } = change;
            format!(
                "{role}: {from} is not sold in {}; {to} instead.",
                self.country
            )
        });
        let goes_with = self.goes_with.iter().map(|change| {
            let ChangeView { role, from, to } = change;
            format!("{role}: {to} in place of {from}, which does not go with that.")
        });
        substitutes.chain(goes_with).collect()
    }

    pub fn money(&self, minor: i64) -> String {
        amount(minor, &self.currency)
    }
}

impl MeasuredView {
    /// What was read off, with units.
    pub fn readings(&self) -> Vec<String> {
        let wall = self.wall_w.map(|watts| {
            let expected = self.wall_expected_w.zip(self.wall_difference_percent);
            let flag = if self.is_wall_flagged {
                ", differs"
            } else {
                ""
            };
            let expected = expected.map_or(String::new(), |(expected, off)| {
                format!(" (at most {expected} W expected, {off:+.0} %{flag})")
            });
            format!("{watts} W at the wall{expected}")
        });
        let temperature = self.temperature_c.map(|degrees| format!("{degrees} °C"));
        let clock = self.clock_mhz.map(|clock| format!("{clock} MHz"));
        let voltage = self.voltage_v.map(|volts| format!("{volts} V"));
        [temperature, wall, clock, voltage]
            .into_iter()
            .flatten()
            .collect()
    }

    /// Who measured when, and what they noted.
    pub fn origin(&self) -> String {
        let date = self.date.iter().cloned();
        let note = Some(self.note.clone()).filter(|note| !note.is_empty());
        let all = std::iter::once(self.source.clone()).chain(date).chain(note);
        all.collect::<Vec<_>>().join(", ")
    }

    /// How the rate differs from the expected one.
    pub fn difference(&self) -> String {
        let flag = if self.is_flagged { ", differs" } else { "" };
        format!("{:+.0} %{flag}", self.difference_percent)
    }
}

impl WorkloadView {
    /// The expected rate, called an estimate where it is one.
    pub fn rate_words(&self) -> String {
        let estimate = if self.is_estimate { " (estimate)" } else { "" };
        format!("{:.1} {}{estimate}", self.rate, self.unit)
    }

    pub fn measured_words(&self) -> Option<String> {
        let measured = self.measured.as_ref()?;
        let all = std::iter::once(measured.difference())
            .chain(measured.readings())
            .chain([measured.origin()]);
        let all = all.collect::<Vec<_>>().join("; ");
        Some(format!(
            "{:.1} {} measured ({all})",
            measured.rate, self.unit
        ))
    }
}

impl StepView {
    /// What it costs and brings, and what changes.
    pub fn words(&self, view: &View) -> String {
        let changes: Vec<String> = self.changes.iter().map(ChangeView::words).collect();
        format!(
            "{}: score {:+.1}. {}",
            view.signed(self.cost_minor),
            self.score_change,
            changes.join("; ")
        )
    }
}

impl ChangeView {
    pub fn words(&self) -> String {
        format!("{}: {} instead of {}", self.role, self.to, self.from)
    }
}

impl PowerView {
    /// One sentence each.
    pub fn words(&self) -> Vec<String> {
        let mut words = vec![format!("Expected load: {} W (estimate).", self.load_w)];
        if let (Some(at_230), Some(at_115)) = (self.wall_230_w, self.wall_115_w) {
            words.push(format!(
                "Draw from the wall at that load: about {at_230} W at 230 V, {at_115} W at 115 V \
                 (from the supply's efficiency level)."
            ));
        }
        if let (Some(rated), Some(margin)) = (self.rated_w, self.margin_percent) {
            words.push(format!(
                "The supply is rated for {rated} W: {margin} % of it stay free."
            ));
        }
        match self.room_w {
            Some(room) if room > 0 => words.push(format!(
                "Room for a later part: one that draws {room} W more than today's still leaves the headroom."
            )),
            Some(_) => words.push("No room for a part that draws more.".to_owned()),
            None => {}
        }
        if !self.unknown.is_empty() {
            words.push(format!(
                "Not counted, for nobody states their draw: {}.",
                self.unknown.join(", ")
            ));
        }
        words
    }
}

/// The day of an instant.
fn day_of(instant: &str) -> &str {
    instant.get(..10).unwrap_or(instant)
}

/// An amount with its currency; the bare number where the currency is none that we know.
fn amount(minor: i64, currency: &str) -> String {
    match Currency::parse(currency) {
        Ok(currency) => Money::from_minor(minor, currency).to_string(),
        Err(_) => format!("{minor} {currency}"),
    }
}

/// An amount without its currency.
pub fn decimal(minor: i64, currency: &str) -> String {
    match Currency::parse(currency) {
        Ok(currency) => Money::from_minor(minor, currency).decimal(),
        Err(_) => minor.to_string(),
    }
}
