//! The way of a document through redirects.

use super::fault::Reason;
use crate::feeds::source::Access;
use reqwest::StatusCode;
use reqwest::header::{HeaderMap, LOCATION};
use url::Url;

/// Where a document was asked for and where it was sent since.
pub(super) struct Trail {
    hops: Vec<Url>,
    first: Url,
    /// The last address that permanent redirects alone led to.
    moved_to: Option<Url>,
    all_permanent: bool,
    limit: u32,
}

/// True for the answers that send a GET elsewhere.
pub(super) fn is_redirect(status: StatusCode) -> bool {
    matches!(status.as_u16(), 301 | 302 | 303 | 307 | 308)
}

impl Trail {
    pub fn new(first: Url, limit: u32) -> Trail {
        Trail {
            hops: Vec::new(),
            first,
            moved_to: None,
            all_permanent: true,
            limit,
        }
    }

    /// The address to ask now.
    pub fn current(&self) -> &Url {
        self.hops.last().unwrap_or(&self.first)
    }

    /// The addresses after the first.
    pub fn hops(&self) -> &[Url] {
        &self.hops
    }

    /// Where the document has moved for good, if it has.
    pub fn moved_to(&self) -> Option<&Url> {
        self.moved_to.as_ref()
    }

    /// Takes one step; a refused step still shows in the trail.
    ///
    /// # Errors
    /// The answer names no address, or one that is not followed.
    pub fn follow(
        &mut self,
        status: StatusCode,
        headers: &HeaderMap,
        access: &Access,
    ) -> Result<(), Reason> {
        let status_number = status.as_u16();
        let location = headers
            .get(LOCATION)
            .and_then(|location| std::str::from_utf8(location.as_bytes()).ok());
        let target = location.and_then(|location| self.current().join(location.trim()).ok());
        let Some(mut target) = target else {
            let status = status_number;
            return Err(Reason::RedirectNowhere { status });
        };
        target.set_fragment(None);
        // A server's own user name and password are none of the program's business.
        let _ = target.set_username("");
        let _ = target.set_password(None);
        let refused = access.check_step(self.current(), &target);
        let known = target == self.first || self.hops.contains(&target);
        self.hops.push(target.clone());
        refused.map_err(|refusal| Reason::RedirectRefused { refusal })?;
        if known {
            return Err(Reason::RedirectLoop);
        }
        if self.hops.len() > self.limit as usize {
            let limit = self.limit;
            return Err(Reason::TooManyRedirects { limit });
        }
        self.all_permanent &= matches!(status_number, 301 | 308);
        if self.all_permanent {
            self.moved_to = Some(target);
        }
        Ok(())
    }
}
