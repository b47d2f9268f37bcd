//! From one page of a document to the next, within bounds.
//!
//! Pure. A document whose pages were not all read is incomplete: nothing in it counts as gone.

use super::address::Refusal;
use super::source::{Access, NextPage, Paging};
use std::collections::BTreeSet;
use url::Url;

/// The pages of one document as they are read.
#[derive(Debug)]
pub struct Pages<'s> {
    paging: &'s Paging,
    seen: BTreeSet<String>,
    last_digest: String,
    n_read: u32,
}

/// What the last page says of the next.
#[derive(Debug, Clone, Copy, Default)]
pub struct PageFound<'a> {
    /// By its `Link` header.
    pub link_next: Option<&'a Url>,
    /// By the decoder, relative to the page.
    pub body_next: Option<&'a str>,
    /// Records on the page.
    pub records: u64,
    /// The body's digest: a server may answer any number with its last page.
    pub digest: &'a str,
}

#[derive(Debug, Clone, PartialEq, Eq)]
pub enum NextStep {
    Fetch(Url),
    /// That was the last page.
    Done,
    /// There are more pages than the author allows.
    CutOff {
        limit: u32,
    },
    /// The next page's address is not one to follow.
    Refused(Refusal),
}

impl<'s> Pages<'s> {
    /// Begins a document, with the address of its first page.
    pub fn begin(paging: &'s Paging, url: &Url) -> (Pages<'s>, Url) {
        let first = match &paging.next {
            NextPage::Parameter { name, first } => with_parameter(url, name, *first),
            NextPage::None | NextPage::LinkHeader | NextPage::Body => url.clone(),
        };
        let pages = Pages {
            paging,
            seen: [first.to_string()].into(),
            last_digest: String::new(),
            n_read: 0,
        };
        (pages, first)
    }

    /// What to do after the page at `url` was read.
    pub fn after(&mut self, url: &Url, found: &PageFound<'_>, access: &Access) -> NextStep {
        self.n_read += 1;
        let next = match &self.paging.next {
            NextPage::None => None,
            NextPage::LinkHeader => found.link_next.cloned(),
            NextPage::Body => found
                .body_next
                .filter(|next| !next.trim().is_empty())
                .and_then(|next| url.join(next.trim()).ok()),
            NextPage::Parameter { name, first } => {
                let repeated = !found.digest.is_empty() && found.digest == self.last_digest;
                (found.records > 0 && !repeated)
                    .then(|| with_parameter(url, name, first.saturating_add(self.n_read)))
            }
        };
        found.digest.clone_into(&mut self.last_digest);
        let Some(mut next) = next else {
            return NextStep::Done;
        };
        next.set_fragment(None);
        if let Err(refusal) = access.check_step(url, &next) {
            return NextStep::Refused(refusal);
        }
        // A last page may name itself, or the first, as its next.
        if !self.seen.insert(next.to_string()) {
            return NextStep::Done;
        }
        let limit = self.paging.limit;
        if self.n_read >= limit {
            return NextStep::CutOff { limit };
        }
        NextStep::Fetch(next)
    }
}

