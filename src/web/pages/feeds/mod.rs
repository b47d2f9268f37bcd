//! The feeds: how they fare, what of them waits for a word, and how one is read.

pub mod held;
pub mod trial;

use super::figures::time;
use super::frame::{Look, Page, Place, act};
use super::words::{counted, feed_path, plain, segment};
use crate::web::view::{FeedLine, FeedList, FeedPage, HeldView, PollLine};
use maud::{Markup, html};

/// All of them, and all prices that wait.
pub fn list(view: &FeedList, held: &[HeldView], told: Option<&str>, look: &Look) -> Page {
    let body = html! {
        div.head { div { h1 { "Feeds" } p.kicker { "As of " (time(&view.at)) } } }
        (told_words(told, None))
        section.sheet #feeds data-live {
            @if view.feeds.is_empty() { p { "No feed is configured. Add one under " code { "retailers" } "." } }
            @else {
                table.stack {
                    thead {
                        tr {
                            th scope="col" { "Feed" } th scope="col" { "State" } th scope="col" { "Last poll" } th scope="col" { "Next poll" }
                            th.num scope="col" { "Records" } th.num scope="col" { "Refused" } th.num scope="col" { "Offers" } th.num scope="col" { "Parts" } th.num scope="col" { "Held" }
                            th scope="col" { span.away-from-sight { "Act" } }
                        }
                    }
                    tbody { @for feed in &view.feeds { (line(feed, look)) } }
                }
            }
        }
        div #held data-live { (held::section(held, "", look)) }
    };
    Page {
        title: "Feeds".to_owned(),
        place: Place::Feeds,
        scripts: &[],
        body,
    }
}

fn line(feed: &FeedLine, look: &Look) -> Markup {
    let figures = &look.figures;
    html! {
        tr {
            th scope="row" { a href=(feed_path(&feed.feed)) { (feed.feed) } small { (feed.retailer_name) } }
            td data-of="State" { span { (state(feed)) @if let Some(error) = &feed.error { small { (error) } } } }
            td data-of="Last poll" { @if let Some(at) = &feed.last_poll { (time(at)) } @else { "never" } }
            td data-of="Next poll" { (next(feed)) }
            td.num data-of="Records" { @if let Some(records) = feed.records { (figures.count(records as i64)) } }
            td.num data-of="Refused" {
                @if feed.refused > 0 { a href={ (feed_path(&feed.feed)) "#refused" } { (figures.count(feed.refused as i64)) } } @else { "0" }
            }
            td.num data-of="Offers" { (figures.count(feed.offers as i64)) }
            td.num data-of="Parts" { (figures.count(feed.matched as i64)) }
            td.num data-of="Held" { @if feed.held > 0 { strong.warn-word { (feed.held) } } @else { "0" } }
            td { (poll_button(feed, look)) }
        }
    }
}

fn state(feed: &FeedLine) -> Markup {
    html! {
        @match (feed.failures, &feed.last_poll, &feed.error) {
            (0, Some(_), None) => span.good-word { "well" },
            (_, None, _) => span.soft { "not polled yet" },
            (failures, _, _) => span.bad-word { "failing" @if failures > 1 { ", " (failures) " times in a row" } },
        }
    }
}

fn next(feed: &FeedLine) -> Markup {
    html! {
        @match (&feed.next, feed.why.as_deref()) {
            (Some(at), why) => span { (time(at)) @if let Some(why) = why.filter(|why| *why != "scheduled") { small { (plain(why)) } } },
            (None, Some(why)) => (plain(why)),
            (None, None) => "when asked",
        }
    }
}

fn poll_button(feed: &FeedLine, look: &Look) -> Markup {
    let button = html! { button.small aria-label={ "Poll " (feed.feed) " now" } { "Poll now" } };
    act(
        look,
        &format!("/poll{}", feed_path(&feed.feed)),
        &[],
        &button,
    )
}

