//! What the pages show, for programs: JSON under `/api/v1`, and what people can do there.
//!
//! Handlers ask the desk and nothing else. The description at `/api/v1/openapi.json` is made of the very
//! routes, so that nothing is served that it does not have.

mod asked;
mod briefs;
mod changes;
mod description;
mod others;
#[cfg(test)]
mod tests;

use super::desk::{Desk, Told};
use super::refusing::Turned;
use super::shown::Shown;
use axum::http::header;
use axum::response::{IntoResponse, Response};
use axum::routing::get;
use axum::{Json, Router};
use utoipa_axum::router::OpenApiRouter;
use utoipa_axum::routes;

/// Why a program is not answered.
pub struct Refused(pub Turned);

impl IntoResponse for Refused {
    fn into_response(self) -> Response {
        self.0.problem()
    }
}

type Answer<T> = Result<Json<T>, Refused>;

/// What the desk says.
async fn ask<T: Send + 'static>(
    shown: &Shown,
    question: impl FnOnce(&dyn Desk) -> Told<T> + Send + 'static,
) -> Answer<T> {
    shown.ask(question).await.map(Json).map_err(Refused)
}

/// Every route of the interface.
pub fn router() -> Router<Shown> {
    let (router, mut described) = described_routes().split_for_parts();
    description::finish(&mut described);
    // It is the same for all, so it is written once.
    let text = described.to_json().unwrap_or_default();
    let give = async move || ([(header::CONTENT_TYPE, "application/json")], text);
    router.route("/api/v1/openapi.json", get(give))
}

fn described_routes() -> OpenApiRouter<Shown> {
    OpenApiRouter::with_openapi(description::head())
        .routes(routes!(briefs::overview))
        .routes(routes!(briefs::brief))
        .routes(routes!(briefs::ladder))
        .routes(routes!(briefs::entry_prices))
        .routes(routes!(briefs::alternatives))
        .routes(routes!(briefs::why))
        .routes(routes!(briefs::guide))
        .routes(routes!(briefs::proposal))
        .routes(routes!(briefs::save))
        .routes(routes!(others::parts))
        .routes(routes!(others::part))
        .routes(routes!(others::past))
        .routes(routes!(others::feeds))
        .routes(routes!(others::feed))
        .routes(routes!(others::poll))
        .routes(routes!(others::trial))
        .routes(routes!(others::held))
        .routes(routes!(others::held_word))
        .routes(routes!(others::questions, others::answer_question))
        .routes(routes!(others::journal))
        .routes(routes!(others::outbox))
        .routes(routes!(others::outbox_word))
        .routes(routes!(changes::changes))
}
