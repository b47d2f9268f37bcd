//! The past of a part's price: the chart, what it says in figures, and claims of reductions.

use super::super::figures::day;
use super::super::frame::Look;
use super::super::words::{brief_path, counted, duration, part_path, plain, query, with_query};
use super::chart;
use crate::web::view::{ExtremeView, FactsView, PastView, WareView};
use maud::{Markup, html};

pub fn sections(view: &PastView, days: Option<u64>, look: &Look) -> Markup {
    html! {
        @if view.wares.is_empty() {
            section.sheet { h2 { "Price history" } p { "No price was ever seen." } (span_links(view, days)) }
        }
        @for (number, ware) in view.wares.iter().enumerate() { (ware_section(view, ware, number, days, look)) }
        @if !view.claims.is_empty() { section.sheet { (claims(view, look)) } }
    }
}

fn ware_section(
    view: &PastView,
    ware: &WareView,
    number: usize,
    days: Option<u64>,
    look: &Look,
) -> Markup {
    let tax = if ware.tax_included {
        "with tax"
    } else {
        "without tax"
    };
    html! {
        div.pair {
            section.sheet.ware {
                header {
                    h2 { "Price history" @if view.wares.len() > 1 { ", " (plain(&ware.condition)) ", " (ware.currency) } }
                    p.soft { (plain(&ware.condition)) ", " (ware.currency) " " (tax) }
                }
                (span_links(view, days))
                (chart::figure(view, ware, number, look))
            }
            section.sheet {
                h2 { "Price facts" }
                @match &ware.facts {
                    Some(facts) => { (facts_table(facts, ware, look)) @if number == 0 { (target(view, days)) } }
                    None => p.soft { "Too little is known." },
                }
                @if number == 0 { (entries(view, look)) }
            }
        }
    }
}

/// How far back one looks: links, which work without a script.
fn span_links(view: &PastView, days: Option<u64>) -> Markup {
    let spans = [
        (None, "All"),
        (Some(365), "A year"),
        (Some(90), "90 days"),
        (Some(30), "30 days"),
    ];
    html! {
        nav aria-label="How far back" {
            ul.tabs {
                @for (span, name) in spans {
                    @let said = span.map_or(String::new(), |days| days.to_string());
                    @let to = with_query(&part_path(&view.part), &query(&[("days", &said)]));
                    li { a.button.small href=(to) aria-current=[(span == days).then_some("true")] { (name) } }
                }
            }
        }
    }
}

/// For which price the wait is told.
fn target(view: &PastView, days: Option<u64>) -> Markup {
    html! {
        form.row action=(part_path(&view.part)) method="get" {
            @if let Some(days) = days { input type="hidden" name="days" value=(days); }
            label for="target" { "Wait for a price of" }
            input #target name="target" inputmode="decimal" size="8" value=(view.target.as_deref().unwrap_or(""));
            button { "Look" }
        }
    }
}

fn entries(view: &PastView, look: &Look) -> Markup {
    html! {
        @if !view.entry_prices.is_empty() {
            h3 { "Entry prices" }
            ul.notes {
                @for entry in &view.entry_prices {
                    li {
                        (look.figures.money(entry.entry_minor, &entry.currency)) " landed, as " (plain(&entry.role)) " of "
                        a href=(brief_path(&entry.brief)) { (entry.brief) }
                    }
                }
            }
        }
    }
}

