//! The files that pages are drawn with. They are part of the program, and known by their digest, so that
//! a browser keeps them and still takes up new ones at once.

use axum::extract::Path;
use axum::http::{HeaderMap, HeaderValue, StatusCode, header};
use axum::response::{IntoResponse as _, Response};
use ring::digest::{SHA256, digest};
use std::sync::LazyLock;

struct Asset {
    name: &'static str,
    media_type: &'static str,
    text: &'static str,
}

const SCRIPT: &str = "text/javascript; charset=utf-8";
const ASSETS: &[Asset] = &[
    asset(
        "rigtide.css",
        "text/css; charset=utf-8",
        include_str!("assets/rigtide.css"),
    ),
    asset("mark.svg", "image/svg+xml", include_str!("assets/mark.svg")),
    asset("page.js", SCRIPT, include_str!("assets/page.js")),
    asset("ladder.js", SCRIPT, include_str!("assets/ladder.js")),
    asset("past.js", SCRIPT, include_str!("assets/past.js")),
    asset("matching.js", SCRIPT, include_str!("assets/matching.js")),
];

const fn asset(name: &'static str, media_type: &'static str, text: &'static str) -> Asset {
    Asset {
        name,
        media_type,
        text,
    }
}

/// RFC 9110, 8.8.3, in the order of the files.
static TAGS: LazyLock<Vec<String>> = LazyLock::new(|| {
    let tag = |asset: &Asset| {
        let digest = digest(&SHA256, asset.text.as_bytes());
        let hex: String = digest
            .as_ref()
            .iter()
            .take(12)
            .map(|byte| format!("{byte:02x}"))
            .collect();
        format!("\"{hex}\"")
    };
    ASSETS.iter().map(tag).collect()
});

/// Answers with a file, or with nothing where the browser has this very one.
pub async fn asset_of(Path(name): Path<String>, headers: HeaderMap) -> Response {
    let Some(number) = ASSETS.iter().position(|asset| asset.name == name) else {
        return StatusCode::NOT_FOUND.into_response();
    };
    let (asset, tag) = (&ASSETS[number], &TAGS[number]);
    let has_it = headers
        .get_all(header::IF_NONE_MATCH)
        .iter()
        .filter_map(|value| value.to_str().ok())
        .flat_map(|value| value.split(','))
        .any(|known| known.trim().trim_start_matches("W/") == tag || known.trim() == "*");
    let mut response = match has_it {
        true => StatusCode::NOT_MODIFIED.into_response(),
        false => asset.text.into_response(),
    };
    let headers = response.headers_mut();
    headers.insert(
        header::CONTENT_TYPE,
        HeaderValue::from_static(asset.media_type),
    );
    headers.insert(header::CACHE_CONTROL, HeaderValue::from_static("no-cache"));
    if let Ok(tag) = HeaderValue::from_str(tag) {
        headers.insert(header::ETAG, tag);
    }
    response
}
