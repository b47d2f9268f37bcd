//! The past as JSON; the document is described in the module above.

use crate::decide::shown_instant;
use crate::history::prior_price::Verdict;
use crate::history::wait::wait;
use crate::history::{Extreme, Facts, LowerBefore, State, Step, Stock};
use crate::ledger::Interval;
use crate::watch::desk::awaited;
use crate::watch::past::{Claim, OfferPast, Past, Ware};
use serde_json::{Value, json};

pub(super) fn report(past: &Past) -> Value {
    let first = past.intervals.first();
    json!({
        "part": past.part,
        "currency": first.map(|interval| interval.price.currency().to_string()),
        "points": past.intervals.iter().map(|one| point(one, past)).collect::<Vec<_>>(),
        "wares": past.wares.iter().map(ware).collect::<Vec<_>>(),
        "claims": past.claims.iter().map(claim).collect::<Vec<_>>(),
    })
}

fn point(interval: &Interval, past: &Past) -> Value {
    json!({
        "retailer": interval.retailer.as_str(),
        "sku": interval.sku.as_str(),
        "seller": interval.seller,
        "condition": interval.condition.name(),
        "from": shown_instant(interval.from),
        "until": shown_instant(interval.until),
        "price_minor": interval.price.minor(),
        "currency": interval.price.currency().to_string(),
        "list_minor": interval.list_price.map(|list| list.minor()),
        "list_currency": interval.list_price.map(|list| list.currency().to_string()),
        "availability": interval.availability.name(),
        "is_lowest": past.ware_of(interval).is_some_and(|ware| ware.is_lowest(interval)),
    })
}

fn ware(ware: &Ware) -> Value {
    json!({
        "condition": ware.kind.condition.name(),
        "currency": ware.kind.currency.to_string(),
        "tax_included": ware.kind.tax_included,
        "offers": ware.offers.iter().map(offer).collect::<Vec<_>>(),
        "facts": ware.facts.as_ref().map(|known| facts(known, ware)),
        "steps": ware.lowest.steps().iter().map(step).collect::<Vec<_>>(),
    })
}

fn offer(offer: &OfferPast) -> Value {
    json!({
        "retailer": offer.retailer.as_str(),
        "sku": offer.sku.as_str(),
        "seller": offer.seller,
        "steps": offer.series.steps().iter().map(step).collect::<Vec<_>>(),
    })
}

/// `source` is the number of the offer among the ware's.
fn step(step: &Step) -> Value {
    let mut value = state(step.state);
    value["from"] = json!(shown_instant(step.from));
    value["until"] = json!(shown_instant(step.until));
    value
}

fn state(state: State) -> Value {
    match state {
        State::Asked(quote) => json!({
            "state": "asked",
            "price_minor": quote.minor,
            "orderable": match quote.stock {
                Stock::Orderable => Some(true),
                Stock::NotOrderable => Some(false),
                Stock::Untold => None,
            },
            "source": quote.source,
        }),
        State::Absent => json!({ "state": "absent" }),
        State::Unread => json!({ "state": "unread" }),
    }
}

fn facts(facts: &Facts, ware: &Ware) -> Value {
    let extreme = |extreme: Option<Extreme>| {
        extreme.map(|extreme| {
            json!({
                "price_minor": extreme.minor,
                "from": shown_instant(extreme.from),
                "until": shown_instant(extreme.until),
                "source": extreme.source,
            })
        })
    };
    let (lower_until, never_lower_since) = match facts.lower_before {
        Some(LowerBefore::Until(at)) => (Some(shown_instant(at)), None),
        Some(LowerBefore::Never(at)) => (None, Some(shown_instant(at))),
        None => (None, None),
    };
    let record = &facts.record;
    json!({
        "record": {
            "from": shown_instant(record.from),
            "until": shown_instant(record.until),
            "to_be_had_ms": record.to_be_had_ms,
            "untold_ms": record.untold_ms,
            "not_orderable_ms": record.not_orderable_ms,
            "absent_ms": record.absent_ms,
            "unread_ms": record.unread_ms,
        },
        "now": state(facts.now),
        "lowest": extreme(facts.lowest),
        "highest": extreme(facts.highest),
        "quarter_minor": facts.held.quantile(250),
        "median_minor": facts.held.quantile(500),
        "three_quarters_minor": facts.held.quantile(750),
        "mean_minor": facts.held.mean(),
        "in_stock_thousandths": facts.in_stock_thousandths,
        "changes": facts.changes,
        "last_change": facts.last_change.map(|change| json!({
            "at": shown_instant(change.at),
            "before_minor": change.before,
            "after_minor": change.after,
        })),
        "at_or_below_now_ms": facts.at_or_below_now_ms,
        "lower_until": lower_until,
        "never_lower_since": never_lower_since,
        "trend_percent": facts.trend_percent,
        "spread_percent": facts.held.spread_percent(),
        "wait": ware.target.map(|target| awaited(wait(&ware.lowest, target.minor()), target.minor())),
    })
}

fn claim(claim: &Claim) -> Value {
    let finding = &claim.finding;
    let (lowest_from, lowest_until, why) = match &finding.verdict {
        Verdict::Contradicted { from, until, .. } => (
            Some(shown_instant(*from)),
            Some(shown_instant(*until)),
            None,
        ),
        Verdict::Consistent => (None, None, None),
        Verdict::CannotTell(why) => (None, None, Some(why.to_string())),
    };
    json!({
        "retailer": claim.retailer.as_str(),
        "sku": claim.sku.as_str(),
        "from": shown_instant(claim.reduction.from),
        "price_minor": claim.reduction.price_minor,
        "was_minor": claim.reduction.was_minor,
        "currency": claim.currency.to_string(),
        "verdict": claim.verdict().replace(' ', "_"),
        "why": why,
        "lowest_minor": finding.lowest_minor,
        "lowest_from": lowest_from,
        "lowest_until": lowest_until,
        "opens": shown_instant(finding.opens),
        "closes": shown_instant(finding.closes),
        "percent_off_hundredths": finding.percent_off_hundredths,
        "claimed_off_hundredths": finding.claimed_off_hundredths,
    })
}
