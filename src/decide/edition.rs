//! A published edition, and how far it is from what is true today.

use super::names::Names;
use super::record::{AnswerRecord, PickRecord};
use super::scene::Doubt;
use crate::catalogue::PartId;
use crate::market::{RetailerId, RoleId};
use crate::money::{Currency, Money};
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;

/// The newest edition of a brief's guide, seen from today.
#[derive(Debug, Clone, PartialEq)]
pub struct Edition {
    pub number: u32,
    /// RFC 3339.
    pub at: String,
    pub drift: Drift,
    /// The same of its picks in other countries.
    pub abroad: Vec<DriftAbroad>,
    /// Prices of its picks today that are not to be trusted.
    pub doubts: Vec<Doubt>,
}

/// The picks of a guide as they are sold in another country.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct AnswerAbroad {
    /// ISO 3166-1 alpha-2.
    pub country: String,
    pub answer: AnswerRecord,
}

/// What is no longer as an edition says of another country.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct DriftAbroad {
    /// ISO 3166-1 alpha-2.
    pub country: String,
    /// ISO 4217.
    pub currency: String,
    #[serde(flatten)]
    pub drift: Drift,
}

/// What is no longer as an edition says.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Drift {
    /// Picks that are dearer, cheaper, elsewhere or gone, in the order of the roles.
    pub picks: Vec<PickDrift>,
    pub total_then_minor: i64,
    /// Of the same picks today; absent where some cannot be had.
    pub total_now_minor: Option<i64>,
    pub score_then: f64,
    /// Of the same picks by today's rates; absent where they cannot be had together.
    pub score_now: Option<f64>,
    /// Today's best build, where it has other parts.
    pub best: Option<BestNow>,
}

/// A pick of an edition that is not as it was.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct PickDrift {
    pub role: RoleId,
    pub part: PartId,
    pub name: String,
    pub then_minor: i64,
    /// Absent where it cannot be had within the brief.
    pub now_minor: Option<i64>,
    pub then_at: Option<RetailerId>,
    /// Absent where it cannot be had, or not together with the other picks.
    pub now_at: Option<RetailerId>,
}

/// The build that would be published today.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct BestNow {
    pub total_minor: Option<i64>,
    pub score: Option<f64>,
    pub changes: Vec<Exchange>,
}

/// A role that another part fills; absent where a build has no such role.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Exchange {
    pub role: RoleId,
    pub from: Option<String>,
    pub to: Option<String>,
}

impl Drift {
    /// `now` are the edition's picks at today's prices, whatever they cost, where they can be had
    /// together; `prices` is what a role's part costs at least today.
    pub fn between(
        then: &AnswerRecord,
        now: Option<&AnswerRecord>,
        prices: &BTreeMap<(RoleId, PartId), Money>,
        best: &AnswerRecord,
    ) -> Drift {
        // What the reader has already is neither dear nor sold out.
        let bought = then.picks.iter().filter(|pick| pick.sku.is_some());
        let picks = bought.filter_map(|pick| pick_drift(pick, now, prices));
        let changes = exchanges(then, best);
        Drift {
            picks: picks.collect(),
            total_then_minor: then.total_minor.unwrap_or(0),
            total_now_minor: now.and_then(|now| now.total_minor),
            score_then: then.score.unwrap_or(0.0),
            score_now: now.and_then(|now| now.score),
            best: (!changes.is_empty()).then_some(BestNow {
                total_minor: best.total_minor,
                score: best.score,
                changes,
            }),
        }
    }

    /// All is as the edition says.
    pub fn is_none(&self) -> bool {
        self.picks.is_empty()
            && self.best.is_none()
            && self.total_now_minor == Some(self.total_then_minor)
            && self.score_now == Some(self.score_then)
    }

    /// How much more the picks cost than the edition says, in percent of that.
    pub fn total_percent(&self) -> Option<f64> {
        let more = self.total_now_minor? - self.total_then_minor;
        Some(100.0 * more as f64 / self.total_then_minor.max(1) as f64)
    }

    /// Whether the total is off by more than so many hundredths of a percent, either way. Exact.
    pub fn is_total_off(&self, hundredths: i64) -> bool {
        self.total_now_minor.is_some_and(|now| {
            let off = (i128::from(now) - i128::from(self.total_then_minor)).abs();
            off * 10_000 > i128::from(hundredths) * i128::from(self.total_then_minor)
        })
    }

