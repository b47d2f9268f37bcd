//! How the daemon fares, what it counts and what it told: for programs that look after it.

use super::Health;
use super::metrics::{MEDIA_TYPE, render};
use super::shown::Shown;
use axum::Router;
use axum::extract::{Path, State};
use axum::http::{StatusCode, header};
use axum::response::{IntoResponse as _, Response};
use axum::routing::get;
use serde_json::json;

pub fn router() -> Router<Shown> {
    Router::new()
        .route("/health", get(health))
        .route("/metrics", get(metrics))
        .route("/feeds/{channel}", get(feed))
}

async fn health(State(shown): State<Shown>) -> Response {
    let Some(Health { reasons, cautions }) = shown.look(|vitals| vitals.health()).await else {
        return StatusCode::INTERNAL_SERVER_ERROR.into_response();
    };
    let (code, status) = match reasons.is_empty() {
        true => (StatusCode::OK, "ok"),
        false => (StatusCode::SERVICE_UNAVAILABLE, "failing"),
    };
    let body = json!({ "status": status, "reasons": reasons, "cautions": cautions });
    answer(code, "application/json", format!("{body}\n"))
}

async fn metrics(State(shown): State<Shown>) -> Response {
    match shown.look(|vitals| render(&vitals.metrics())).await {
        Some(text) => answer(StatusCode::OK, MEDIA_TYPE, text),
        None => StatusCode::INTERNAL_SERVER_ERROR.into_response(),
    }
}

/// RFC 4287, section 7, names the media type.
async fn feed(State(shown): State<Shown>, Path(channel): Path<String>) -> Response {
    match shown.look(move |vitals| vitals.feed(&channel)).await {
        Some(Some(text)) => answer(StatusCode::OK, "application/atom+xml; charset=utf-8", text),
        Some(None) => (
            StatusCode::NOT_FOUND,
            "no channel of this name has told yet\n",
        )
            .into_response(),
        None => StatusCode::INTERNAL_SERVER_ERROR.into_response(),
    }
}

fn answer(code: StatusCode, media_type: &'static str, body: String) -> Response {
    (code, [(header::CONTENT_TYPE, media_type)], body).into_response()
}
