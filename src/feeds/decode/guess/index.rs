//! A first look at a page that has no offers itself: does it lead to pages that do?
//!
//! Links to the pages of one shop's offers look alike. They share the beginning of their address,
//! or else a class; whatever most of the page's links share is proposed.

use super::{Guess, quoted};
use crate::feeds::decode::html::links_of;
use crate::feeds::decode::layers::Context;
use std::collections::{BTreeMap, BTreeSet};
use url::Url;

/// Fewer links that look alike are navigation. Common practice, no source.
const LINKS_LEAST: usize = 6;
/// What is proposed as `limit`, unless the page has more links.
const LIMIT: usize = 100;

/// A link of the page, as it is written.
pub(in crate::feeds::decode) struct Link {
    pub address: String,
    pub classes: Vec<String>,
}

/// Settings for an index page; `None` when its links do not look alike.
pub(super) fn look(page: &str, context: &Context<'_>) -> Option<Guess> {
    let base = context.address.and_then(|address| Url::parse(address).ok());
    let links = links_of(page)?;
    let own = links
        .iter()
        .filter(|link| is_on_site(&link.address, base.as_ref()));
    let mut groups: BTreeMap<String, BTreeSet<&str>> = BTreeMap::new();
    for link in own {
        let prefix = shared_prefix(&link.address).map(|prefix| format!("a[href^='{prefix}']"));
        let classes = link.classes.iter().filter(|class| is_plain(class));
        for selector in prefix
            .into_iter()
            .chain(classes.map(|class| format!("a.{class}")))
        {
            groups.entry(selector).or_default().insert(&link.address);
        }
    }
    // Of equals, the beginning of an address: it says what is linked, a class how it looks.
    let (selector, addresses) = groups.iter().max_by_key(|(selector, addresses)| {
        (addresses.len(), selector.starts_with("a["), selector.len())
    })?;
    let n_links = addresses.len();
    if n_links < LINKS_LEAST {
        return None;
    }
    let first = addresses.first().copied().unwrap_or_default();
    let limit = LIMIT.max(n_links.next_multiple_of(LIMIT));
    Some(Guess {
        toml: format!(
            "format = \"html\"\nlinks = {}\nlimit = {limit}\n",
            quoted(selector)
        ),
        reasons: vec![format!(
            "the page has no offers itself, and {n_links} links that look alike, such as {first}; \
             each is followed one step"
        )],
        is_index: true,
    })
}

fn is_on_site(address: &str, base: Option<&Url>) -> bool {
    let address = address.trim();
    if address.is_empty() || address.starts_with('#') {
        return false;
    }
    match (Url::parse(address), base) {
        (Ok(url), Some(base)) => url.origin() == base.origin(),
        (Ok(url), None) => matches!(url.scheme(), "http" | "https"),
        // Relative, so on this site wherever that is.
        (Err(_), _) => true,
    }
}

/// The beginning that an address shares with its like: its folder, or all before the value of
/// its query. The top folder says nothing.
fn shared_prefix(address: &str) -> Option<&str> {
    let (path, query) = match address.split_once('?') {
        Some((path, query)) => (path, Some(query)),
        None => (address.split('#').next().unwrap_or(address), None),
    };
    let prefix = match query {
        Some(query) => &address[..path.len() + 1 + query.find('=')? + 1],
        None => &path[..path.trim_end_matches('/').rfind('/')? + 1],
    };
    let is_top =
        Url::parse(prefix).map_or(prefix == "/", |url| url.path() == "/" && query.is_none());
    let is_safe = prefix
        .chars()
        .all(|c| c.is_ascii_graphic() && !matches!(c, '\'' | '"' | '\\'));
    (!is_top && is_safe).then_some(prefix)
}

/// A class that can stand in a selector as it is.
fn is_plain(class: &str) -> bool {
    class.starts_with(|c: char| c.is_ascii_alphabetic())
        && class
            .chars()
            .all(|c| c.is_ascii_alphanumeric() || matches!(c, '-' | '_'))
}