    /// How much more today's best build scores than the picks do, in percent; nothing where the picks
    /// are the best.
    pub fn better_percent(&self) -> f64 {
        let best = self.best.as_ref().and_then(|best| best.score);
        let own = self.score_now.unwrap_or(self.score_then);
        best.map_or(0.0, |best| {
            100.0 * (best / own.max(f64::MIN_POSITIVE) - 1.0)
        })
    }

    /// The picks that cannot be had any more.
    pub fn gone(&self) -> impl Iterator<Item = &PickDrift> {
        self.picks.iter().filter(|pick| pick.now_minor.is_none())
    }

    /// What is no longer true, one line each.
    pub fn lines(&self, currency: Currency, names: &Names) -> Vec<String> {
        let amount = |minor| Money::from_minor(minor, currency).to_string();
        let picks = self.picks.iter();
        let mut lines: Vec<String> = picks.map(|pick| pick.line(currency, names)).collect();
        let then = amount(self.total_then_minor);
        match (self.total_now_minor, self.total_percent()) {
            (Some(now), Some(percent)) if now != self.total_then_minor => {
                lines.push(format!(
                    "total of the published picks: {then} -> {} ({percent:+.1} %)",
                    amount(now)
                ));
            }
            (None, _) => lines.push(format!(
                "total of the published picks: {then} -> they cannot be had together any more"
            )),
            _ => {}
        }
        let score = self.score_now.filter(|now| *now != self.score_then);
        lines.extend(score.map(|now| {
            format!(
                "score of the published picks: {:.1} -> {now:.1}",
                self.score_then
            )
        }));
        if let Some(best) = &self.best {
            let what = match (best.score, best.total_minor) {
                (Some(score), Some(total)) => {
                    format!("best today: score {score:.1} for {}", amount(total))
                }
                _ => "best today: no build fits".to_owned(),
            };
            lines.push(what);
            lines.extend(best.changes.iter().map(|one| format!("  {}", one.words())));
        }
        lines
    }
}

impl Edition {
    /// All is as it says, in every country.
    pub fn is_true(&self) -> bool {
        self.drift.is_none() && self.abroad.iter().all(|there| there.drift.is_none())
    }

    /// What is no longer true, one line each.
    pub fn lines(&self, currency: Currency, names: &Names) -> Vec<String> {
        let mut lines = self.drift.lines(currency, names);
        lines.extend(self.abroad.iter().flat_map(|there| there.lines(names)));
        lines
    }
}

impl DriftAbroad {
    /// What is no longer true there, one line each.
    pub fn lines(&self, names: &Names) -> Vec<String> {
        let currency = Currency::parse(&self.currency);
        let lines = currency.map(|currency| self.drift.lines(currency, names));
        let lines = lines.unwrap_or_default().into_iter();
        lines
            .map(|line| format!("in {}: {line}", self.country))
            .collect()
    }
}

impl PickDrift {
    fn line(&self, currency: Currency, names: &Names) -> String {
        let amount = |minor| Money::from_minor(minor, currency).to_string();
        let (name, then) = (&self.name, amount(self.then_minor));
        let Some(now) = self.now_minor else {
            return format!("{name}: {then} -> cannot be had any more");
        };
        let moved = match (&self.then_at, &self.now_at) {
            (Some(then), Some(now)) if then != now => {
                let (then, now) = (names.shop(then.as_str()), names.shop(now.as_str()));
                format!(", from {now} instead of {then}")
            }
            _ => String::new(),
        };
        if now == self.then_minor {
            return format!("{name}: {then}{moved}");
        }
        let more = now - self.then_minor;
        let percent = 100.0 * more as f64 / self.then_minor.max(1) as f64;
        format!("{name}: {then} -> {} ({percent:+.1} %){moved}", amount(now))
    }
}

impl Exchange {
    pub fn words(&self) -> String {
        let role = &self.role;
        match (&self.from, &self.to) {
            (Some(from), Some(to)) => format!("{role}: {to} instead of {from}"),
            (Some(from), None) => format!("{role}: no more {from}"),
            (None, Some(to)) => format!("{role}: {to}, which is new"),
            (None, None) => role.to_string(),
        }
    }
}