/// One feed.
pub fn page(view: &FeedPage, told: Option<&str>, look: &Look) -> Page {
    let FeedPage {
        line,
        schedule,
        zone,
        ..
    } = view;
    let figures = &look.figures;
    let body = html! {
        div.head {
            div {
                p.kicker { a href="/feeds" { "Feeds" } " / " (line.retailer_name) }
                h1 { (line.feed) }
                p.kicker {
                    @match schedule { Some(schedule) => { "Polled " span.code { (schedule) } ", " (zone) } None => "Polled when asked" }
                    " · " a href={ "/journal?feed=" (segment(&line.feed)) } { "Journal" }
                }
            }
            div.row {
                (poll_button(line, look))
                a.button.small href={ "/try" (feed_path(&line.feed)) } { "Try the mapping on the last response" }
                a.button.small href={ "/try" (feed_path(&line.feed)) "?from=shop" } { "Ask the shop and try" }
            }
        }
        (told_words(told, Some(line)))
        section.sheet #health data-live {
            dl.sum {
                div { dt { "State" } dd { (state(line)) } }
                div { dt { "Last good poll" } dd { small { @if let Some(at) = &line.last_good { (time(at)) } @else { "never" } } } }
                div { dt { "Next poll" } dd { small { (next(line)) } } }
                div { dt { "Offers" } dd { (figures.count(line.offers as i64)) } }
                div { dt { "Parts" } dd { (figures.count(line.matched as i64)) } }
            }
            @if let Some(error) = &line.error { p.said.bad { (error) } }
        }
        div #held data-live { (held::section(&view.held, &line.feed, look)) }
        @if !view.notes.is_empty() {
            section.sheet #said-by-poll data-live {
                h2 { "What the newest poll noted" }
                ul.notes { @for note in &view.notes { li { div.long { bdi { (note) } } } } }
            }
        }
        div.pair {
            section.sheet #polls data-live { h2 { "Polls" } (polls(&view.polls, look)) }
            section.sheet #refused data-live { h2 { "Refused" } (refused(view, look)) }
        }
    };
    Page {
        title: line.feed.clone(),
        place: Place::Feeds,
        scripts: &[],
        body,
    }
}

fn told_words(told: Option<&str>, line: Option<&FeedLine>) -> Markup {
    html! {
        @match told {
            Some("asked") => p.said role="status" { "The poll is under way; what it brings appears here." },
            Some("later") => p.said.warn role="status" { "The shop wants a pause" @if let Some(line) = line { "; the next poll: " (next(line)) } },
            Some("confirmed") => p.said role="status" { "Confirmed: the price counts." },
            Some("dropped") => p.said role="status" { "Dropped: the price does not count." },
            _ => {},
        }
    }
}

fn polls(polls: &[PollLine], look: &Look) -> Markup {
    let figures = &look.figures;
    html! {
        @if polls.is_empty() { p.soft { "None yet." } } @else {
            table.stack {
                thead {
                    tr {
                        th scope="col" { "At" } th scope="col" { "Status" } th.num scope="col" { "Records" } th.num scope="col" { "Accepted" }
                        th.num scope="col" { "Changed" } th.num scope="col" { "Held" } th.num scope="col" { "Refused" } th.num scope="col" { "Took" }
                    }
                }
                tbody {
                    @for poll in polls {
                        tr {
                            th scope="row" { (time(&poll.at)) }
                            td data-of="Status" { span { @if poll.error.is_some() { span.bad-word { (plain(&poll.status)) } } @else { (plain(&poll.status)) }
                                @if let Some(error) = &poll.error { small { (error) } } } }
                            td.num data-of="Records" { (figures.count(poll.records as i64)) }
                            td.num data-of="Accepted" { (figures.count(poll.accepted as i64)) }
                            td.num data-of="Changed" { (figures.count(poll.changed as i64)) }
                            td.num data-of="Held" { (figures.count(poll.held as i64)) }
                            td.num data-of="Refused" { (figures.count(poll.refused as i64)) }
                            td.num data-of="Took" { @if let Some(took) = poll.duration_ms { span { (figures.number(took as f64 / 1000.0, 1)) " s" } } }
                        }
                    }
                }
            }
        }
    }
}

fn refused(view: &FeedPage, look: &Look) -> Markup {
    html! {
        @if view.refused.is_empty() { p.soft { "The newest poll refused nothing." } } @else {
            p.soft { (counted(view.refused.iter().map(|one| one.count).sum(), "record", "records")) " of the newest poll that was read, by reason" }
            ul.notes {
                @for one in &view.refused {
                    li {
                        strong { (look.figures.count(one.count as i64)) " × " (plain(&one.code)) }
                        @for example in &one.examples { div.long.soft { bdi { (example) } } }
                    }
                }
            }
        }
    }
}
