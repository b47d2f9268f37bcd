//! What every answer tells the browser that shows it.

use axum::extract::Request;
use axum::http::{HeaderName, HeaderValue, header};
use axum::middleware::Next;
use axum::response::Response;

/// Nothing but our own files, and data: pictures; no script or style within a page, no frame around
/// it (W3C CSP3). Everything is off and then allowed by what needs it.
pub const CONTENT_SECURITY_POLICY: &str = "default-src 'none'; script-src 'self'; style-src 'self'; \
    img-src 'self' data:; connect-src 'self'; form-action 'self'; frame-ancestors 'none'; base-uri 'none'";

/// A page may say otherwise of itself, by a header of its own.
const USUAL: [(HeaderName, &str); 7] = [
    (header::CONTENT_SECURITY_POLICY, CONTENT_SECURITY_POLICY),
    (header::X_CONTENT_TYPE_OPTIONS, "nosniff"),
    // Shops learn nothing. `no-referrer` would also keep browsers from naming the origin of our own
    // forms (Fetch, "append a request Origin header"), which the guard looks at.
    (header::REFERRER_POLICY, "same-origin"),
    (header::CACHE_CONTROL, "no-store"),
    (
        HeaderName::from_static("cross-origin-opener-policy"),
        "same-origin",
    ),
    (
        HeaderName::from_static("cross-origin-resource-policy"),
        "same-origin",
    ),
    (
        HeaderName::from_static("permissions-policy"),
        "camera=(), geolocation=(), microphone=(), payment=(), usb=()",
    ),
];

/// Adds what an answer does not say itself.
pub async fn usual(request: Request, next: Next) -> Response {
    let mut response = next.run(request).await;
    for (name, value) in USUAL {
        let entry = response.headers_mut().entry(name);
        entry.or_insert(HeaderValue::from_static(value));
    }
    response
}
