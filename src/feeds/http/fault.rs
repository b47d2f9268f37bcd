//! What can go wrong in one fetch, in words that tell the author what to do.

use crate::feeds::address::Refusal;
use chrono::{DateTime, Utc};
use std::time::Duration;
use thiserror::Error;

/// A fetch that failed. Its texts hold no secrets.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
#[error("{address}: {reason}{}", chain_text(chain))]
pub struct FetchFault {
    /// The address that was asked for, masked.
    pub address: String,
    /// The addresses that redirects led to, masked.
    pub chain: Vec<String>,
    pub reason: Reason,
    /// How long the host asked to be left alone, capped.
    pub retry_after: Option<Duration>,
}

/// Why a fetch failed.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
pub enum Reason {
    #[error("the host name cannot be resolved ({cause})")]
    Dns { cause: String },
    #[error("no connection: {causes}")]
    Connect { causes: String },
    #[error("the TLS certificate or handshake is not acceptable: {cause}")]
    Tls { cause: String },
    #[error("no {phase} within {} s", limit.as_secs())]
    Timeout { phase: Phase, limit: Duration },
    #[error("the server answered {status}{}", words(text))]
    Status { status: u16, text: String },
    #[error("the document is gone (the server answered {status})")]
    Gone { status: u16 },
    #[error("the page says that nothing was found (\"{title}\")")]
    NotFoundPage { title: String },
    #[error("the server does not let the program in: {wall}")]
    Blocked { wall: Wall },
    #[error("expected data, but the server sent an HTML page{}", titled(title))]
    WebPage { title: String },
    #[error("the body is larger than {} MB (`body_limit_mb`)", limit_bytes / (1024 * 1024))]
    TooLarge { limit_bytes: u64 },
    #[error("the body is cut short after {received} bytes{}", promised(*expected))]
    Truncated {
        received: u64,
        expected: Option<u64>,
    },
    #[error("more than {limit} redirects")]
    TooManyRedirects { limit: u32 },
    #[error("the redirects go in a circle")]
    RedirectLoop,
    #[error("the server answered {status} without saying where to")]
    RedirectNowhere { status: u16 },
    #[error("the redirect is not followed: {refusal}")]
    RedirectRefused { refusal: Refusal },
    #[error("the address is not asked: {refusal}")]
    AddressRefused { refusal: Refusal },
    #[error("the host's robots.txt does not allow this address (rule \"{rule}\")")]
    RobotsRefuse { rule: String },
    #[error("the host's robots.txt cannot be read, so nothing is fetched there for now ({cause})")]
    RobotsUnreachable { cause: String },
    #[error("the host asked to be left alone until {}", until.format("%Y-%m-%d %H:%M:%S UTC"))]
    HostResting { until: DateTime<Utc> },
    #[error("the connection broke before an answer came ({cause})")]
    Broken { cause: String },
    #[error("the answer is not HTTP ({cause})")]
    Protocol { cause: String },
    #[error("the file cannot be read ({cause})")]
    File { cause: String },
    #[error("the body cannot be kept on disk ({cause})")]
    Spool { cause: String },
}

/// What a fetch waited for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Phase {
    Connection,
    Answer,
    Bytes,
    EndOfDocument,
}

/// What stands between the program and the data.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
pub enum Wall {
    #[error("it asks for a login (answer {status})")]
    Status { status: u16 },
    #[error("a page that tells people from programs (\"{title}\")")]
    Challenge { title: String },
    #[error("a login page (\"{title}\")")]
    Login { title: String },
    #[error("a consent page (\"{title}\")")]
    Consent { title: String },
    #[error("a maintenance page (\"{title}\")")]
    Maintenance { title: String },
}

/// The kinds of fault that a caller treats differently.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum FaultKind {
    Dns,
    /// No connection, or one that broke.
    Network,
    Tls,
    Timeout,
    /// An error status, or an answer that is not HTTP.
    Server,
    /// A document that is no longer there: news about one page, not about the feed.
    Gone,
    Blocked,
    /// A whole answer that is not what the feed promises.
    WrongContent,
    TooLarge,
    Truncated,
    Redirect,
    Robots,
    /// Not asked at all, because the host wants rest.
    Resting,
    /// Something on this machine.
    Local,
}

impl FetchFault {
    pub fn kind(&self) -> FaultKind {
        self.reason.kind()
    }
}

