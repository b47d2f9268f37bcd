//! What an answer's headers say about time and place: Retry-After, freshness, Link.

use super::date::parse_http_date;
use chrono::{DateTime, Utc};
use reqwest::header::{
    AGE, CACHE_CONTROL, DATE, EXPIRES, HeaderMap, HeaderName, LINK, RETRY_AFTER,
};
use std::time::Duration;
use url::Url;

/// The longest rest that a server can ask for. Common practice, no source.
pub const LONGEST_REST: Duration = Duration::from_secs(24 * 3600);

/// The longest time for which an answer is taken as fresh: an author expects a poll a day.
const LONGEST_FRESHNESS: Duration = Duration::from_secs(24 * 3600);

/// RFC 9111 1.2.2: a number of seconds too large to hold reads as 2^31.
const MOST_SECONDS: u64 = 1 << 31;

/// How long the host wants to be left alone, as it said it; `None` when it is not of the grammar.
///
/// A date that has passed asks for no wait. Compare with [`LONGEST_REST`] before obeying.
pub fn parse_retry_after(text: &str, now: DateTime<Utc>) -> Option<Duration> {
    let text = text.trim();
    if let Some(seconds) = delta_seconds(text) {
        return Some(Duration::from_secs(seconds));
    }
    let until = parse_http_date(text, now)?;
    Some((until - now).to_std().unwrap_or(Duration::ZERO))
}

/// The rest that an answer asks for, capped.
pub(super) fn retry_after(headers: &HeaderMap, now: DateTime<Utc>) -> Option<Duration> {
    let asked = parse_retry_after(text(headers, &RETRY_AFTER)?, now)?;
    Some(asked.min(LONGEST_REST))
}

/// Until when an answer may be used without asking again, RFC 9111 section 4.2, private cache.
///
/// `asked` and `answered` are when the request left and the answer came. No heuristic: an answer
/// that says nothing is stale at once. Never later than a day from `answered`.
pub fn fresh_until(
    headers: &HeaderMap,
    asked: DateTime<Utc>,
    answered: DateTime<Utc>,
) -> Option<DateTime<Utc>> {
    let date = text(headers, &DATE).and_then(|date| parse_http_date(date, answered));
    let lifetime = lifetime(headers, date.unwrap_or(answered), answered)?;
    let apparent_age = date
        .and_then(|date| (answered - date).to_std().ok())
        .unwrap_or(Duration::ZERO);
    let delay = (answered - asked).to_std().unwrap_or(Duration::ZERO);
    let said_age = text(headers, &AGE)
        .and_then(|age| delta_seconds(age.trim()))
        .map_or(Duration::ZERO, Duration::from_secs);
    let age = apparent_age.max(said_age + delay);
    let left = lifetime.checked_sub(age)?.min(LONGEST_FRESHNESS);
    (!left.is_zero()).then(|| answered + left)
}

fn lifetime(headers: &HeaderMap, date: DateTime<Utc>, answered: DateTime<Utc>) -> Option<Duration> {
    let mut max_age = None;
    for value in headers.get_all(CACHE_CONTROL) {
        for directive in value.to_str().ok()?.split(',') {
            let (name, argument) = directive.split_once('=').unwrap_or((directive, ""));
            match name.trim().to_ascii_lowercase().as_str() {
                "no-cache" | "no-store" => return None,
                // A lifetime that cannot be read is a stale answer (RFC 9111 4.2.1).
                "max-age" => max_age = Some(delta_seconds(argument.trim().trim_matches('"'))?),
                _ => {}
            }
        }
    }
    if let Some(seconds) = max_age {
        return Some(Duration::from_secs(seconds));
    }
    let expires = parse_http_date(text(headers, &EXPIRES)?, answered)?;
    (expires - date).to_std().ok()
}

/// RFC 9110 10.2.3 and 9111 1.2.2: digits only; too many of them mean the largest number.
fn delta_seconds(text: &str) -> Option<u64> {
    if text.is_empty() || !text.bytes().all(|byte| byte.is_ascii_digit()) {
        return None;
    }
    Some(
        text.parse()
            .map_or(MOST_SECONDS, |seconds: u64| seconds.min(MOST_SECONDS)),
    )
}

/// The target of the first `Link` with the relation `next`, RFC 8288.
pub(super) fn link_next(headers: &HeaderMap, base: &Url) -> Option<Url> {
    headers
        .get_all(LINK)
        .iter()
        .filter_map(|value| value.to_str().ok())
        .find_map(|value| parse_link_next(value, base))
}

/// The target with the relation `next` in one field value.
pub fn parse_link_next(value: &str, base: &Url) -> Option<Url> {
    let mut rest = value;
    while let Some(open) = rest.find('<') {
        let after = &rest[open + 1..];
        let close = after.find('>')?;
        let (target, parameters) = (&after[..close], &after[close + 1..]);
        let (parameters, following) = split_unquoted(parameters, ',');
        if is_next(parameters) {
            return base.join(target.trim()).ok();
        }
        rest = following;
    }
    None
}

fn is_next(parameters: &str) -> bool {
    let mut rest = parameters;
    while !rest.is_empty() {
        let (parameter, following) = split_unquoted(rest, ';');
        rest = following;
        let (name, value) = parameter.split_once('=').unwrap_or((parameter, ""));
        if name.trim().eq_ignore_ascii_case("rel") {
            // Only the first `rel` counts (RFC 8288 3.3).
            return value
                .trim()
                .trim_matches('"')
                .split_ascii_whitespace()
                .any(|relation| relation.eq_ignore_ascii_case("next"));
        }
    }
    false
}

/// Splits at the first separator that is not inside double quotes.
fn split_unquoted(text: &str, separator: char) -> (&str, &str) {
    let (mut quoted, mut escaped) = (false, false);
    for (at, character) in text.char_indices() {
        match character {
            _ if escaped => escaped = false,
            '\\' if quoted => escaped = true,
            '"' => quoted = !quoted,
            _ if character == separator && !quoted => {
                return (&text[..at], &text[at + character.len_utf8()..]);
            }
            _ => {}
        }
    }
    (text, "")
}

fn text<'h>(headers: &'h HeaderMap, name: &HeaderName) -> Option<&'h str> {
    headers.get(name)?.to_str().ok()
}

#[cfg(test)]
mod tests;
