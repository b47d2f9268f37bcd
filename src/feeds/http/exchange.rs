//! One request and its answer, within limits, without following anything.

use super::body::{Body, Spool, SpoolFault};
use super::fault::{Phase, Reason};
use super::transport::{Reach, Transport, classify, connect_causes};
use crate::feeds::source::Limits;
use reqwest::Response;
use reqwest::header::{CONTENT_LENGTH, HeaderMap, TRANSFER_ENCODING};
use std::path::PathBuf;
use std::time::Duration;
use tokio::time::Instant;
use url::Url;

/// How the end of a body was known.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Ended {
    /// By its stated length, or its closing chunk.
    AsStated,
    /// The connection closed. A cut would look the same, so the decoder has to find the end.
    ByClose,
}

/// What happens at the limit of a body.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum AtLimit {
    Fail,
    /// Keep what fits; robots.txt is read up to a size.
    Cut,
}

/// What is left of a document's time. Waiting for one's turn is not counted.
#[derive(Debug, Clone, Copy)]
pub(super) struct TimeLeft {
    left: Duration,
    total: Duration,
}

impl TimeLeft {
    pub fn new(total: Duration) -> TimeLeft {
        TimeLeft { left: total, total }
    }

    /// Runs a step within what is left and within `limit`.
    async fn run<T>(
        &mut self,
        limit: Duration,
        phase: Phase,
        step: impl Future<Output = T>,
    ) -> Result<T, Reason> {
        let begun = Instant::now();
        let outcome = tokio::time::timeout(limit.min(self.left), step).await;
        self.left = self.left.saturating_sub(begun.elapsed());
        outcome.map_err(|_| match self.left.is_zero() {
            true => Reason::Timeout {
                phase: Phase::EndOfDocument,
                limit: self.total,
            },
            false => Reason::Timeout { phase, limit },
        })
    }
}

/// Sends a GET and waits for the head of the answer.
pub(super) async fn send(
    transport: &Transport,
    url: &Url,
    headers: &HeaderMap,
    limits: &Limits,
    reach: Reach,
    time: &mut TimeLeft,
) -> Result<Response, Reason> {
    if url.scheme() == "https" {
        transport.check_trust()?;
    }
    let client = transport.client(limits.connect, reach)?;
    let mut retried = false;
    loop {
        let request = client.get(url.clone()).headers(headers.clone()).send();
        // A name server's patience is part of the connect limit, an answer's wait of its own.
        let patience = limits.connect + limits.read;
        let error = match time.run(patience, Phase::Answer, request).await {
            Ok(Ok(response)) => return Ok(response),
            Ok(Err(error)) => error,
            Err(Reason::Timeout {
                phase: Phase::Answer,
                ..
            }) => {
                let limit = limits.read;
                return Err(Reason::Timeout {
                    phase: Phase::Answer,
                    limit,
                });
            }
            Err(reason) => return Err(reason),
        };
        match classify(&error, limits.connect) {
            // An idle connection may close in the moment it is used again.
            Reason::Broken { .. } if !retried => retried = true,
            Reason::Connect { causes } => {
                let host = url.host_str().unwrap_or_default();
                let port = url.port_or_known_default().unwrap_or(80);
                let each = connect_causes(transport, (host, port), reach).await;
                let causes = each.unwrap_or(causes);
                return Err(Reason::Connect { causes });
            }
            reason => return Err(reason),
        }
    }
}

/// Reads a body to its end.
pub(super) async fn read_body(
    mut response: Response,
    limits: &Limits,
    at_limit: AtLimit,
    directory: Option<PathBuf>,
    time: &mut TimeLeft,
) -> Result<(Body, Ended), Reason> {
    let expected = stated_length(response.headers());
    let limit_bytes = limits.body_bytes;
    let too_large = Reason::TooLarge { limit_bytes };
    if at_limit == AtLimit::Fail && expected.is_some_and(|expected| expected > limit_bytes) {
        return Err(too_large);
    }
    let chunked = response.headers().contains_key(TRANSFER_ENCODING);
    let ended = match expected.is_some() || chunked {
        true => Ended::AsStated,
        false => Ended::ByClose,
    };
    let mut spool = Spool::new(limit_bytes, directory);
    let whole = |spool: Spool| spool.finish().map_err(spool_reason(limit_bytes));
    loop {
        let step = time.run(limits.read, Phase::Bytes, response.chunk());
        let chunk = match step.await? {
            Ok(Some(chunk)) => chunk,
            Ok(None) => return Ok((whole(spool)?, ended)),
            Err(_) => {
                let received = spool.length();
                return Err(Reason::Truncated { received, expected });
            }
        };
        let room = limit_bytes - spool.length();
        match (at_limit, usize::try_from(room)) {
            (AtLimit::Cut, Ok(room)) if room < chunk.len() => {
                spool
                    .push(&chunk[..room])
                    .map_err(spool_reason(limit_bytes))?;
                return Ok((whole(spool)?, ended));
            }
            _ => spool.push(&chunk).map_err(spool_reason(limit_bytes))?,
        }
    }
}

fn stated_length(headers: &HeaderMap) -> Option<u64> {
    if headers.contains_key(TRANSFER_ENCODING) {
        return None;
    }
    headers
        .get(CONTENT_LENGTH)?
        .to_str()
        .ok()?
        .trim()
        .parse()
        .ok()
}

pub(super) fn spool_reason(limit_bytes: u64) -> impl Fn(SpoolFault) -> Reason {
    move |fault| match fault {
        SpoolFault::TooLarge => Reason::TooLarge { limit_bytes },
        SpoolFault::Disk(error) => Reason::Spool {
            cause: error.to_string(),
        },
    }
}
