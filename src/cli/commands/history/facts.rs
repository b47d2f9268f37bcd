//! What a part's past comes to, as people read it.

use crate::cli::screen::{Set, columns, harmless};
use crate::decide::shown_instant;
use crate::history::prior_price::Verdict;
use crate::history::wait::{Wait, wait};
use crate::history::{Change, Extreme, Facts, LowerBefore, Record, State};
use crate::watch::past::{Claim, Past, Ware};
use chrono::{DateTime, TimeDelta, Utc};

const DAY_MS: f64 = 86_400_000.0;

/// The facts of one ware, each with what it stands on.
pub(super) fn lines(ware: &Ware, past: &Past) -> Vec<String> {
    let Some(facts) = &ware.facts else {
        return Vec::new();
    };
    let offers = match ware.offers.len() {
        1 => "1 offer".to_owned(),
        number => format!("the lowest of {number} offers"),
    };
    let named = ware.kind.words();
    let mut lines = vec![format!("{named}, {offers}; {}", record(&facts.record))];
    let mut rows = vec![[
        "now".to_owned(),
        now(ware, facts.now),
        standing(ware, facts),
    ]];
    for (word, extreme) in [("lowest", facts.lowest), ("highest", facts.highest)] {
        if let Some(extreme) = extreme {
            let price = ware.money(extreme.minor).to_string();
            rows.push([word.to_owned(), price, when(ware, &extreme)]);
        }
    }
    rows.extend(over_time(ware, facts));
    if let Some(change) = &facts.last_change {
        rows.push([
            "last change".to_owned(),
            difference(ware, change),
            changes(facts, change),
        ]);
    }
    rows.extend(shares(facts));
    rows.extend(awaited(ware));
    let rows: Vec<Vec<String>> = rows.into_iter().map(|row| row.to_vec()).collect();
    lines.extend(columns(&rows, &[Set::Left, Set::Right, Set::Left]));
    if past.wares.len() > 1 {
        lines[0] = format!("{}:", lines[0]);
    }
    lines
}

fn record(record: &Record) -> String {
    let whole = (record.until - record.from).num_milliseconds();
    let mut parts = vec![format!(
        "{} of {} days with a price",
        days(record.to_be_had_ms),
        days(whole)
    )];
    let others = [
        (record.not_orderable_ms, "not to be ordered"),
        (record.absent_ms, "not on offer"),
        (record.unread_ms, "not read"),
    ];
    let others = others.into_iter().filter(|(ms, _)| *ms > 0);
    parts.extend(others.map(|(ms, words)| format!("{} {words}", days(ms))));
    let (from, until) = (day(record.from), day(record.until));
    format!("from {from} to {until}: {}", parts.join(", "))
}

fn now(ware: &Ware, state: State) -> String {
    match state {
        State::Asked(quote) => ware.money(quote.minor).to_string(),
        State::Absent => "not on offer".to_owned(),
        State::Unread => "not known".to_owned(),
    }
}

/// Where today's price stands among the others.
fn standing(ware: &Ware, facts: &Facts) -> String {
    let State::Asked(quote) = facts.now else {
        return String::new();
    };
    let mut words = vec![at(ware, quote.source)];
    match facts.lower_before {
        None => words.push("cannot be ordered".to_owned()),
        Some(LowerBefore::Never(from)) => {
            words.push(format!("never lower since {}", day(from)));
        }
        Some(LowerBefore::Until(until)) => {
            let since = (facts.record.until - until).num_milliseconds();
            let words_since = match since < DAY_MS as i64 {
                true => format!("lower until {}", shown_instant(until)),
                false => format!("the lowest in {} days", (since as f64 / DAY_MS).floor()),
            };
            words.push(words_since);
        }
    }
    if let Some(ms) = facts.at_or_below_now_ms {
        let (cheap, all) = (days(ms), days(facts.held.total_ms()));
        words.push(format!("{cheap} of {all} days at or below it"));
    }
    words.join(", ")
}

fn when(ware: &Ware, extreme: &Extreme) -> String {
    let until = day(extreme.until);
    let from = day(extreme.from);
    let span = match from == until {
        true => format!("on {from}"),
        false => format!("first on {from}, last on {until}"),
    };
    format!("{span}, {}", at(ware, extreme.source))
}

fn at(ware: &Ware, source: usize) -> String {
    ware.source(source).map_or_else(String::new, |offer| {
        harmless(&format!("{} {}", offer.retailer, offer.sku))
    })
}

/// What the prices come to over the time that they held.
fn over_time(ware: &Ware, facts: &Facts) -> Vec<[String; 3]> {
    let held = &facts.held;
    let (Some(quarter), Some(median), Some(three), Some(mean)) = (
        held.quantile(250),
        held.quantile(500),
        held.quantile(750),
        held.mean(),
    ) else {
        return Vec::new();
    };
    let [quarter, median, three, mean] =
        [quarter, median, three, mean].map(|minor| ware.money(minor));
    let between = format!(
        "half of the time at or below it; a quarter at or below {quarter}, three at or below {three}"
    );
    vec![
        ["median".to_owned(), median.to_string(), between],
        [
            "mean".to_owned(),
            mean.to_string(),
            "over the time held".to_owned(),
        ],
    ]
}

