//! The fetch itself: address, turn, permit, request, redirects, status, body, page.

use super::body::Body;
use super::exchange::{AtLimit, Ended, TimeLeft, read_body, send};
use super::fault::{FetchFault, Reason, Wall};
use super::headers::{link_next, retry_after};
use super::identity::Identity;
use super::page::{Expects, LOOKED_AT_BYTES, inspect};
use super::redirect::{Trail, is_redirect};
use super::transport::{Names, Transport, TransportFault};
use super::validators::Validators;
use crate::feeds::address::Origin;
use crate::feeds::politeness::{Hosts, Turn};
use crate::feeds::robots::Standings;
use crate::feeds::source::Access;
use chrono::{DateTime, Utc};
use reqwest::header::{
    ACCEPT, ACCEPT_ENCODING, CACHE_CONTROL, CONTENT_TYPE, HeaderMap, HeaderValue,
};
use reqwest::{Response, StatusCode};
use rustls::pki_types::CertificateDer;
use std::path::PathBuf;
use std::sync::Mutex;
use std::time::Duration;
use tokio::time::Instant;
use url::Url;

/// Fetches documents for all feeds, politely to each host.
pub struct Fetcher {
    pub(super) transport: Transport,
    pub(super) hosts: Hosts,
    pub(super) standings: Mutex<Standings>,
    pub(super) spool_directory: Option<PathBuf>,
}

/// What a fetcher needs to know of the program around it.
#[derive(Debug, Clone)]
pub struct FetcherOptions {
    pub identity: Identity,
    /// Trusted beside the system's certificate authorities.
    pub extra_roots: Vec<CertificateDer<'static>>,
    /// Where large bodies are kept while they are read; the system's own place when `None`.
    pub spool_directory: Option<PathBuf>,
}

/// One document to ask for.
#[derive(Debug, Clone, Copy)]
pub struct Request<'a> {
    pub url: &'a Url,
    pub access: &'a Access,
    /// What the last good answer left, for asking only for what is new. Leave it out for a
    /// document of several pages, whose later pages an unchanged first one would not name.
    pub known: Option<&'a Validators>,
    pub expects: Expects,
    pub freshness: Freshness,
    /// The instant at which the fetch begins.
    pub now: DateTime<Utc>,
}

/// Whether an answer that is still fresh is asked for again.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Freshness {
    Respected,
    /// A person wants to see what is there.
    Ignored,
}

/// What a fetch came to.
#[derive(Debug)]
pub enum Outcome {
    Fresh(Box<Document>),
    /// The offers of the last good answer count as seen now.
    Unchanged {
        validators: Validators,
        why: Unchanged,
    },
    Failed(FetchFault),
}

/// How it is known that nothing changed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Unchanged {
    /// The server said so.
    NotModified,
    /// The last answer is still fresh, so nobody was asked.
    StillFresh,
    /// The server sent the same bytes again.
    SameBytes,
}

/// A whole answer.
#[derive(Debug)]
pub struct Document {
    pub body: Body,
    /// As the server said it.
    pub content_type: Option<String>,
    pub validators: Validators,
    /// Where the answer came from. May hold a secret: show it through the feed's mask.
    pub final_url: Url,
    /// Where the document has moved for good, masked: the author should update the setting.
    pub moved_to: Option<String>,
    /// The next page by the answer's `Link` header.
    pub link_next: Option<Url>,
    pub ended: Ended,
}

/// The rest of a host that answers 429 and does not say how long.
const DEFAULT_REST: Duration = Duration::from_secs(60);

impl Fetcher {
    /// # Errors
    /// TLS cannot be set up.
    pub fn new(options: FetcherOptions) -> Result<Fetcher, TransportFault> {
        Fetcher::make(options, None)
    }

    /// One that asks these names and not the system's name servers.
    ///
    /// # Errors
    /// TLS cannot be set up.
    pub fn with_names(options: FetcherOptions, names: Names) -> Result<Fetcher, TransportFault> {
        Fetcher::make(options, Some(names))
    }

    fn make(options: FetcherOptions, names: Option<Names>) -> Result<Fetcher, TransportFault> {
        Ok(Fetcher {
            transport: Transport::new(options.identity, &options.extra_roots, names)?,
            hosts: Hosts::default(),
            standings: Mutex::default(),
            spool_directory: options.spool_directory,
        })
    }

