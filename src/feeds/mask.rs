//! Keeps secrets out of messages, logs and notices.
//!
//! Every text that may hold an address or a server's words goes through a feed's [`Mask`] before
//! anyone sees it. It hides the secrets that the settings name, and what looks like one.

use super::source::Secret;
use percent_encoding::{NON_ALPHANUMERIC, utf8_percent_encode};
use url::Url;

/// What stands in place of a secret.
const HIDDEN: &str = "***";

/// Query parameters whose values are hidden, by a part of their name. Common practice, no source.
const TELLING_NAMES: &[&str] = &[
    "auth",
    "credential",
    "key",
    "pass",
    "pwd",
    "secret",
    "session",
    "sig",
    "token",
];

/// The secrets of one feed.
#[derive(Clone, Default)]
pub struct Mask {
    /// As written and percent-encoded, longest first, so that no tail of a longer one remains.
    texts: Vec<String>,
}

impl Mask {
    pub fn new(secrets: impl IntoIterator<Item = Secret>) -> Mask {
        let mut texts: Vec<String> = secrets
            .into_iter()
            .flat_map(|secret| {
                let text = secret.reveal().trim().to_owned();
                let encoded = utf8_percent_encode(&text, NON_ALPHANUMERIC).to_string();
                // The URL parser leaves some characters bare that the strict encoding replaces.
                let in_query: String =
                    url::form_urlencoded::byte_serialize(text.as_bytes()).collect();
                [text, encoded, in_query]
            })
            .filter(|text| !text.is_empty())
            .collect();
        texts.sort_by_key(|text| (std::cmp::Reverse(text.len()), text.clone()));
        texts.dedup();
        Mask { texts }
    }

    /// A text without the feed's secrets.
    pub fn hide(&self, text: &str) -> String {
        self.texts
            .iter()
            .fold(text.to_owned(), |text, secret| text.replace(secret, HIDDEN))
    }

    /// An address fit to be shown: no user, no password, no secret, no value that looks like one.
    pub fn url(&self, url: &Url) -> String {
        let mut shown = format!("{}://", url.scheme());
        shown.push_str(url.host_str().unwrap_or_default());
        if let Some(port) = url.port() {
            shown.push_str(&format!(":{port}"));
        }
        let segments: Vec<&str> = url.path().split('/').map(hide_segment).collect();
        shown.push_str(&segments.join("/"));
        if let Some(query) = url.query() {
            let pairs: Vec<String> = query.split('&').map(hide_pair).collect();
            shown.push('?');
            shown.push_str(&pairs.join("&"));
        }
        self.hide(&shown)
    }
}

impl std::fmt::Debug for Mask {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "Mask({} texts)", self.texts.len())
    }
}

fn hide_pair(pair: &str) -> String {
    match pair.split_once('=') {
        Some((name, value)) => {
            let lower = name.to_ascii_lowercase();
            let telling = TELLING_NAMES.iter().any(|telling| lower.contains(telling));
            let value = if telling { HIDDEN } else { hide_segment(value) };
            format!("{name}={value}")
        }
        None => hide_segment(pair).to_owned(),
    }
}

/// Hides a piece of an address that looks random: long, one run, letters mixed with digits.
fn hide_segment(segment: &str) -> &str {
    let one_run = segment.bytes().all(|byte| byte.is_ascii_alphanumeric());
    let uuid = segment.len() == 36
        && segment
            .bytes()
            .all(|byte| byte.is_ascii_hexdigit() || byte == b'-');
    let digits = segment.bytes().filter(u8::is_ascii_digit).count();
    let letters = segment.bytes().filter(u8::is_ascii_alphabetic).count();
    if uuid || (one_run && segment.len() >= 20 && digits >= 2 && letters >= 4) {
        return HIDDEN;
    }
    segment
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_address_is_shown_without_its_secrets() {
        let mask = Mask::new([Secret::new("p@ss/wort"), Secret::new("s3cr3t")]);
        for (address, shown) in [
            (
                "https://shop.example/feed.csv",
                "https://shop.example/feed.csv",
            ),
            (
                "https://u:pw@shop.example:8443/f",
                "https://shop.example:8443/f",
            ),
            (
                "https://shop.example/f?format=csv&apiKey=abc",
                "https://shop.example/f?format=csv&apiKey=***",
            ),
            (
                "https://shop.example/f?id=p%40ss%2Fwort",
                "https://shop.example/f?id=***",
            ),
            (
                "https://shop.example/s3cr3t/f.xml",
                "https://shop.example/***/f.xml",
            ),
            (
                "https://shop.example/export/9f86d081884c7d659a2feaa0c55ad015/all.csv",
                "https://shop.example/export/***/all.csv",
            ),
            (
                "https://shop.example/123e4567-e89b-12d3-a456-426614174000",
                "https://shop.example/***",
            ),
            (
                "https://shop.example/graphics-cards-2026-spring/list",
                "https://shop.example/graphics-cards-2026-spring/list",
            ),
            (
                "https://shop.example/p/4006381333931",
                "https://shop.example/p/4006381333931",
            ),
        ] {
            assert_eq!(mask.url(&Url::parse(address).unwrap()), shown);
        }
    }

    #[test]
    fn a_servers_words_lose_the_secret_they_repeat() {
        let mask = Mask::new([Secret::new("abc"), Secret::new("abcdef")]);
        assert_eq!(
            mask.hide("key abcdef and abc refused"),
            "key *** and *** refused"
        );
        assert!(!format!("{mask:?}").contains("abc"));
    }
}
