//! The journal and the outbox.

use super::figures::time;
use super::frame::{Look, Page, Place, act};
use super::words::{brief_path, counted, feed_path, part_path, plain, query, with_query};
use crate::web::desk::{Desk, Told};
use crate::web::view::{DeliveryView, JOURNAL_KINDS, Journal, JournalAsked, JournalLine, Outbox};
use maud::{Markup, html};
use std::collections::BTreeSet;

/// Most of what a watch writes, and little of what one looks for.
const ROUTINE: &str = "prices_changed";

/// What entries may be of.
pub struct Names {
    briefs: Vec<String>,
    /// Retailers, each for all of its feeds, and feeds.
    feeds: BTreeSet<String>,
}

impl Names {
    pub fn of(desk: &dyn Desk) -> Told<Names> {
        let briefs = desk.overview()?.briefs.into_iter();
        let feeds = desk.feeds()?.feeds.into_iter();
        Ok(Names {
            briefs: briefs.map(|brief| brief.brief).collect(),
            feeds: feeds.flat_map(|feed| [feed.retailer, feed.feed]).collect(),
        })
    }
}

/// What happened, newest first.
pub fn journal(view: &Journal, asked: &JournalAsked, names: &Names) -> Page {
    let is_newest = asked.before.is_none();
    let older = view.next.map(|next| {
        let next = next.to_string();
        let before = ("before", next.as_str());
        let pairs: Vec<_> = filters(asked).into_iter().chain([before]).collect();
        with_query("/journal", &query(&pairs))
    });
    let body = html! {
        div.head {
            div { h1 { "Journal" } p.kicker { "What happened, newest first" } }
            (search(asked, names))
        }
        section.sheet #entries data-live[is_newest] {
            @if view.entries.is_empty() { p { "Nothing of this kind happened." } }
            @else {
                table.stack {
                    thead { tr { th scope="col" { "At" } th scope="col" { "Kind" } th scope="col" { "What" } th scope="col" { "Of" } } }
                    tbody { @for entry in &view.entries { (entry_row(entry)) } }
                }
            }
        }
        @if let Some(older) = older { p { a.button href=(older) rel="next" { "Older" } } }
    };
    Page {
        title: "Journal".to_owned(),
        place: Place::Journal,
        scripts: &[],
        body,
    }
}

/// What of the journal is asked for, but for where it begins.
fn filters(asked: &JournalAsked) -> Vec<(&'static str, &str)> {
    let pairs = [
        ("brief", &asked.brief),
        ("feed", &asked.feed),
        ("kind", &asked.kind),
        ("without", &asked.without),
        ("since", &asked.since),
    ];
    let pairs = pairs.into_iter();
    pairs
        .filter_map(|(key, value)| Some((key, value.as_deref()?)))
        .collect()
}

fn search(asked: &JournalAsked, names: &Names) -> Markup {
    let briefs: Vec<&str> = names.briefs.iter().map(String::as_str).collect();
    let feeds: Vec<&str> = names.feeds.iter().map(String::as_str).collect();
    let fields = [
        ("brief", "Brief", &asked.brief, briefs.as_slice()),
        ("feed", "Feed", &asked.feed, &feeds),
        ("kind", "Kind", &asked.kind, JOURNAL_KINDS),
    ];
    let since = asked.since.as_deref().unwrap_or("");
    let is_without = asked.without.as_deref() == Some(ROUTINE);
    let others = filters(asked).into_iter();
    let mut others: Vec<_> = others.filter(|(key, _)| *key != "without").collect();
    if !is_without {
        others.push(("without", ROUTINE));
    }
    let other_way = with_query("/journal", &query(&others));
    html! {
        form.row action="/journal" method="get" role="search" {
            @for (name, label, value, known) in fields {
                span.field {
                    label for=(name) { (label) }
                    input id=(name) name=(name) type="text" value=(value.as_deref().unwrap_or("")) list={ (name) "-known" };
                    datalist id={ (name) "-known" } { @for one in known { option value=(one) {} } }
                }
            }
            span.field {
                label for="since" { "Since" }
                input #since name="since" type="date" value=(since.get(..10).unwrap_or(""));
            }
            @if let Some(without) = &asked.without { input type="hidden" name="without" value=(without); }
            button { "Show" }
            a.button.on[is_without] href=(other_way) {
                @if is_without { "With price changes" } @else { "Without price changes" }
            }
            @if *asked != JournalAsked::default() { a.button href="/journal" { "Show all" } }
        }
    }
}