    /// Whether a host's name has an address now. Nobody but name servers is asked.
    pub async fn resolves(&self, host: &str) -> bool {
        self.transport.resolves(host).await
    }

    /// The hosts that this fetcher asks, for remembering their rests between runs.
    pub fn hosts(&self) -> &Hosts {
        &self.hosts
    }

    /// Fetches one document. Dropping the future gives everything up at once.
    pub async fn fetch(&self, request: &Request<'_>) -> Outcome {
        if let (Some(known), Freshness::Respected) = (request.known, request.freshness)
            && known.is_fresh(request.url, request.now)
        {
            let (validators, why) = (known.clone(), Unchanged::StillFresh);
            return Outcome::Unchanged { validators, why };
        }
        let limit = request.access.limits.redirects;
        let mut trail = Trail::new(request.url.clone(), limit);
        let mut fetch = Fetch {
            fetcher: self,
            request,
            time: TimeLeft::new(request.access.limits.total),
            begun: Instant::now(),
            rest: None,
            is_unconditional: false,
        };
        fetch.run(&mut trail).await.unwrap_or_else(|reason| {
            let mask = &request.access.mask;
            Outcome::Failed(FetchFault {
                address: mask.url(request.url),
                chain: trail.hops().iter().map(|hop| mask.url(hop)).collect(),
                reason,
                retry_after: fetch.rest,
            })
        })
    }
}

/// One fetch under way.
struct Fetch<'f> {
    fetcher: &'f Fetcher,
    request: &'f Request<'f>,
    time: TimeLeft,
    begun: Instant,
    rest: Option<Duration>,
    /// Set after a 304 that nobody asked for.
    is_unconditional: bool,
}

