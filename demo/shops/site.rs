//! A shop's pages, rendered beforehand, and the handler that hands them out.
//!
//! Every page carries a strong ETag made from its bytes, and answers 304 to a client that has it.

use axum::Router;
use axum::body::{Body, Bytes};
use axum::extract::State;
use axum::http::{HeaderMap, Method, StatusCode, Uri, header};
use axum::response::{IntoResponse, Response};
use std::collections::BTreeMap;
use std::hash::{DefaultHasher, Hasher};
use std::sync::Arc;
use tokio::sync::watch;

/// Pages by path.
#[derive(Debug)]
pub struct Site {
    pages: BTreeMap<String, Page>,
}

#[derive(Debug)]
struct Page {
    content_type: &'static str,
    etag: String,
    body: Bytes,
}

const ROBOTS: &str = "User-agent: *\nDisallow: /warenkorb\nDisallow: /konto\n";

impl Site {
    /// A site with nothing but its robots.txt (RFC 9309).
    pub fn new() -> Site {
        let mut site = Site {
            pages: BTreeMap::new(),
        };
        site.add("/robots.txt", "text/plain; charset=utf-8", ROBOTS);
        site
    }

    /// Puts a page on the site; `path` begins with a slash.
    pub fn add(
        &mut self,
        path: impl Into<String>,
        content_type: &'static str,
        body: impl Into<Bytes>,
    ) {
        let body = body.into();
        let mut hasher = DefaultHasher::new();
        hasher.write(&body);
        let etag = format!("\"{:016x}\"", hasher.finish());
        self.pages.insert(
            path.into(),
            Page {
                content_type,
                etag,
                body,
            },
        );
    }
}

/// Serves whatever site was published last.
pub fn router(pages: watch::Receiver<Arc<Site>>) -> Router {
    Router::new().fallback(answer).with_state(pages)
}

async fn answer(
    State(pages): State<watch::Receiver<Arc<Site>>>,
    method: Method,
    uri: Uri,
    headers: HeaderMap,
) -> Response {
    if method != Method::GET && method != Method::HEAD {
        return StatusCode::METHOD_NOT_ALLOWED.into_response();
    }
    let site = pages.borrow().clone();
    let Some(page) = site.pages.get(uri.path()) else {
        return StatusCode::NOT_FOUND.into_response();
    };
    let tag = [(header::ETAG, page.etag.clone())];
    if has_current(&headers, &page.etag) {
        return (StatusCode::NOT_MODIFIED, tag).into_response();
    }
    let content_type = [(header::CONTENT_TYPE, page.content_type)];
    (tag, content_type, Body::from(page.body.clone())).into_response()
}

/// RFC 9110, 13.1.2: `*` or a list of tags, compared weakly.
fn has_current(headers: &HeaderMap, etag: &str) -> bool {
    let tags = headers.get_all(header::IF_NONE_MATCH).iter();
    let mut tags = tags
        .filter_map(|value| value.to_str().ok())
        .flat_map(|list| list.split(','));
    tags.any(|tag| {
        let tag = tag.trim();
        tag == "*" || tag.strip_prefix("W/").unwrap_or(tag) == etag
    })
}