impl Reason {
    /// True when no answer came because the host is out of reach, whatever was asked of it.
    pub(super) fn is_about_host(&self) -> bool {
        match self {
            Reason::Timeout { phase, .. } => *phase == Phase::Connection,
            Reason::AddressRefused { .. } => true,
            reason => matches!(
                reason.kind(),
                FaultKind::Dns | FaultKind::Network | FaultKind::Tls
            ),
        }
    }

    pub fn kind(&self) -> FaultKind {
        match self {
            Reason::Dns { .. } => FaultKind::Dns,
            Reason::Connect { .. } | Reason::Broken { .. } => FaultKind::Network,
            Reason::Tls { .. } => FaultKind::Tls,
            Reason::Timeout { .. } => FaultKind::Timeout,
            Reason::Status { .. } | Reason::Protocol { .. } => FaultKind::Server,
            Reason::Gone { .. } | Reason::NotFoundPage { .. } => FaultKind::Gone,
            Reason::Blocked { .. } => FaultKind::Blocked,
            Reason::WebPage { .. } => FaultKind::WrongContent,
            Reason::TooLarge { .. } => FaultKind::TooLarge,
            Reason::Truncated { .. } => FaultKind::Truncated,
            Reason::TooManyRedirects { .. }
            | Reason::RedirectLoop
            | Reason::RedirectNowhere { .. }
            | Reason::RedirectRefused { .. }
            | Reason::AddressRefused { .. } => FaultKind::Redirect,
            Reason::RobotsRefuse { .. } | Reason::RobotsUnreachable { .. } => FaultKind::Robots,
            Reason::HostResting { .. } => FaultKind::Resting,
            Reason::File { .. } | Reason::Spool { .. } => FaultKind::Local,
        }
    }
}

impl FaultKind {
    /// Every kind with its stable name.
    pub const NAMES: &[(&str, FaultKind)] = &[
        ("dns", FaultKind::Dns),
        ("network", FaultKind::Network),
        ("tls", FaultKind::Tls),
        ("timeout", FaultKind::Timeout),
        ("server", FaultKind::Server),
        ("gone", FaultKind::Gone),
        ("blocked", FaultKind::Blocked),
        ("wrong_content", FaultKind::WrongContent),
        ("too_large", FaultKind::TooLarge),
        ("truncated", FaultKind::Truncated),
        ("redirect", FaultKind::Redirect),
        ("robots", FaultKind::Robots),
        ("resting", FaultKind::Resting),
        ("local", FaultKind::Local),
    ];

    pub fn name(self) -> &'static str {
        // `NAMES` lists every kind; a test holds that.
        FaultKind::NAMES
            .iter()
            .find(|(_, kind)| *kind == self)
            .map_or("", |(name, _)| name)
    }
}

impl std::fmt::Display for Phase {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(match self {
            Phase::Connection => "connection",
            Phase::Answer => "answer",
            Phase::Bytes => "further bytes",
            Phase::EndOfDocument => "end of the document",
        })
    }
}

fn chain_text(chain: &[String]) -> String {
    match chain {
        [] => String::new(),
        chain => format!(" (redirected to {})", chain.join(", then ")),
    }
}

fn words(text: &str) -> String {
    match text {
        "" => String::new(),
        text => format!(" {text}"),
    }
}

fn titled(title: &str) -> String {
    match title {
        "" => String::new(),
        title => format!(" (\"{title}\")"),
    }
}

fn promised(expected: Option<u64>) -> String {
    expected.map_or_else(String::new, |expected| format!(" of {expected}"))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_kind_has_a_name_of_its_own() {
        let names: std::collections::BTreeSet<&str> = FaultKind::NAMES
            .iter()
            .map(|(_, kind)| kind.name())
            .collect();
        assert_eq!(names.len(), FaultKind::Local as usize + 1);
        assert!(!names.contains(""));
    }

    #[test]
    fn a_fault_reads_as_a_sentence_with_its_chain() {
        let fault = FetchFault {
            address: "https://shop.example/f".to_owned(),
            chain: vec![
                "https://shop.example/g".to_owned(),
                "http://10.0.0.1/".to_owned(),
            ],
            reason: Reason::RedirectRefused {
                refusal: Refusal::Downgrade,
            },
            retry_after: None,
        };
        assert_eq!(
            fault.to_string(),
            "https://shop.example/f: the redirect is not followed: it leads from https to http \
             (redirected to https://shop.example/g, then http://10.0.0.1/)"
        );
    }
}
