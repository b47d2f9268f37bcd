//! Asks a host's robots.txt before anything else is asked there.

use super::exchange::{AtLimit, TimeLeft, read_body, send};
use super::fault::Reason;
use super::fetcher::Fetcher;
use super::headers::retry_after;
use super::identity::PRODUCT;
use super::redirect::{Trail, is_redirect};
use super::transport::Reach;
use crate::feeds::address::Origin;
use crate::feeds::politeness::Turn;
use crate::feeds::robots::{READ_BYTES, RobotsRules, Standing, Standings, Verdict};
use crate::feeds::source::{Access, Limits};
use chrono::{DateTime, Utc};
use reqwest::Response;
use reqwest::header::HeaderMap;
use std::sync::{MutexGuard, PoisonError};
use std::time::Duration;
use url::Url;

/// RFC 9309 2.3.1.2: follow at least five redirects.
const REDIRECTS: u32 = 5;

/// The longest time that reading a robots.txt may take, its redirects included.
const LONGEST_READING: Duration = Duration::from_secs(60);

impl Fetcher {
    /// The verdict on an address, if the host's robots.txt is known.
    pub(super) fn known_permit(&self, url: &Url, now: DateTime<Utc>) -> Option<Result<(), Reason>> {
        let authority = Origin::of(url)?.authority();
        let standings = self.lock_standings();
        Some(judge(standings.current(&authority, now)?, url))
    }

    /// The verdict on an address; reads the host's robots.txt within the caller's turn.
    pub(super) async fn permit(
        &self,
        url: &Url,
        access: &Access,
        now: DateTime<Utc>,
        turn: &mut Turn,
    ) -> Result<(), Reason> {
        let Some(origin) = Origin::of(url) else {
            return Ok(());
        };
        let authority = origin.authority();
        let unread = self.lock_standings().current(&authority, now).is_none();
        let read = match unread {
            true => Some(self.read_robots(url, access, now).await?),
            false => None,
        };
        let mut standings = self.lock_standings();
        if let Some(standing) = read {
            standings.record(&authority, standing, now);
        }
        let Some(standing) = standings.current(&authority, now) else {
            let cause = "its reading was not recorded".to_owned();
            return Err(Reason::RobotsUnreachable { cause });
        };
        turn.pause_at_least(standing.crawl_delay().unwrap_or_default());
        judge(standing, url)
    }

    /// What the host's robots.txt says.
    ///
    /// # Errors
    /// The host itself is out of reach, which is news about the host and not about its rules.
    async fn read_robots(
        &self,
        url: &Url,
        access: &Access,
        now: DateTime<Utc>,
    ) -> Result<Standing, Reason> {
        let mut address = url.clone();
        address.set_path("/robots.txt");
        address.set_query(None);
        let mut trail = Trail::new(address, REDIRECTS);
        match self.try_robots(&mut trail, access, now).await {
            Ok(standing) => Ok(standing),
            // RFC 9309 2.3.1.2: beyond five redirects the file may be taken as missing.
            Err(Reason::TooManyRedirects { .. } | Reason::RedirectLoop) => Ok(Standing::Missing),
            Err(reason) if trail.hops().is_empty() && reason.is_about_host() => Err(reason),
            Err(reason) => Ok(Standing::Unreachable {
                cause: access.mask.hide(&reason.to_string()),
            }),
        }
    }

    async fn try_robots(
        &self,
        trail: &mut Trail,
        access: &Access,
        now: DateTime<Utc>,
    ) -> Result<Standing, Reason> {
        let limits = Limits {
            body_bytes: READ_BYTES,
            total: access.limits.total.min(LONGEST_READING),
            ..access.limits
        };
        let mut time = TimeLeft::new(limits.total);
        let asked = Origin::of(trail.current());
        let response = self
            .follow_robots(trail, access, &limits, &mut time)
            .await?;
        let status = response.status();
        match status.as_u16() {
            200..=299 => {}
            // Not by the letter of 2.3.1.3, but "too many requests" asks for fewer, not for all.
            429 | 500.. => {
                if let Some(rest) = retry_after(response.headers(), now)
                    && let Some(origin) = asked
                {
                    self.hosts.rest(&origin.authority(), now + rest);
                }
                return Err(Reason::Status {
                    status: status.as_u16(),
                    text: status.canonical_reason().unwrap_or_default().to_owned(),
                });
            }
            _ => return Ok(Standing::Missing),
        }
        let spool = self.spool_directory.clone();
        let read = read_body(response, &limits, AtLimit::Cut, spool, &mut time);
        let (mut body, _) = read.await?;
        let rules = RobotsRules::parse(&body.head(READ_BYTES), PRODUCT);
        if rules.is_unreadable {
            let address = access.mask.url(trail.current());
            tracing::info!(
                address,
                "robots.txt holds no rules; nothing is refused by it"
            );
        }
        Ok(Standing::Rules(rules))
    }

    async fn follow_robots(
        &self,
        trail: &mut Trail,
        access: &Access,
        limits: &Limits,
        time: &mut TimeLeft,
    ) -> Result<Response, Reason> {
        let headers = HeaderMap::new();
        loop {
            let target = trail.current();
            let reach = self.reach(access, target);
            let response = send(&self.transport, target, &headers, limits, reach, time).await?;
            if !is_redirect(response.status()) {
                return Ok(response);
            }
            trail.follow(response.status(), response.headers(), access)?;
        }
    }

    fn lock_standings(&self) -> MutexGuard<'_, Standings> {
        // A panic elsewhere cannot leave an entry half written.
        self.standings
            .lock()
            .unwrap_or_else(PoisonError::into_inner)
    }

    /// Which networks an address may lead into.
    pub(super) fn reach(&self, access: &Access, url: &Url) -> Reach {
        match access.may_be_private(url) {
            true => Reach::Anywhere,
            false => Reach::PublicOnly,
        }
    }
}

fn judge(standing: &Standing, url: &Url) -> Result<(), Reason> {
    let path = match url.query() {
        Some(query) => format!("{}?{query}", url.path()),
        None => url.path().to_owned(),
    };
    match (standing.verdict(&path), standing) {
        (Some(Verdict::Allowed), _) => Ok(()),
        (Some(Verdict::Refused { rule }), _) => Err(Reason::RobotsRefuse { rule }),
        (None, Standing::Unreachable { cause }) => Err(Reason::RobotsUnreachable {
            cause: cause.clone(),
        }),
        (None, _) => Ok(()),
    }
}
