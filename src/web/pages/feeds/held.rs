//! Prices that wait for a person's word.

use super::super::figures::time;
use super::super::frame::{Look, act};
use super::super::words::{feed_path, from_outside, part_path};
use crate::web::view::HeldView;
use maud::{Markup, html};

/// Nothing, where nothing waits. After a word one is led to the page of `feed`, or of all.
pub fn section(held: &[HeldView], feed: &str, look: &Look) -> Markup {
    html! {
        @if !held.is_empty() {
            section.sheet {
                header { h2 { "Held observations" } p.soft { "They count once they are confirmed; the next polls may do so by themselves" } }
                table.stack {
                    thead {
                        tr {
                            th scope="col" { "Offer" } th.num scope="col" { "Waits" } th.num scope="col" { "Counts now" }
                            th scope="col" { "Why" } th scope="col" { "Seen" } th scope="col" { "Word" }
                        }
                    }
                    tbody { @for one in held { (row(one, feed, look)) } }
                }
            }
        }
    }
}

fn row(one: &HeldView, feed: &str, look: &Look) -> Markup {
    let figures = &look.figures;
    let to = format!("/held/{}", one.id);
    html! {
        tr {
            th scope="row" {
                div.long {
                    @match &one.part { Some(part) => a href=(part_path(part)) { (from_outside(&one.title)) }, None => (from_outside(&one.title)) }
                }
                small { a href=(feed_path(&one.feed)) { (one.feed) } " · " span.code { (from_outside(&one.sku)) }
                    @if let Some(seller) = &one.seller { " · " (from_outside(seller)) } }
            }
            td.num data-of="Waits" { strong { (figures.money(one.price_minor, &one.currency)) } }
            td.num data-of="Counts now" {
                @match (one.current_price_minor, &one.current_currency) {
                    (Some(price), Some(currency)) => (figures.money(price, currency)),
                    _ => "nothing",
                }
            }
            td data-of="Why" { (one.reason) }
            td data-of="Seen" { span { (time(&one.last_seen)) small { (one.times) @if one.times == 1 { " poll" } @else { " polls in a row" } } } }
            td {
                div.acts {
                    (act(look, &to, &[("word", "confirm"), ("feed", feed)], &html! { button.small aria-label={ "Confirm the price of " (one.sku) } { "Confirm" } }))
                    (act(look, &to, &[("word", "drop"), ("feed", feed)], &html! { button.small aria-label={ "Drop the price of " (one.sku) } { "Drop" } }))
                }
            }
        }
    }
}
