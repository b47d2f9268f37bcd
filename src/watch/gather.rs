//! Brings in the documents of one feed, from the network or from disk.

use super::failure::Failure;
use super::remembering::{recall, remember};
use super::settings::{Feed, Settings};
use crate::catalogue::Part;
use crate::feeds::decode::{Context, decode, decode_links};
use crate::feeds::http::{
    Body, Document, Expects, FaultKind, FetchFault, Fetcher, Freshness, Outcome, Request,
    Validators,
};
use crate::feeds::local::{LocalDocument, read_files, read_input};
use crate::feeds::paging::{NextStep, PageFound, Pages};
use crate::feeds::source::{Access, Location, MachineKeeper, NextPage, PartKeys, Target};
use chrono::{DateTime, Utc};
use std::ops::ControlFlow;
use url::Url;

/// What came of asking for a feed.
pub enum Gathered {
    Documents(Documents),
    /// With what to remember for the next poll.
    Unchanged(String),
    Failed(Failure),
}

/// Everything that a feed consists of.
pub struct Documents {
    pub pages: Vec<Page>,
    /// False when a page could not be had, so that what it lists is not missing.
    pub is_complete: bool,
    pub notes: Vec<String>,
    /// What to remember for asking only for news.
    pub memory: Option<Box<Memory>>,
}

/// What a feed of one document leaves for the next poll, beside what was left for this one.
pub struct Memory {
    pub known: Option<Validators>,
    pub answered: Validators,
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
            let path = settings.directory.join(path);
            on_disk(blocking(move || read_files(&path, limit)).await)
        }
        Location::StandardInput => {
            let read = move || read_input(std::io::stdin(), limit, None).map(|one| vec![one]);
            on_disk(blocking(read).await)
        }
        Location::Pages(_) | Location::PerPart { .. } | Location::Index { .. } => {
            match ask(settings, feed) {
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
                Err(failure) => Gathered::Failed(failure),
            }
        }
    }
}

/// Reads from disk away from the threads that serve the network.
async fn blocking(
    read: impl FnOnce() -> Result<Vec<LocalDocument>, FetchFault> + Send + 'static,
) -> Result<Vec<LocalDocument>, Failure> {
    match tokio::task::spawn_blocking(read).await {
        Ok(documents) => Ok(documents?),
        Err(panic) => Err(Failure::local(panic.to_string())),
    }
}

fn on_disk(read: Result<Vec<LocalDocument>, Failure>) -> Gathered {
    let page = |document: LocalDocument| Page {
        body: document.body,
        content_type: None,
        address: None,
        wanted: Vec::new(),
    };
    match read {
        Ok(documents) => Gathered::Documents(Documents {
            pages: documents.into_iter().map(page).collect(),
            is_complete: true,
            notes: Vec::new(),
            memory: None,
        }),
        Err(failure) => Gathered::Failed(failure),
    }
}

/// Opens the secrets and lists the addresses of a feed.
fn ask(settings: &Settings, feed: &Feed) -> Result<(Access, Vec<Target>), Failure> {
    let keeper = MachineKeeper {
        directory: settings.directory.clone(),
    };
    let gtins: Vec<Option<String>> = settings
        .catalogue
        .parts
        .values()
        .map(printed_gtin)
        .collect();
    let parts = settings
        .catalogue
        .parts
        .values()
        .zip(&gtins)
        .map(|(part, gtin)| PartKeys {
            part: part.id.as_str(),
            mpn: part.mpns.first().map(String::as_str),
            gtin: gtin.as_deref(),
        });
    let opened = Access::open(&feed.source, &keeper);
    let asked = opened.and_then(|access| {
        let targets = feed.source.location.targets(parts, &keeper)?;
        Ok((access, targets))
    });
    asked.map_err(|fault| Failure::local(super::decision::error_chain(&fault)))
}

