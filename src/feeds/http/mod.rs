//! One fetch, from an address to a whole body or a reason.
//!
//! [`Fetcher::fetch`] asks politely (robots.txt, one request at a time to each host, conditions),
//! follows redirects by hand, holds every limit, and tells an answer that only looks like success
//! from one that is. It keeps nothing between runs: what is to be remembered comes back as
//! [`Validators`]. May not parse what it fetched, and asks for nothing that the caller did not
//! name, robots.txt excepted.
//!
//! Invariants: no message holds a secret; credentials go to the author's own hosts only; no body
//! exceeds its limit; a body that is not whole is a fault.

mod body;
mod date;
mod exchange;
mod fault;
mod fetcher;
mod headers;
mod identity;
mod older_copy;
mod page;
mod permit;
mod redirect;
mod transport;
mod validators;

pub use body::{Body, Spool, SpoolFault};
pub use date::parse_http_date;
pub use exchange::Ended;
pub use fault::{FaultKind, FetchFault, Phase, Reason, Wall};
pub use fetcher::{Document, Fetcher, FetcherOptions, Freshness, Outcome, Request, Unchanged};
pub use headers::{LONGEST_REST, fresh_until, parse_link_next, parse_retry_after};
pub use identity::{ContactFault, Identity, PRODUCT};
pub use older_copy::{OlderCopy, parse_document_date};
pub use page::{Expects, inspect};
pub use transport::{Names, TransportFault};
pub use validators::Validators;
