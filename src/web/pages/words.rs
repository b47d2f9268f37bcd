//! What several pages say in the same words, and links within the pages.

use super::figures::Figures;
use crate::web::view::{ShortPick, WhatIf};
use maud::{Markup, html};
use percent_encoding::{AsciiSet, NON_ALPHANUMERIC, utf8_percent_encode};

/// RFC 3986, 2.3: what a segment of a path may have as it is.
const SEGMENT: &AsciiSet = &NON_ALPHANUMERIC
    .remove(b'-')
    .remove(b'.')
    .remove(b'_')
    .remove(b'~');
const PATH: &AsciiSet = &SEGMENT.remove(b'/');

pub fn segment(text: &str) -> String {
    utf8_percent_encode(text, SEGMENT).to_string()
}

pub fn part_path(part: &str) -> String {
    format!("/part/{}", segment(part))
}

/// Names of feeds have a slash.
pub fn feed_path(feed: &str) -> String {
    format!("/feed/{}", utf8_percent_encode(feed, PATH))
}

pub fn brief_path(brief: &str) -> String {
    format!("/brief/{}", segment(brief))
}

/// A page of a brief, such as `/guide`, under a what-if.
pub fn under(brief: &str, page: &str, what_if: &WhatIf) -> String {
    with_query(&format!("{}{page}", brief_path(brief)), &what_if.query())
}

pub fn with_query(path: &str, query: &str) -> String {
    match query.is_empty() {
        true => path.to_owned(),
        false => format!("{path}?{query}"),
    }
}

/// A query of those that say something.
pub fn query(pairs: &[(&str, &str)]) -> String {
    let said = pairs.iter().filter(|(_, value)| !value.is_empty());
    let said = said.map(|(name, value)| format!("{name}={}", segment(value)));
    said.collect::<Vec<_>>().join("&")
}

/// A stable word as people write it.
pub fn plain(word: &str) -> String {
    word.replace('_', " ")
}

pub fn counted(count: u64, one: &str, many: &str) -> String {
    match count {
        1 => format!("1 {one}"),
        count => format!("{count} {many}"),
    }
}

/// A name with the number of pieces where there are several.
pub fn pieces(quantity: u32, name: &str) -> String {
    match quantity {
        1 => name.to_owned(),
        n => format!("{n} × {name}"),
    }
}

/// Text of a feed: it keeps its direction to itself.
pub fn from_outside(text: &str) -> Markup {
    html! { bdi { (text) } }
}

/// A link away from here, to a shop.
pub fn away(to: &str, is_paid: bool, words: &str) -> Markup {
    let is_web = to.starts_with("https://") || to.starts_with("http://");
    html! {
        @if is_web { a href=(to) rel="noopener noreferrer nofollow" { (from_outside(words)) } }
        @else { (from_outside(words)) }
        @if is_paid { " " span.tag title="A paid link: the guide says so beside it" { "paid" } }
    }
}

pub fn availability(word: &str, lead_days: Option<u32>) -> Markup {
    let lead = lead_days.filter(|days| *days > 0);
    html! {
        (plain(word))
        @if let Some(days) = lead { ", " (counted(u64::from(days), "day", "days")) }
    }
}

/// How long something took or lasted, in its largest unit.
pub fn duration(ms: i64, figures: &Figures) -> Markup {
    let hours = ms as f64 / 3_600_000.0;
    let (value, one, many) = match hours {
        hours if hours >= 48.0 => (hours / 24.0, "day", "days"),
        hours if hours >= 1.0 => (hours, "hour", "hours"),
        hours => (hours * 60.0, "minute", "minutes"),
    };
    let value = value.round();
    html! { span.keep { (figures.number(value, 0)) " " (if value == 1.0 { one } else { many }) } }
}

/// The parts that a build has in roles that differ from the best.
pub fn differing(picks: &[ShortPick], differs: &[String]) -> Markup {
    let shown = picks.iter().filter(|pick| differs.contains(&pick.role));
    html! {
        ul.notes {
            @for pick in shown {
                li { (pick.role) ": " a href=(part_path(&pick.part)) { (pieces(pick.quantity, &pick.name)) } }
            }
            @for role in differs.iter().filter(|role| !picks.iter().any(|pick| pick.role == **role)) {
                li { (role) ": none" }
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_addresses_of_the_web_become_links() {
        assert!(
            away("https://shop.example/1", false, "Shop")
                .0
                .contains("nofollow")
        );
        for odd in [
            "javascript:alert(1)",
            "data:text/html,x",
            " https://x",
            "//x",
        ] {
            assert!(!away(odd, false, "Shop").0.contains("href"), "{odd}");
        }
    }

    #[test]
    fn names_from_outside_stay_within_their_segment() {
        assert_eq!(part_path("a/../b?c#d"), "/part/a%2F..%2Fb%3Fc%23d");
        assert_eq!(feed_path("alpha/price list"), "/feed/alpha/price%20list");
        assert_eq!(
            query(&[("kind", ""), ("words", "a&b=c")]),
            "words=a%26b%3Dc"
        );
    }
}
