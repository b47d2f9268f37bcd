//! Brings in the documents of one feed, from the network or from disk.

use super::decision::error_chain;
use super::settings::{Feed, Settings};
use crate::catalogue::Part;
use crate::feeds::decode::{Context, decode, decode_links};
use crate::feeds::http::{
    Body, Document, Expects, FetchFault, Fetcher, Freshness, Outcome, Reason, Request, Spool,
    SpoolFault, Validators,
};
use crate::feeds::source::{
    Access, Location, MachineKeeper, NextPage, PartKeys, SecretFault, Target,
};
use chrono::{DateTime, Utc};
use std::ops::ControlFlow;
use std::path::{Path, PathBuf};
use url::Url;

/// What came of asking for a feed.
pub enum Gathered {
    Documents(Documents),
    /// With what to remember for the next poll.
    Unchanged(String),
    Failed(String),
}

/// Everything that a feed consists of.
pub struct Documents {
    pub pages: Vec<Page>,
    /// False when a page could not be had, so that what it lists is not missing.
    pub is_complete: bool,
    pub notes: Vec<String>,
    /// What to remember for asking only for news.
    pub memory: Option<String>,
}

/// One body with what is known of it.
pub struct Page {
    pub body: Body,
    pub content_type: Option<String>,
    pub address: Option<String>,
    /// The keys of the part that it was asked for.
    pub wanted: Vec<String>,
}

/// Brings in every document of a feed.
pub async fn gather(
    settings: &Settings,
    fetcher: &Fetcher,
    feed: &Feed,
    memory: Option<&str>,
    now: DateTime<Utc>,
) -> Gathered {
    let limit = feed.source.limits.body_bytes;
    match &feed.source.location {
        Location::File(path) => {
            files(&settings.directory.join(path), limit).unwrap_or_else(Gathered::Failed)
        }
        Location::StandardInput => {
            let body = Body::of_reader(std::io::stdin(), Spool::new(limit, None));
            body.map(|body| on_disk(vec![body]))
                .unwrap_or_else(|fault| Gathered::Failed(spooling(&fault)))
        }
        Location::Pages(_) | Location::PerPart { .. } | Location::Index { .. } => {
            let keeper = MachineKeeper {
                directory: settings.directory.clone(),
            };
            let asked = Access::open(&feed.source, &keeper).and_then(|access| {
                let parts = settings.catalogue.parts.values().map(keys);
                Ok((access, feed.source.location.targets(parts, &keeper)?))
            });
            match asked {
                Ok((access, targets)) => {
                    let round = Round {
                        settings,
                        fetcher,
                        feed,
                        access: &access,
                        now,
                    };
                    round.run(targets, memory).await
                }
                Err(fault) => Gathered::Failed(secret(&fault)),
            }
        }
    }
}

fn keys(part: &Part) -> PartKeys<'_> {
    PartKeys {
        part: part.id.as_str(),
        mpn: part.mpns.first().map(String::as_str),
        // The addresses of shops carry the digits of the package; that text is not kept.
        gtin: None,
    }
}

fn secret(fault: &SecretFault) -> String {
    error_chain(fault)
}

fn spooling(fault: &SpoolFault) -> String {
    match fault {
        SpoolFault::TooLarge => "the body is larger than `body_limit_mb` allows".to_owned(),
        SpoolFault::Disk(error) => error.to_string(),
    }
}

fn on_disk(bodies: Vec<Body>) -> Gathered {
    let page = |body| Page {
        body,
        content_type: None,
        address: None,
        wanted: Vec::new(),
    };
    Gathered::Documents(Documents {
        pages: bodies.into_iter().map(page).collect(),
        is_complete: true,
        notes: Vec::new(),
        memory: None,
    })
}

/// A file, or every file of a directory in the order of their names.
fn files(path: &Path, limit: u64) -> Result<Gathered, String> {
    let named = |path: &Path, error: String| format!("{}: {error}", path.display());
    let paths: Vec<PathBuf> = if path.is_dir() {
        let entries = std::fs::read_dir(path).map_err(|error| named(path, error.to_string()))?;
        let mut paths: Vec<PathBuf> = entries
            .filter_map(|entry| Some(entry.ok()?.path()))
            .filter(|path| path.is_file())
            .collect();
        paths.sort();
        paths
    } else {
        vec![path.to_owned()]
    };
    let bodies: Result<Vec<Body>, String> = paths
        .iter()
        .map(|path| Body::of_file(path, limit).map_err(|fault| named(path, spooling(&fault))))
        .collect();
    Ok(on_disk(bodies?))
}

