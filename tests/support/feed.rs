//! Feeds and fetchers as the tests need them.

use chrono::{DateTime, Utc};
use rigtide::catalogue::table::Document as Toml;
use rigtide::feeds::http::{
    Document, Expects, FetchFault, Fetcher, FetcherOptions, Freshness, Identity, Outcome, Request,
    Validators,
};
use rigtide::feeds::source::{Access, Keeper, SourceSettings};
use std::path::Path;
use std::time::Duration;
use url::Url;

/// The secret that every variable and file holds.
pub const SECRET: &str = "hush/42&x";

pub fn now() -> DateTime<Utc> {
    "2026-06-15T12:00:00Z".parse().unwrap()
}

pub fn fetcher() -> Fetcher {
    trusting(Vec::new())
}

pub fn trusting(extra_roots: Vec<rustls::pki_types::CertificateDer<'static>>) -> Fetcher {
    Fetcher::new(FetcherOptions {
        identity: Identity::new("editor@guide.example").unwrap(),
        extra_roots,
        spool_directory: None,
    })
    .unwrap()
}

/// A feed at `url` with further settings in TOML; no pause, and limits fit for a test.
pub fn access(url: &str, settings: &str) -> Access {
    let text = format!("url = \"{url}\"\nminimum_interval_s = 0\n{settings}\n");
    let document = Toml::parse("retailers/test.toml", &text);
    let mut table = document.root();
    let settings = SourceSettings::read(&mut table);
    table.finish();
    assert_eq!(document.into_faults(), []);
    let mut access = Access::open(&settings.unwrap(), &Drawer).unwrap();
    access.limits.connect = Duration::from_secs(5);
    access.limits.read = Duration::from_secs(5);
    access.limits.total = Duration::from_secs(10);
    access
}

struct Drawer;

impl Keeper for Drawer {
    fn variable(&self, _: &str) -> Option<String> {
        Some(SECRET.to_owned())
    }

    fn file(&self, _: &Path) -> std::io::Result<String> {
        Ok(SECRET.to_owned())
    }
}

/// A first fetch of data at the test's instant.
pub async fn fetch(fetcher: &Fetcher, access: &Access, url: &str) -> Outcome {
    fetch_known(fetcher, access, url, None).await
}

pub async fn fetch_known(
    fetcher: &Fetcher,
    access: &Access,
    url: &str,
    known: Option<&Validators>,
) -> Outcome {
    let url = Url::parse(url).unwrap();
    let request = Request {
        url: &url,
        access,
        known,
        expects: Expects::Data,
        freshness: Freshness::Respected,
        now: now(),
    };
    super::server::within_deadline(fetcher.fetch(&request)).await
}

pub fn fresh(outcome: Outcome) -> Document {
    match outcome {
        Outcome::Fresh(document) => *document,
        other => panic!("expected a document, got {other:?}"),
    }
}

pub fn failed(outcome: Outcome) -> FetchFault {
    match outcome {
        Outcome::Failed(fault) => fault,
        other => panic!("expected a fault, got {other:?}"),
    }
}

pub fn text(document: &mut Document) -> String {
    let mut text = String::new();
    std::io::Read::read_to_string(&mut document.body.open().unwrap(), &mut text).unwrap();
    text
}