impl Fetch<'_> {
    async fn run(&mut self, trail: &mut Trail) -> Result<Outcome, Reason> {
        let access = self.request.access;
        access
            .check(trail.current())
            .map_err(|refusal| Reason::AddressRefused { refusal })?;
        let mut held: Option<(String, Turn)> = None;
        loop {
            let url = trail.current().clone();
            let authority = Origin::of(&url)
                .map(|origin| origin.authority())
                .unwrap_or_default();
            self.check_rest(&authority)?;
            if let Some(verdict) = self.fetcher.known_permit(&url, self.now()) {
                verdict?;
            }
            let mut turn = self.turn(held.take(), &authority).await;
            // The one before may have learnt that the host wants rest.
            self.check_rest(&authority)?;
            self.fetcher
                .permit(&url, access, self.now(), &mut turn)
                .await?;
            self.check_rest(&authority)?;
            let asked = self.now();
            let response = self.send(&url).await?;
            let status = response.status();
            if is_redirect(status) {
                trail.follow(status, response.headers(), access)?;
                held = Some((authority, turn));
                continue;
            }
            if status == StatusCode::NOT_MODIFIED {
                match self.not_modified(&url, &response, asked) {
                    Some(outcome) => return Ok(outcome),
                    None => {
                        held = Some((authority, turn));
                        continue;
                    }
                }
            }
            self.note_rest(&authority, &response);
            check_status(status)?;
            return self.take(response, trail, asked).await;
        }
    }

    /// Keeps the turn for a step on the same host, and gives it back before waiting for another.
    async fn turn(&self, held: Option<(String, Turn)>, authority: &str) -> Turn {
        match held {
            Some((host, turn)) if host == authority => turn,
            other => {
                drop(other);
                let pause = self.request.access.minimum_interval;
                self.fetcher.hosts.turn(authority, pause).await
            }
        }
    }

    async fn send(&mut self, url: &Url) -> Result<Response, Reason> {
        let headers = self.headers(url);
        let access = self.request.access;
        let reach = self.fetcher.reach(access, url);
        let transport = &self.fetcher.transport;
        let sent = send(
            transport,
            url,
            &headers,
            &access.limits,
            reach,
            &mut self.time,
        );
        sent.await.map_err(|reason| match reason {
            // A library's words may repeat the address.
            Reason::Protocol { cause } => Reason::Protocol {
                cause: access.mask.hide(&cause),
            },
            Reason::Broken { cause } => Reason::Broken {
                cause: access.mask.hide(&cause),
            },
            other => other,
        })
    }

    fn headers(&self, url: &Url) -> HeaderMap {
        let mut headers = HeaderMap::new();
        let accept = match self.request.expects {
            Expects::Data => "*/*",
            Expects::WebPage => "text/html,application/xhtml+xml,*/*;q=0.8",
        };
        headers.insert(ACCEPT, HeaderValue::from_static(accept));
        headers.insert(ACCEPT_ENCODING, HeaderValue::from_static("gzip"));
        if self.request.access.carries_headers_to(url) {
            headers.extend(self.request.access.headers.clone());
        }
        if self.is_unconditional {
            headers.insert(CACHE_CONTROL, HeaderValue::from_static("no-cache"));
        } else if let Some(known) = self.request.known {
            headers.extend(known.conditions(url));
        }
        headers
    }

    /// What a 304 means; `None` when it answers a question that was not asked.
    fn not_modified(
        &mut self,
        url: &Url,
        response: &Response,
        asked: DateTime<Utc>,
    ) -> Option<Outcome> {
        let known = self
            .request
            .known
            .filter(|known| !known.conditions(url).is_empty());
        match known {
            Some(known) if !self.is_unconditional => Some(Outcome::Unchanged {
                validators: known.renewed(response.headers(), asked, self.now()),
                why: Unchanged::NotModified,
            }),
            _ if self.is_unconditional => Some(Outcome::Failed(FetchFault {
                address: self.request.access.mask.url(url),
                chain: Vec::new(),
                reason: Reason::Status {
                    status: 304,
                    text: "although the whole document was asked for".to_owned(),
                },
                retry_after: None,
            })),
            _ => {
                self.is_unconditional = true;
                None
            }
        }
    }

    async fn take(
        &mut self,
        response: Response,
        trail: &Trail,
        asked: DateTime<Utc>,
    ) -> Result<Outcome, Reason> {
        let access = self.request.access;
        let url = trail.current();
        let headers = response.headers().clone();
        let answered = self.now();
        let spool = self.fetcher.spool_directory.clone();
        let limits = &access.limits;
        let read = read_body(response, limits, AtLimit::Fail, spool, &mut self.time);
        let (mut body, ended) = read.await?;
        inspect(&body.head(LOOKED_AT_BYTES), self.request.expects)?;
        let mut validators = Validators::of_answer(url, &headers, body.digest(), asked, answered);
        let known = self.request.known;
        if let Some(known) = known.filter(|known| known.is_same_body(&validators)) {
            validators.document_date = known.document_date;
            let why = Unchanged::SameBytes;
            return Ok(Outcome::Unchanged { validators, why });
        }
        let content_type = headers.get(CONTENT_TYPE);
        Ok(Outcome::Fresh(Box::new(Document {
            content_type: content_type
                .map(|value| String::from_utf8_lossy(value.as_bytes()).into_owned()),
            body,
            validators,
            link_next: link_next(&headers, url),
            moved_to: trail.moved_to().map(|url| access.mask.url(url)),
            final_url: url.clone(),
            ended,
        })))
    }

    /// Remembers for the whole host that it wants to be left alone.
    fn note_rest(&mut self, authority: &str, response: &Response) {
        let status = response.status().as_u16();
        if !matches!(status, 413 | 429 | 503) {
            return;
        }
        let asked = retry_after(response.headers(), self.now());
        self.rest = asked;
        let rest = asked.or((status == 429).then_some(DEFAULT_REST));
        if let Some(rest) = rest.filter(|rest| !rest.is_zero()) {
            self.fetcher.hosts.rest(authority, self.now() + rest);
        }
    }

    fn check_rest(&mut self, authority: &str) -> Result<(), Reason> {
        let now = self.now();
        let Some(until) = self.fetcher.hosts.rests_until(authority, now) else {
            return Ok(());
        };
        self.rest = (until - now).to_std().ok();
        Err(Reason::HostResting { until })
    }

    /// The instant now, by the time that has passed since the fetch began.
    fn now(&self) -> DateTime<Utc> {
        self.request.now + self.begun.elapsed()
    }
}

fn check_status(status: StatusCode) -> Result<(), Reason> {
    let number = status.as_u16();
    match number {
        200 | 203 => Ok(()),
        401 | 403 | 407 | 451 => Err(Reason::Blocked {
            wall: Wall::Status { status: number },
        }),
        404 | 410 => Err(Reason::Gone { status: number }),
        _ => Err(Reason::Status {
            status: number,
            text: status.canonical_reason().unwrap_or_default().to_owned(),
        }),
    }
}