/// One round of requests for one feed.
struct Round<'r> {
    settings: &'r Settings,
    fetcher: &'r Fetcher,
    feed: &'r Feed,
    access: &'r Access,
    now: DateTime<Utc>,
}

impl Round<'_> {
    async fn run(&self, targets: Vec<Target>, memory: Option<&str>) -> Gathered {
        if let Location::Index { limit, .. } = self.feed.source.location {
            return self.run_index(targets, limit).await;
        }
        let paging = &self.feed.source.paging;
        let is_single = targets.len() == 1 && paging.next == NextPage::None;
        if let ([target], true) = (targets.as_slice(), is_single) {
            let known: Option<Validators> = memory.and_then(|text| serde_json::from_str(text).ok());
            return match self.fetch(&target.url, known.as_ref()).await {
                Outcome::Fresh(document) => {
                    let memory = serde_json::to_string(&document.validators).ok();
                    let mut documents = self.documents(vec![(target.clone(), *document)]);
                    documents.memory = memory;
                    Gathered::Documents(documents)
                }
                Outcome::Unchanged { validators, .. } => {
                    Gathered::Unchanged(serde_json::to_string(&validators).unwrap_or_default())
                }
                Outcome::Failed(fault) => Gathered::Failed(fault.to_string()),
            };
        }
        self.fetch_all(targets).await
    }

    async fn run_index(&self, targets: Vec<Target>, limit: usize) -> Gathered {
        let Some(index) = targets.first() else {
            return Gathered::Failed("the index has no address".to_owned());
        };
        let document = match self.fetch(&index.url, None).await {
            Outcome::Fresh(document) => document,
            Outcome::Unchanged { .. } => {
                return Gathered::Failed("the index answered \"unchanged\" unasked".to_owned());
            }
            Outcome::Failed(fault) => return Gathered::Failed(fault.to_string()),
        };
        let mut pages = vec![self.page(
            Target {
                url: index.url.clone(),
                part: None,
            },
            *document,
        )];
        let page = &mut pages[0];
        let context = Context {
            content_type: page.content_type.as_deref(),
            address: page.address.as_deref(),
            ..Context::default()
        };
        let links = match page.body.open() {
            Ok(mut body) => decode_links(&self.feed.format, &mut body, &context),
            Err(error) => return Gathered::Failed(error.to_string()),
        };
        let links = match links {
            Ok(links) => links,
            Err(fault) => return Gathered::Failed(error_chain(&fault)),
        };
        let urls: Vec<Url> = links
            .iter()
            .filter_map(|link| Url::parse(link).ok())
            .collect();
        if urls.is_empty() {
            return Gathered::Failed("the index page has no link that `links` selects".to_owned());
        }
        let left = urls.len().saturating_sub(limit);
        let targets = urls
            .into_iter()
            .take(limit)
            .map(|url| Target { url, part: None })
            .collect();
        let mut gathered = self.fetch_all(targets).await;
        if let (Gathered::Documents(documents), 1..) = (&mut gathered, left) {
            documents
                .notes
                .push(format!("{left} links beyond `limit` were not followed"));
        }
        gathered
    }

    /// Fetches documents one after another, each with the pages that follow it.
    async fn fetch_all(&self, targets: Vec<Target>) -> Gathered {
        let mut fetched = Vec::new();
        let mut notes = Vec::new();
        let (mut is_complete, mut first_fault) = (true, None);
        for target in targets {
            match self.fetch_with_next(target, &mut fetched).await {
                Ok(()) => {}
                Err(fault) => {
                    // A page that is gone takes its own offer along; any other failure says
                    // nothing of what the page would have listed.
                    is_complete &= matches!(
                        fault.reason,
                        Reason::Gone { .. } | Reason::NotFoundPage { .. }
                    );
                    notes.push(fault.to_string());
                    first_fault.get_or_insert(fault);
                }
            }
        }
        if let (Some(fault), true) = (&first_fault, fetched.is_empty()) {
            return Gathered::Failed(fault.to_string());
        }
        let mut documents = self.documents(fetched);
        documents.is_complete &= is_complete;
        documents.notes.extend(notes);
        Gathered::Documents(documents)
    }

    async fn fetch_with_next(
        &self,
        target: Target,
        fetched: &mut Vec<(Target, Document)>,
    ) -> Result<(), FetchFault> {
        let paging = &self.feed.source.paging;
        let mut url = match &paging.next {
            NextPage::Parameter { name, first } => with_parameter(&target.url, name, *first),
            _ => target.url.clone(),
        };
        for number in 1..=paging.limit {
            let mut document = match self.fetch(&url, None).await {
                Outcome::Fresh(document) => *document,
                Outcome::Unchanged { .. } => return Ok(()),
                Outcome::Failed(fault) => return Err(fault),
            };
            let next = match &paging.next {
                NextPage::None => None,
                NextPage::LinkHeader => document.link_next.clone(),
                NextPage::Body => self.look_ahead(&mut document).1,
                NextPage::Parameter { name, first } => {
                    let has_records = self.look_ahead(&mut document).0 > 0;
                    has_records.then(|| with_parameter(&target.url, name, first + number))
                }
            };
            fetched.push((
                Target {
                    url: url.clone(),
                    part: target.part.clone(),
                },
                document,
            ));
            match next {
                Some(next) if next != url => url = next,
                _ => break,
            }
        }
        Ok(())
    }

    /// How many records a page has, and where it says that the list goes on.
    fn look_ahead(&self, document: &mut Document) -> (u64, Option<Url>) {
        let address = document.final_url.clone();
        let context = Context {
            content_type: document.content_type.as_deref(),
            address: Some(address.as_str()),
            body_limit: self.feed.source.limits.body_bytes,
            ..Context::default()
        };
        let Ok(mut body) = document.body.open() else {
            return (0, None);
        };
        let summary = decode(&self.feed.format, &mut body, &context, &mut |_| {
            ControlFlow::Continue(())
        });
        // A page that cannot be decoded fails the poll when it is taken in.
        let summary = summary.unwrap_or_default();
        (
            summary.records,
            summary.next_page.and_then(|next| address.join(&next).ok()),
        )
    }

    async fn fetch(&self, url: &Url, known: Option<&Validators>) -> Outcome {
        let expects = if self.feed.format.format == "html" {
            Expects::WebPage
        } else {
            Expects::Data
        };
        let request = Request {
            url,
            access: self.access,
            known,
            expects,
            freshness: Freshness::Respected,
            now: self.now,
        };
        self.fetcher.fetch(&request).await
    }

    fn documents(&self, fetched: Vec<(Target, Document)>) -> Documents {
        let mut notes = Vec::new();
        for (_, document) in &fetched {
            if let Some(moved_to) = &document.moved_to {
                notes.push(format!(
                    "the document has moved to {moved_to}; update the feed's address"
                ));
            }
        }
        notes.dedup();
        let pages = fetched
            .into_iter()
            .map(|(target, document)| self.page(target, document));
        Documents {
            pages: pages.collect(),
            is_complete: true,
            notes,
            memory: None,
        }
    }

    fn page(&self, target: Target, document: Document) -> Page {
        let part = target.part.as_deref();
        let part = part.and_then(|id| {
            self.settings
                .catalogue
                .parts
                .values()
                .find(|part| part.id.as_str() == id)
        });
        let wanted = part.map_or_else(Vec::new, |part| {
            let gtins = part.gtins.iter().map(ToString::to_string);
            gtins.chain(part.mpns.iter().cloned()).collect()
        });
        Page {
            body: document.body,
            content_type: document.content_type,
            address: Some(document.final_url.to_string()),
            wanted,
        }
    }
}

fn with_parameter(url: &Url, name: &str, value: u32) -> Url {
    let kept: Vec<(String, String)> = url
        .query_pairs()
        .filter(|(key, _)| key != name)
        .map(|(key, value)| (key.into_owned(), value.into_owned()))
        .collect();
    let mut paged = url.clone();
    paged
        .query_pairs_mut()
        .clear()
        .extend_pairs(kept)
        .append_pair(name, &value.to_string());
    paged
}