fn difference(ware: &Ware, change: &Change) -> String {
    let sign = if change.after > change.before {
        "+"
    } else {
        "-"
    };
    let by = change.after.abs_diff(change.before);
    let by = i64::try_from(by).map_or_else(|_| by.to_string(), |by| ware.money(by).decimal());
    format!("{sign}{by}")
}

fn changes(facts: &Facts, change: &Change) -> String {
    let times = match facts.changes {
        1 => "1 change".to_owned(),
        number => format!("{number} changes"),
    };
    format!("seen on {}; {times}", shown_instant(change.at))
}

/// Ratios, for showing only.
fn shares(facts: &Facts) -> Vec<[String; 3]> {
    let mut rows = Vec::new();
    if let Some(thousandths) = facts.in_stock_thousandths {
        let percent = format!("{}.{} %", thousandths / 10, thousandths % 10);
        let words = "of the time with a price and a word on stock".to_owned();
        rows.push(["in stock".to_owned(), percent, words]);
    }
    if let Some(percent) = facts.trend_percent {
        let words = "of the mean in 30 days, by least squares over the time held".to_owned();
        // Without the sign of a zero that something else was rounded to.
        let percent = match format!("{percent:+.1}") {
            zero if matches!(zero.as_str(), "+0.0" | "-0.0") => "0.0".to_owned(),
            percent => percent,
        };
        rows.push(["trend".to_owned(), format!("{percent} %"), words]);
    }
    if let Some(percent) = facts.held.spread_percent() {
        let words = "standard deviation over the time held, of the mean".to_owned();
        rows.push(["spread".to_owned(), format!("{percent:.1} %"), words]);
    }
    rows
}

fn awaited(ware: &Ware) -> Option<[String; 3]> {
    let target = ware.target?;
    let (value, words) = match wait(&ware.lowest, target.minor()) {
        Wait::NotAtAll => (
            "no wait".to_owned(),
            "it can be had for that now".to_owned(),
        ),
        Wait::Expected {
            mean_ms,
            arrivals,
            waited_ms,
        } => (
            format!("some {} days", days(mean_ms)),
            format!(
                "it came down to that {arrivals} times in {} days above it; no forecast",
                days(waited_ms)
            ),
        ),
        Wait::CannotTell(why) => ("cannot tell".to_owned(), why.to_string()),
    };
    Some([format!("until {target}"), value, words])
}

/// The claimed reductions with the evidence, and what this is not.
pub(super) fn claims(past: &Past) -> Vec<String> {
    if past.claims.is_empty() {
        return Vec::new();
    }
    let mut lines = vec!["claimed reductions, against the 30 days before each:".to_owned()];
    lines.extend(past.claims.iter().map(claim));
    lines.push(
        "a reader's aid and no legal advice: the rule is Art. 6a of Directive 98/6/EC; a list price may be \
         the maker's recommended price, which it is not about"
            .to_owned(),
    );
    lines
}

fn claim(claim: &Claim) -> String {
    let reduction = &claim.reduction;
    let money = |minor| crate::money::Money::from_minor(minor, claim.currency);
    let finding = &claim.finding;
    let off = |hundredths: Option<i64>| hundredths.map_or_else(String::new, percent);
    let offer = harmless(&format!("{} {}", claim.retailer, claim.sku));
    let said = format!(
        "  {offer}, {}: {} instead of {} ({} off): {}",
        day(reduction.from),
        money(reduction.price_minor),
        claim.was(),
        off(finding.claimed_off_hundredths),
        claim.verdict()
    );
    match &finding.verdict {
        Verdict::Contradicted {
            from,
            until,
            price_minor,
        } => format!(
            "{said}; {} was to be had between {} and {}, from which it is {} off",
            money(*price_minor),
            day(*from),
            day(*until),
            off(finding.percent_off_hundredths)
        ),
        Verdict::Consistent => format!(
            "{said}; nothing lower on record since {}",
            day(finding.opens)
        ),
        Verdict::CannotTell(why) => format!("{said}: {why}"),
    }
}

/// Hundredths of a percent as `12.5 %`.
fn percent(hundredths: i64) -> String {
    let sign = if hundredths < 0 { "-" } else { "" };
    let (whole, rest) = (
        hundredths.unsigned_abs() / 100,
        hundredths.unsigned_abs() % 100,
    );
    let text = format!("{sign}{whole}.{rest:02}");
    format!("{} %", text.trim_end_matches('0').trim_end_matches('.'))
}

/// Days with a place where there are few.
fn days(ms: i64) -> String {
    let days = TimeDelta::milliseconds(ms).num_days();
    match days {
        0..10 => format!("{:.1}", ms as f64 / DAY_MS),
        _ => days.to_string(),
    }
}

fn day(at: DateTime<Utc>) -> String {
    at.date_naive().to_string()
}
