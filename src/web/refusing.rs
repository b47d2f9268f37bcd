//! Saying no: what happened and what to do, as a problem (RFC 9457) to programs and as a page to people.

use super::pages;
use super::view::{Refusal, RefusalKind};
use axum::Json;
use axum::http::{HeaderValue, StatusCode, header};
use axum::response::{IntoResponse as _, Response};
use serde::{Deserialize, Serialize};
use std::time::Duration;
use utoipa::ToSchema;

/// The media type of a [`Problem`]: RFC 9457, section 3.
pub const PROBLEM: &str = "application/problem+json";

/// After so long what kept the desk busy is likely done.
const WHEN_BUSY: Duration = Duration::from_secs(2);

/// Why a request was turned away.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Turned {
    pub status: StatusCode,
    pub message: String,
    pub remedy: String,
    /// After so long it may be asked again.
    pub again: Option<Duration>,
}

/// What went wrong, for programs: RFC 9457. The type is `about:blank`, so that the title is the
/// status's own.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct Problem {
    pub title: String,
    #[schema(minimum = 400, maximum = 599)]
    pub status: u16,
    /// What happened.
    pub detail: String,
    /// What to do.
    pub remedy: String,
}

impl Turned {
    pub fn new(
        status: StatusCode,
        message: impl Into<String>,
        remedy: impl Into<String>,
    ) -> Turned {
        Turned {
            status,
            message: message.into(),
            remedy: remedy.into(),
            again: None,
        }
    }

    pub fn again_in(self, again: Duration) -> Turned {
        let again = Some(again);
        Turned { again, ..self }
    }

    /// As a problem.
    pub fn problem(&self) -> Response {
        let problem = Problem {
            title: title(self.status),
            status: self.status.as_u16(),
            detail: self.message.clone(),
            remedy: self.remedy.clone(),
        };
        let mut response = (self.status, Json(problem)).into_response();
        let media_type = HeaderValue::from_static(PROBLEM);
        response
            .headers_mut()
            .insert(header::CONTENT_TYPE, media_type);
        self.finish(response)
    }

    /// As a page.
    pub fn page(&self) -> Response {
        self.finish(pages::refused(self))
    }

    fn finish(&self, mut response: Response) -> Response {
        *response.status_mut() = self.status;
        // RFC 9110, 10.2.3: whole seconds.
        let seconds = self.again.map(|again| again.as_secs_f64().ceil() as u64);
        if let Some(seconds) = seconds {
            let seconds = HeaderValue::from(seconds.max(1));
            response.headers_mut().insert(header::RETRY_AFTER, seconds);
        }
        response
    }
}

impl From<Refusal> for Turned {
    fn from(refusal: Refusal) -> Turned {
        let status = match refusal.kind {
            RefusalKind::NotFound => StatusCode::NOT_FOUND,
            RefusalKind::Invalid => StatusCode::BAD_REQUEST,
            RefusalKind::Conflict => StatusCode::CONFLICT,
            RefusalKind::Busy => StatusCode::SERVICE_UNAVAILABLE,
            RefusalKind::Broken => StatusCode::INTERNAL_SERVER_ERROR,
        };
        let turned = Turned::new(status, refusal.message, refusal.remedy);
        match refusal.kind {
            RefusalKind::Busy => turned.again_in(WHEN_BUSY),
            _ => turned,
        }
    }
}

/// What a page that says no is headed by: what it means to who reads it.
pub fn heading(status: StatusCode) -> &'static str {
    match status {
        StatusCode::BAD_REQUEST | StatusCode::UNPROCESSABLE_ENTITY => "That was not understood",
        StatusCode::UNAUTHORIZED => "Sign in first",
        StatusCode::FORBIDDEN => "That is not allowed from here",
        StatusCode::NOT_FOUND => "There is nothing here",
        StatusCode::METHOD_NOT_ALLOWED => "That cannot be done here",
        StatusCode::CONFLICT => "It has changed meanwhile",
        StatusCode::PAYLOAD_TOO_LARGE | StatusCode::URI_TOO_LONG => "That is too much at once",
        StatusCode::MISDIRECTED_REQUEST => "This name is not known here",
        StatusCode::TOO_MANY_REQUESTS => "Too often: wait a little",
        StatusCode::SERVICE_UNAVAILABLE => "Busy: try again in a moment",
        status if status.is_server_error() => "Something went wrong here",
        _ => "That did not work",
    }
}

/// The words of a status.
pub fn title(status: StatusCode) -> String {
    status.canonical_reason().unwrap_or("Error").to_owned()
}

/// Whether a path is one of programs.
pub fn is_for_programs(path: &str) -> bool {
    path == "/api" || path.starts_with("/api/")
}

/// Refuses whoever asked for this path, in their form.
pub fn refuse(path: &str, turned: &Turned) -> Response {
    match is_for_programs(path) {
        true => turned.problem(),
        false => turned.page(),
    }
}