fn facts_table(facts: &FactsView, ware: &WareView, look: &Look) -> Markup {
    let figures = &look.figures;
    let amount = |minor: i64| figures.money(minor, &ware.currency);
    let row =
        |name: &str, value: Markup| html! { tr { th scope="row" { (name) } td.num { (value) } } };
    let extreme = |extreme: &ExtremeView| {
        html! { (amount(extreme.price_minor)) small { (day(&extreme.from)) " to " (day(&extreme.until)) } }
    };
    html! {
        table {
            tbody {
                (row("Now", match facts.now.price_minor {
                    Some(price) => html! { (amount(price)) @if facts.now.orderable == Some(false) { small { "cannot be ordered" } } },
                    None => html! { (plain(if facts.now.state == "absent" { "not on offer" } else { "not read" })) },
                }))
                @if let Some(lowest) = &facts.lowest { (row("Lowest", extreme(lowest))) }
                @if let Some(highest) = &facts.highest { (row("Highest", extreme(highest))) }
                @if let Some(median) = facts.median_minor { (row("Median", amount(median))) }
                @if let (Some(low), Some(high)) = (facts.quarter_minor, facts.three_quarters_minor) {
                    (row("Half of the time", html! { (amount(low)) " to " (amount(high)) }))
                }
                @if let Some(held) = facts.at_or_below_now_ms { (row("At or below now for", duration(held, figures))) }
                @if let Some(until) = &facts.lower_until { (row("Lower until", day(until))) }
                @if let Some(since) = &facts.never_lower_since { (row("Never lower since", day(since))) }
                @if let Some(share) = facts.in_stock_thousandths { (row("Could be ordered", figures.percent(share as f64 / 10.0, 0))) }
                (row("Changes", figures.count(facts.changes as i64)))
                @if let Some(last) = &facts.last_change {
                    (row("Last change", html! { (figures.more(last.after_minor - last.before_minor, &ware.currency)) small { (day(&last.at)) } }))
                }
                @if let Some(trend) = facts.trend_percent { (row("Trend", html! { (figures.change(trend, 1)) " %" })) }
                @if let Some(spread) = facts.spread_percent { (row("Spread over time", figures.percent(spread, 1))) }
                @if facts.record.unread_ms > 0 { (row("Not read for", duration(facts.record.unread_ms, figures))) }
                (row("On record since", day(&facts.record.from)))
            }
        }
        @if let Some(wait) = &facts.wait {
            p.soft {
                "For " (amount(wait.target_minor)) ": "
                @match (&wait.why, wait.mean_ms) {
                    (Some(why), _) => (why),
                    (None, Some(0)) => "it can be had for that now",
                    (None, Some(mean)) => {
                        "one waited " (duration(mean, figures)) " on average"
                        @if let Some(arrivals) = wait.arrivals { "; it came " (counted(arrivals, "time", "times")) }
                    }
                    (None, None) => "it never came",
                }
                "."
            }
        }
    }
}

fn claims(view: &PastView, look: &Look) -> Markup {
    let figures = &look.figures;
    html! {
        h2 { "Claimed reductions" }
        p.soft { "Beside the lowest price of the 30 days before" }
        table.stack {
            thead {
                tr {
                    th scope="col" { "Retailer" } th.num scope="col" { "Price" } th.num scope="col" { "Claimed before" }
                    th.num scope="col" { "Lowest on record" } th scope="col" { "The record says" } th scope="col" { "Since" }
                }
            }
            tbody {
                @for claim in &view.claims {
                    tr {
                        th scope="row" { (chart::name_of(view, &claim.retailer)) " " small { (claim.sku) } }
                        td.num data-of="Price" { (figures.money(claim.price_minor, &claim.currency)) }
                        td.num data-of="Claimed before" { (figures.money(claim.was_minor, &claim.currency)) }
                        td.num data-of="Lowest on record" { @if let Some(lowest) = claim.lowest_minor { (figures.money(lowest, &claim.currency)) } }
                        td data-of="The record says" {
                            span {
                                @match claim.verdict.as_str() {
                                    "contradicted" => span.bad-word { "contradicted" },
                                    "consistent" => span.good-word { "consistent" },
                                    _ => "cannot tell",
                                }
                                @if let Some(why) = &claim.why { small { (why) } }
                            }
                        }
                        td data-of="Since" { (day(&claim.from)) }
                    }
                }
            }
        }
    }
}