/// What the next edition changes of this one, for its readers: one sentence each, none where both
/// say the same.
pub fn changes(
    then: &AnswerRecord,
    next: &AnswerRecord,
    drift: &Drift,
    names: &Names,
) -> Vec<String> {
    let mut words = Vec::new();
    for one in exchanges(then, next) {
        let is_gone = drift.gone().any(|gone| gone.role == one.role);
        let why = if is_gone {
            ", which cannot be had any more"
        } else {
            ""
        };
        words.push(format!("{}{why}.", one.words()));
    }
    for pick in &next.picks {
        let before = same_seat(&then.picks, pick);
        let change = before.and_then(|before| price_change(before, pick, &next.currency, names));
        words.extend(change);
    }
    let total = |record: &AnswerRecord| record.total().map(|total| total.to_string());
    if let (Some(before), Some(now)) = (total(then), total(next))
        && before != now
    {
        words.push(format!("The total is {now}; it was {before}."));
    }
    if let (Some(before), Some(now)) = (then.score, next.score)
        && before != now
    {
        words.push(format!("The score is {now:.1}; it was {before:.1}."));
    }
    words
}

/// The same of other countries, and which of them came or went.
pub fn changes_abroad(
    then: &[AnswerAbroad],
    next: &[AnswerAbroad],
    drifts: &[DriftAbroad],
    names: &Names,
) -> Vec<String> {
    let mut words = Vec::new();
    for one in next {
        let country = &one.country;
        let before = then.iter().find(|before| before.country == *country);
        let drift = drifts.iter().find(|drift| drift.country == *country);
        match (before, drift) {
            (Some(before), Some(drift)) => {
                let there = changes(&before.answer, &one.answer, &drift.drift, names);
                words.extend(there.iter().map(|one| format!("In {country}: {one}")));
            }
            _ => words.push(format!("Priced in {country} as well.")),
        }
    }
    let is_left = |country: &str| next.iter().any(|one| one.country == country);
    let gone = then.iter().filter(|one| !is_left(&one.country));
    words.extend(gone.map(|one| format!("No longer priced in {}.", one.country)));
    words
}

/// A pick's price and shop, where they changed.
fn price_change(before: &PickRecord, now: &PickRecord, own: &str, names: &Names) -> Option<String> {
    let said = |pick: &PickRecord| {
        let currency = pick.price_currency.as_deref().unwrap_or(own);
        let currency = Currency::parse(currency).ok()?;
        let price = Money::from_minor(pick.price_minor?, currency);
        let shop = names.shop(pick.retailer.as_ref()?.as_str());
        Some((price.to_string(), shop.to_owned()))
    };
    let ((was, there), (is, here)) = (said(before)?, said(now)?);
    let name = &now.name;
    match (was == is, there == here) {
        (true, true) => None,
        (false, true) => Some(format!("{name}: {is}; it was {was}.")),
        (true, false) => Some(format!(
            "{name}: from {here} instead of {there}, for the same {is}."
        )),
        (false, false) => Some(format!(
            "{name}: {is} from {here}; it was {was} from {there}."
        )),
    }
}

fn pick_drift(
    pick: &PickRecord,
    now: Option<&AnswerRecord>,
    prices: &BTreeMap<(RoleId, PartId), Money>,
) -> Option<PickDrift> {
    let together = now.and_then(|now| same_seat(&now.picks, pick));
    let least = prices.get(&(pick.role.clone(), pick.part.clone()));
    let now_minor = together.map(|pick| pick.landed_minor);
    let now_minor = now_minor.or(least.map(|price| price.minor()));
    let now_at = together.and_then(|pick| pick.retailer.clone());
    let is_same = now_minor == Some(pick.landed_minor)
        && together.is_none_or(|now| now.retailer == pick.retailer);
    (!is_same).then(|| PickDrift {
        role: pick.role.clone(),
        part: pick.part.clone(),
        name: pick.name.clone(),
        then_minor: pick.landed_minor,
        now_minor,
        then_at: pick.retailer.clone(),
        now_at,
    })
}

fn same_seat<'p>(picks: &'p [PickRecord], pick: &PickRecord) -> Option<&'p PickRecord> {
    let mut picks = picks.iter();
    picks.find(|other| other.role == pick.role && other.part == pick.part)
}