/// A GTIN as shops write it in addresses: thirteen digits where it has no more.
fn printed_gtin(part: &Part) -> Option<String> {
    let digits = part.gtins.first()?.to_string();
    Some(digits.strip_prefix('0').unwrap_or(&digits).to_owned())
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
        let gathered = match self.feed.source.location {
            Location::Index { limit, .. } => self.run_index(targets, limit).await,
            _ => match targets.as_slice() {
                [target] if self.feed.source.paging.next == NextPage::None => {
                    self.fetch_single(target, memory).await
                }
                _ => self.fetch_all(targets).await.map(Gathered::Documents),
            },
        };
        gathered.unwrap_or_else(Gathered::Failed)
    }

    /// A document of one page is asked for only if it is new.
    async fn fetch_single(
        &self,
        target: &Target,
        memory: Option<&str>,
    ) -> Result<Gathered, Failure> {
        let known = memory.and_then(|text| recall(self.feed, text));
        match self.fetch(&target.url, known.as_ref()).await {
            Outcome::Fresh(document) => {
                let answered = document.validators.clone();
                let mut documents = self.documents(vec![(target.clone(), *document)]);
                documents.memory = Some(Box::new(Memory { known, answered }));
                Ok(Gathered::Documents(documents))
            }
            Outcome::Unchanged { validators, .. } => {
                let memory = remember(self.feed, validators).unwrap_or_default();
                Ok(Gathered::Unchanged(memory))
            }
            Outcome::Failed(fault) => Err(fault.into()),
        }
    }

    /// Follows the links of a page one step.
    async fn run_index(&self, targets: Vec<Target>, limit: usize) -> Result<Gathered, Failure> {
        let index = targets.into_iter().next();
        let index = index.ok_or_else(|| Failure::local("the index has no address"))?;
        let document = self.fetch_whole(&index.url).await?;
        let mut page = self.page(index, document);
        let context = Context {
            content_type: page.content_type.as_deref(),
            address: page.address.as_deref(),
            body_limit: self.feed.source.limits.body_bytes,
            ..Context::default()
        };
        let mut body = page
            .body
            .open()
            .map_err(|error| Failure::local(error.to_string()))?;
        let links = decode_links(&self.feed.format, &mut body, &context)?;
        let urls: Vec<Url> = links
            .iter()
            .filter_map(|link| Url::parse(link).ok())
            .collect();
        if urls.is_empty() {
            return Err(Failure::of_content(
                "the index page has no link that `links` selects",
            ));
        }
        let left = urls.len().saturating_sub(limit);
        let targets = urls
            .into_iter()
            .take(limit)
            .map(|url| Target { url, part: None })
            .collect();
        let mut documents = self.fetch_all(targets).await?;
        if left > 0 {
            // What stands behind the other links is unknown, not gone.
            documents.is_complete = false;
            documents
                .notes
                .push(format!("{left} links beyond `limit` were not followed"));
        }
        Ok(Gathered::Documents(documents))
    }

    /// Fetches documents one after another, each with the pages that follow it.
    async fn fetch_all(&self, targets: Vec<Target>) -> Result<Documents, Failure> {
        let mut fetched = Vec::new();
        let mut notes = Vec::new();
        let (mut is_complete, mut first_failure) = (true, None);
        for target in targets {
            match self.fetch_pages(target, &mut fetched).await {
                Ok(None) => {}
                Ok(Some(note)) => {
                    is_complete = false;
                    notes.push(note);
                }
                Err(fault) => {
                    // A page that is gone takes its own offers along; any other failure says
                    // nothing of what the page would have listed.
                    is_complete &= fault.kind() == FaultKind::Gone;
                    notes.push(fault.to_string());
                    first_failure.get_or_insert(Failure::from(fault));
                }
            }
        }
        match first_failure {
            Some(failure) if fetched.is_empty() => Err(failure),
            _ => {
                let mut documents = self.documents(fetched);
                documents.is_complete = is_complete;
                documents.notes.extend(notes);
                Ok(documents)
            }
        }
    }

    /// Fetches one document with its further pages; says what was left out.
    async fn fetch_pages(
        &self,
        target: Target,
        fetched: &mut Vec<(Target, Document)>,
    ) -> Result<Option<String>, FetchFault> {
        let paging = &self.feed.source.paging;
        let (mut pages, mut url) = Pages::begin(paging, &target.url);
        loop {
            let mut document = self.fetch_whole(&url).await?;
            let needs_look = matches!(paging.next, NextPage::Body | NextPage::Parameter { .. });
            let (records, body_next) = if needs_look {
                self.look_ahead(&mut document)
            } else {
                (1, None)
            };
            let found = PageFound {
                link_next: document.link_next.as_ref(),
                body_next: body_next.as_deref(),
                records,
                digest: document.body.digest(),
            };
            let step = pages.after(&document.final_url, &found, self.access);
            fetched.push((
                Target {
                    url,
                    part: target.part.clone(),
                },
                document,
            ));
            match step {
                NextStep::Fetch(next) => url = next,
                NextStep::Done => return Ok(None),
                NextStep::CutOff { limit } => {
                    return Ok(Some(format!(
                        "there are more pages than `page_limit` = {limit}"
                    )));
                }
                NextStep::Refused(refusal) => {
                    return Ok(Some(format!("the next page is not followed: {refusal}")));
                }
            }
        }
    }

    async fn fetch_whole(&self, url: &Url) -> Result<Document, FetchFault> {
        match self.fetch(url, None).await {
            Outcome::Fresh(document) => Ok(*document),
            Outcome::Failed(fault) => Err(fault),
            Outcome::Unchanged { .. } => Err(FetchFault {
                address: self.access.mask.url(url),
                chain: Vec::new(),
                reason: crate::feeds::http::Reason::Status {
                    status: 304,
                    text: "not modified, though nothing was known".to_owned(),
                },
                retry_after: None,
            }),
        }
    }

    /// How many records a page has, and where it says that the list goes on.
    fn look_ahead(&self, document: &mut Document) -> (u64, Option<String>) {
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
        let mut pass_over = |_| ControlFlow::Continue(());
        // A page that cannot be decoded fails the poll when it is taken in.
        let summary = decode(&self.feed.format, &mut body, &context, &mut pass_over);
        let summary = summary.unwrap_or_default();
        (summary.records, summary.next_page)
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