/// The address with one query parameter set, the others as they stand.
fn with_parameter(url: &Url, name: &str, number: u32) -> Url {
    let mut pairs: Vec<&str> = url
        .query()
        .unwrap_or_default()
        .split('&')
        .filter(|pair| !pair.is_empty() && pair.split('=').next() != Some(name))
        .collect();
    let own: String = url::form_urlencoded::Serializer::new(String::new())
        .append_pair(name, &number.to_string())
        .finish();
    pairs.push(&own);
    let mut url = url.clone();
    url.set_query(Some(&pairs.join("&")));
    url
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::feeds::address::{Origin, PrivateAddresses};
    use crate::feeds::mask::Mask;
    use crate::feeds::source::Limits;

    fn access() -> Access {
        Access {
            headers: Default::default(),
            origins: Origin::of(&url("https://shop.example/"))
                .into_iter()
                .collect(),
            private_addresses: PrivateAddresses::OwnHostsOnly,
            limits: Limits::default(),
            minimum_interval: Default::default(),
            mask: Mask::default(),
        }
    }

    fn url(text: &str) -> Url {
        Url::parse(text).unwrap()
    }

    fn paging(next: NextPage, limit: u32) -> Paging {
        Paging { next, limit }
    }

    fn fetch(text: &str) -> NextStep {
        NextStep::Fetch(url(text))
    }

    #[test]
    fn a_page_parameter_counts_until_a_page_is_empty_or_repeats() {
        let name = "page".to_owned();
        let paging = paging(NextPage::Parameter { name, first: 0 }, 9);
        let (mut pages, first) =
            Pages::begin(&paging, &url("https://shop.example/l?page=7&q=a%20b"));
        assert_eq!(first, url("https://shop.example/l?q=a%20b&page=0"));
        let found = |records, digest| PageFound {
            records,
            digest,
            ..PageFound::default()
        };
        let second = pages.after(&first, &found(10, "x"), &access());
        assert_eq!(second, fetch("https://shop.example/l?q=a%20b&page=1"));
        let third = pages.after(&first, &found(10, "y"), &access());
        assert_eq!(third, fetch("https://shop.example/l?q=a%20b&page=2"));
        assert_eq!(
            pages.after(&first, &found(10, "y"), &access()),
            NextStep::Done
        );

        let (mut pages, first) = Pages::begin(&paging, &first);
        assert_eq!(
            pages.after(&first, &found(0, "x"), &access()),
            NextStep::Done
        );
    }

    #[test]
    fn links_are_followed_to_the_last_page_and_not_in_circles() {
        let paging = paging(NextPage::Body, 9);
        let (mut pages, first) = Pages::begin(&paging, &url("https://shop.example/l"));
        let step = |pages: &mut Pages<'_>, next| {
            let found = PageFound {
                body_next: next,
                ..PageFound::default()
            };
            pages.after(&first, &found, &access())
        };
        assert_eq!(
            step(&mut pages, Some(" ?p=2#top ")),
            fetch("https://shop.example/l?p=2")
        );
        assert_eq!(step(&mut pages, Some("l")), NextStep::Done);
        assert_eq!(step(&mut pages, Some("")), NextStep::Done);
        assert_eq!(step(&mut pages, None), NextStep::Done);
    }

    #[test]
    fn too_many_pages_are_cut_off_and_said_to_be() {
        let paging = paging(NextPage::LinkHeader, 2);
        let (mut pages, first) = Pages::begin(&paging, &url("https://shop.example/l"));
        let mut step = |number| {
            let next = url(&format!("https://shop.example/l?p={number}"));
            let found = PageFound {
                link_next: Some(&next),
                ..PageFound::default()
            };
            pages.after(&first, &found, &access())
        };
        assert_eq!(step(2), fetch("https://shop.example/l?p=2"));
        assert_eq!(step(3), NextStep::CutOff { limit: 2 });
    }

    // Pitfall H26, and no step down from https.
    #[test]
    fn a_next_page_in_the_wrong_place_is_refused() {
        let paging = paging(NextPage::Body, 9);
        for (next, refusal) in [
            ("http://shop.example/l?p=2", Refusal::Downgrade),
            (
                "file:///etc/passwd",
                Refusal::Scheme {
                    scheme: "file".to_owned(),
                },
            ),
            (
                "https://127.0.0.1/",
                Refusal::Private {
                    host: "127.0.0.1".to_owned(),
                },
            ),
        ] {
            let (mut pages, first) = Pages::begin(&paging, &url("https://shop.example/l"));
            let found = PageFound {
                body_next: Some(next),
                ..PageFound::default()
            };
            assert_eq!(
                pages.after(&first, &found, &access()),
                NextStep::Refused(refusal)
            );
        }
    }
}
