//! Server-sent events (WHATWG HTML, 9.2): a number that moves when there is something new to look at.

use super::Refused;
use super::asked::{Nothing, Query};
use crate::web::refusing::Turned;
use crate::web::shown::Shown;
use axum::extract::State;
use axum::http::StatusCode;
use axum::response::sse::{Event, KeepAlive, Sse};
use futures_util::stream::{Stream, unfold};
use serde_json::json;
use std::convert::Infallible;
use std::time::Duration;

/// A comment that keeps intermediaries from closing what says nothing.
const STILL_HERE: Duration = Duration::from_secs(20);
/// After a connection broke, a browser waits so long before it comes back.
const COME_BACK: Duration = Duration::from_secs(5);

/// Events named `change`, whose data is `{"change": N}`: one at once, and one whenever something was
/// polled, decided or written.
#[utoipa::path(get, path = "/api/v1/changes", tag = "told",
    responses((status = OK, body = String, content_type = "text/event-stream")))]
pub async fn changes(
    State(shown): State<Shown>,
    _: Query<Nothing>,
) -> Result<Sse<impl Stream<Item = Result<Event, Infallible>>>, Refused> {
    let Some(turn) = shown.listen() else {
        let message = "as many listen for changes as there may be";
        let turned = Turned::new(
            StatusCode::SERVICE_UNAVAILABLE,
            message,
            "close other windows",
        );
        return Err(Refused(turned.again_in(COME_BACK)));
    };
    let mut changes = shown.changes().map_err(Refused)?;
    changes.mark_changed();
    let stream = unfold((changes, turn), async |(mut changes, turn)| {
        changes.changed().await.ok()?;
        let change = *changes.borrow_and_update();
        let data = json!({ "change": change }).to_string();
        let event = Event::default().event("change").id(change.to_string());
        Some((Ok(event.retry(COME_BACK).data(data)), (changes, turn)))
    });
    Ok(Sse::new(stream).keep_alive(KeepAlive::new().interval(STILL_HERE)))
}