fn entry_row(entry: &JournalLine) -> Markup {
    html! {
        tr {
            td { (time(&entry.at)) }
            td { a.tag href={ "/journal?" (query(&[("kind", &entry.kind)])) } { (plain(&entry.kind)) } }
            td { div.long { bdi { (entry.text) } } }
            td {
                @if let Some(brief) = &entry.brief { a href=(brief_path(brief)) { (brief) } " " }
                @if let Some(part) = &entry.part { a href=(part_path(part)) { (part) } " " }
                @if let Some(feed) = &entry.feed { a href=(feed_path(feed)) { (feed) } }
            }
        }
    }
}

/// Bulletins on their way.
pub fn outbox(view: &Outbox, state: Option<&str>, told: Option<&str>, look: &Look) -> Page {
    let states = [
        ("", "To look at", view.waiting + view.dead),
        ("waiting", "Waiting", view.waiting),
        ("dead", "Given up", view.dead),
        ("dropped", "Dropped", view.dropped),
        ("sent", "Sent", view.sent),
    ];
    let here = state.unwrap_or("");
    let body = html! {
        div.head { div { h1 { "Outbox" } p.kicker { "Bulletins on their way, newest first" } } }
        @match told {
            Some("retried") => p.said role="status" { "It is tried again at once." },
            Some("dropped") => p.said role="status" { "Dropped: nobody is told." },
            _ => {},
        }
        div #outbox data-live {
            nav aria-label="States" {
                ul.tabs {
                    @for (word, name, count) in states {
                        li {
                            a.button.small href=(with_query("/outbox", &query(&[("state", word)]))) aria-current=[(word == here).then_some("page")] {
                                (name) " " small.inline { (look.figures.count(count as i64)) }
                            }
                        }
                    }
                }
            }
            section.sheet {
                @if view.deliveries.is_empty() { p { "Nothing is here." } }
                @else {
                    table.stack {
                        thead {
                            tr {
                                th scope="col" { "Bulletin" } th scope="col" { "Channel" } th scope="col" { "State" }
                                th scope="col" { "Made" } th scope="col" { "Next try" } th scope="col" { "Act" }
                            }
                        }
                        tbody { @for delivery in &view.deliveries { (delivery_row(delivery, look)) } }
                    }
                }
            }
        }
    };
    Page {
        title: "Outbox".to_owned(),
        place: Place::Outbox,
        scripts: &[],
        body,
    }
}

fn delivery_row(delivery: &DeliveryView, look: &Look) -> Markup {
    let to = format!("/outbox/{}", delivery.id);
    html! {
        tr {
            th scope="row" {
                div.long { bdi { (delivery.subject) } }
                @if let Some(brief) = &delivery.brief { small { a href=(brief_path(brief)) { (brief) } } }
            }
            td data-of="Channel" { (delivery.channel) }
            td data-of="State" {
                span {
                    @match delivery.state.as_str() {
                        "dead" => span.bad-word { "given up" },
                        "waiting" if delivery.fault.is_some() => span.warn-word { "waiting" },
                        other => (plain(other)),
                    }
                    @if let Some(fault) = &delivery.fault { small { bdi { (fault) } } }
                    @if delivery.attempts > 0 { small { "tried " (counted(delivery.attempts.into(), "time", "times")) } }
                }
            }
            td data-of="Made" { (time(&delivery.at)) }
            td data-of="Next try" { @if let Some(next) = &delivery.next { (time(next)) } }
            td {
                @if matches!(delivery.state.as_str(), "dead" | "waiting") {
                    div.acts {
                        (act(look, &to, &[("word", "retry")], &html! { button.small aria-label={ "Try again: " (delivery.subject) } { "Try again" } }))
                        (act(look, &to, &[("word", "drop")], &html! { button.small aria-label={ "Drop: " (delivery.subject) } { "Drop" } }))
                    }
                }
            }
        }
    }
}