/// The roles that are filled otherwise.
fn exchanges(from: &AnswerRecord, to: &AnswerRecord) -> Vec<Exchange> {
    let of_role = |record: &AnswerRecord, role: &RoleId| {
        let pick = record.picks.iter().find(|pick| pick.role == *role);
        pick.map(|pick| (pick.part.clone(), pick.quantity, pick.name.clone()))
    };
    let known = |role: &RoleId| from.picks.iter().any(|pick| pick.role == *role);
    let added = to.picks.iter().filter(|pick| !known(&pick.role));
    let roles = from.picks.iter().chain(added).map(|pick| &pick.role);
    let pairs = roles.map(|role| (role, of_role(from, role), of_role(to, role)));
    pairs
        .filter(|(_, before, after)| {
            let key = |one: &Option<(PartId, u32, String)>| {
                one.as_ref()
                    .map(|(part, quantity, _)| (part.clone(), *quantity))
            };
            key(before) != key(after)
        })
        .map(|(role, before, after)| Exchange {
            role: role.clone(),
            from: before.map(|(_, _, name)| name),
            to: after.map(|(_, _, name)| name),
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::decide::change::tests::record;

    fn prices(record: &AnswerRecord) -> BTreeMap<(RoleId, PartId), Money> {
        let picks = record.picks.iter();
        picks
            .map(|pick| {
                let price = Money::from_minor(pick.landed_minor, Currency::EUR);
                ((pick.role.clone(), pick.part.clone()), price)
            })
            .collect()
    }

    fn drift(then: &AnswerRecord, now: &AnswerRecord, best: &AnswerRecord) -> Drift {
        Drift::between(then, Some(now), &prices(now), best)
    }

    #[test]
    fn an_edition_whose_prices_and_picks_hold_is_true() {
        let then = record(&["a", "b"], 100_000, 100.0);
        let drift = drift(&then, &then, &then);
        assert!(drift.is_none());
        assert_eq!(
            drift.lines(Currency::EUR, &Names::default()),
            Vec::<String>::new()
        );
        assert_eq!(
            changes(&then, &then, &drift, &Names::default()),
            Vec::<String>::new()
        );
    }

    #[test]
    fn a_total_is_off_beyond_a_share_in_either_direction_and_not_at_it() {
        let then = record(&["a", "b"], 100_000, 100.0);
        for (total, is_off) in [
            (103_000, false),
            (103_002, true),
            (97_000, false),
            (96_998, true),
        ] {
            let now = record(&["a", "b"], total, 100.0);
            assert_eq!(
                drift(&then, &now, &now).is_total_off(300),
                is_off,
                "{total}"
            );
        }
    }

    #[test]
    fn dearer_gone_and_better_picks_are_said_one_by_one() {
        let then = record(&["a", "b"], 100_000, 100.0);
        let now = record(&["a", "b"], 110_000, 100.0);
        let best = record(&["a", "c"], 105_000, 103.0);
        assert_eq!(
            drift(&then, &now, &best).lines(Currency::EUR, &Names::default()),
            [
                "Part a: EUR 500.00 -> EUR 550.00 (+10.0 %)",
                "Part b: EUR 500.00 -> EUR 550.00 (+10.0 %)",
                "total of the published picks: EUR 1 000.00 -> EUR 1 100.00 (+10.0 %)",
                "best today: score 103.0 for EUR 1 050.00",
                "  role 1: Part c instead of Part b",
            ]
        );
        let mut left = prices(&then);
        left.remove(&(RoleId::new("role 1"), PartId::new("b")));
        let drift = Drift::between(&then, None, &left, &best);
        assert_eq!(drift.gone().count(), 1);
        assert_eq!(
            changes(&then, &best, &drift, &Names::default()),
            [
                "role 1: Part c instead of Part b, which cannot be had any more.",
                "Part a: EUR 525.00; it was EUR 500.00.",
                "The total is EUR 1 050.00; it was EUR 1 000.00.",
                "The score is 103.0; it was 100.0.",
            ]
        );
    }

    #[test]
    fn what_the_reader_has_already_cannot_be_sold_out() {
        let mut then = record(&["a", "b"], 100_000, 100.0);
        then.picks[1].sku = None;
        let drift = Drift::between(&then, Some(&then), &BTreeMap::new(), &then);
        assert!(drift.is_none(), "{drift:?}");
    }
}
