//! A part's past in the shape that pages show.

use crate::decide::shown_instant;
use crate::history::prior_price::Verdict;
use crate::history::wait::{Wait, wait};
use crate::history::{Extreme, Facts, LowerBefore, State, Step, Stock};
use crate::ledger::Interval;
use crate::watch::past::{Claim, OfferPast, Past, Ware};
use crate::web::view::{
    ClaimView, ExtremeView, FactsView, LastChange, PastView, PointView, RecordView, SeriesView,
    StepStateView, StepView, WaitView, WareView,
};
use std::collections::BTreeMap;

/// All but what was asked for and what is known of entry prices.
pub(super) fn past_view(past: &Past) -> PastView {
    let first = past.intervals.first();
    PastView {
        part: past.part.clone(),
        name: past.name.clone(),
        currency: first.map(|interval| interval.price.currency().to_string()),
        since: None,
        target: None,
        retailers: Vec::new(),
        retailer_names: BTreeMap::new(),
        points: past.intervals.iter().map(|one| point(one, past)).collect(),
        wares: past.wares.iter().map(ware).collect(),
        claims: past.claims.iter().map(claim).collect(),
        entry_prices: Vec::new(),
    }
}

fn point(interval: &Interval, past: &Past) -> PointView {
    let list = interval.list_price;
    PointView {
        retailer: interval.retailer.to_string(),
        sku: interval.sku.to_string(),
        seller: interval.seller.clone(),
        condition: interval.condition.name().to_owned(),
        from: shown_instant(interval.from),
        until: shown_instant(interval.until),
        price_minor: interval.price.minor(),
        currency: interval.price.currency().to_string(),
        list_minor: list.map(|list| list.minor()),
        list_currency: list.map(|list| list.currency().to_string()),
        availability: interval.availability.name().to_owned(),
        is_lowest: past
            .ware_of(interval)
            .is_some_and(|ware| ware.is_lowest(interval)),
    }
}

fn ware(ware: &Ware) -> WareView {
    let waited = ware
        .target
        .map(|target| awaited(wait(&ware.lowest, target.minor()), target.minor()));
    WareView {
        condition: ware.kind.condition.name().to_owned(),
        currency: ware.kind.currency.to_string(),
        tax_included: ware.kind.tax_included,
        offers: ware.offers.iter().map(series).collect(),
        facts: ware.facts.as_ref().map(|known| FactsView {
            wait: waited,
            ..facts(known)
        }),
        steps: ware.lowest.steps().iter().map(step).collect(),
    }
}

fn series(offer: &OfferPast) -> SeriesView {
    SeriesView {
        retailer: offer.retailer.to_string(),
        sku: offer.sku.to_string(),
        seller: offer.seller.clone(),
        steps: offer.series.steps().iter().map(step).collect(),
    }
}

fn step(step: &Step) -> StepView {
    let StepStateView {
        state,
        price_minor,
        orderable,
        source,
    } = step_state(step.state);
    StepView {
        from: shown_instant(step.from),
        until: shown_instant(step.until),
        state,
        price_minor,
        orderable,
        source,
    }
}

fn step_state(state: State) -> StepStateView {
    let (name, quote) = match state {
        State::Asked(quote) => ("asked", Some(quote)),
        State::Absent => ("absent", None),
        State::Unread => ("unread", None),
    };
    StepStateView {
        state: name.to_owned(),
        price_minor: quote.map(|quote| quote.minor),
        orderable: quote.and_then(|quote| match quote.stock {
            Stock::Orderable => Some(true),
            Stock::NotOrderable => Some(false),
            Stock::Untold => None,
        }),
        source: quote.map(|quote| quote.source as u64),
    }
}

fn facts(facts: &Facts) -> FactsView {
    let (lower_until, never_lower_since) = match facts.lower_before {
        Some(LowerBefore::Until(at)) => (Some(shown_instant(at)), None),
        Some(LowerBefore::Never(at)) => (None, Some(shown_instant(at))),
        None => (None, None),
    };
    let record = &facts.record;
    FactsView {
        record: RecordView {
            from: shown_instant(record.from),
            until: shown_instant(record.until),
            to_be_had_ms: record.to_be_had_ms,
            untold_ms: record.untold_ms,
            not_orderable_ms: record.not_orderable_ms,
            absent_ms: record.absent_ms,
            unread_ms: record.unread_ms,
        },
        now: step_state(facts.now),
        lowest: facts.lowest.map(extreme),
        highest: facts.highest.map(extreme),
        quarter_minor: facts.held.quantile(250),
        median_minor: facts.held.quantile(500),
        three_quarters_minor: facts.held.quantile(750),
        mean_minor: facts.held.mean(),
        in_stock_thousandths: facts.in_stock_thousandths.map(i64::from),
        changes: facts.changes as u64,
        last_change: facts.last_change.map(|change| LastChange {
            at: shown_instant(change.at),
            before_minor: change.before,
            after_minor: change.after,
        }),
        at_or_below_now_ms: facts.at_or_below_now_ms,
        lower_until,
        never_lower_since,
        trend_percent: facts.trend_percent,
        spread_percent: facts.held.spread_percent(),
        wait: None,
    }
}

/// How long a price may be waited for.
pub fn awaited(wait: Wait, target_minor: i64) -> WaitView {
    let (mean_ms, arrivals, waited_ms, why) = match wait {
        Wait::NotAtAll => (Some(0), None, None, None),
        Wait::Expected {
            mean_ms,
            arrivals,
            waited_ms,
        } => (
            Some(mean_ms),
            Some(u64::from(arrivals)),
            Some(waited_ms),
            None,
        ),
        Wait::CannotTell(why) => (None, None, None, Some(why.to_string())),
    };
    WaitView {
        target_minor,
        mean_ms,
        arrivals,
        waited_ms,
        why,
    }
}

fn extreme(extreme: Extreme) -> ExtremeView {
    ExtremeView {
        price_minor: extreme.minor,
        from: shown_instant(extreme.from),
        until: shown_instant(extreme.until),
        source: extreme.source as u64,
    }
}

fn claim(claim: &Claim) -> ClaimView {
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
    ClaimView {
        retailer: claim.retailer.to_string(),
        sku: claim.sku.to_string(),
        from: shown_instant(claim.reduction.from),
        price_minor: claim.reduction.price_minor,
        was_minor: claim.reduction.was_minor,
        currency: claim.currency.to_string(),
        verdict: claim.verdict().replace(' ', "_"),
        why,
        lowest_minor: finding.lowest_minor,
        lowest_from,
        lowest_until,
        opens: shown_instant(finding.opens),
        closes: shown_instant(finding.closes),
        percent_off_hundredths: finding.percent_off_hundredths,
        claimed_off_hundredths: finding.claimed_off_hundredths,
    }
}
