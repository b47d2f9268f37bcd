//! The journal and the outbox.

use super::figures::time;
use super::frame::{Look, Page, Place, act};
use super::words::{brief_path, counted, feed_path, part_path, plain, query, with_query};
use crate::web::view::{DeliveryView, Journal, JournalAsked, JournalLine, Outbox};
use maud::{Markup, html};

/// What happened, newest first.
pub fn journal(view: &Journal, asked: &JournalAsked, _look: &Look) -> Page {
    let text = |value: &Option<String>| value.clone().unwrap_or_default();
    let (brief, feed, kind, since) = (
        text(&asked.brief),
        text(&asked.feed),
        text(&asked.kind),
        text(&asked.since),
    );
    let is_newest = asked.before.is_none();
    let older = view.next.map(|next| {
        let before = next.to_string();
        let pairs = [
            ("brief", brief.as_str()),
            ("feed", &feed),
            ("kind", &kind),
            ("since", &since),
            ("before", &before),
        ];
        with_query("/journal", &query(&pairs))
    });
    let body = html! {
        div.head {
            div { h1 { "Journal" } p.kicker { "What happened, newest first" } }
            form.row action="/journal" method="get" role="search" {
                @for (name, label, value) in [("brief", "Brief", &brief), ("feed", "Feed", &feed), ("kind", "Kind", &kind)] {
                    span.field { label for=(name) { (label) } input id=(name) name=(name) type="text" value=(value); }
                }
                span.field {
                    label for="since" { "Since" }
                    input #since name="since" type="date" value=(since.get(..10).unwrap_or(""));
                }
                button { "Show" }
                @if *asked != JournalAsked::default() { a.button href="/journal" { "Show all" } }
            }
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
