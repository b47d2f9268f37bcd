//! The briefs and everything that is asked about one.

use super::asked::{At, FormQuery, Nothing, Query, RoleQuery, SaveSaid, Sent, WhatIfQuery};
use super::{Answer, Refused, ask};
use crate::web::refusing::Turned;
use crate::web::shown::{Questions, Shown};
use crate::web::view::{
    Alternatives, BriefPage, EntryPrices, GuideForm, GuideText, LadderPage, Overview, Proposal,
    Saved, WhatIf, WhyView,
};
use axum::Json;
use axum::extract::State;
use axum::http::{StatusCode, header};
use axum::response::{IntoResponse as _, Response};

/// Every brief with its standing best build, and the feeds in one line.
#[utoipa::path(get, path = "/api/v1/overview", tag = "briefs",
    responses((status = OK, body = Overview)))]
pub async fn overview(State(shown): State<Shown>, _: Query<Nothing>) -> Answer<Overview> {
    let asked = shown.ask_of(Questions::Ready, |desk| desk.overview()).await;
    asked.map(Json).map_err(Refused)
}

/// A brief with its best build, as it is or as it would be.
#[utoipa::path(get, path = "/api/v1/briefs/{brief}", tag = "briefs",
    params(("brief" = String, Path), WhatIfQuery),
    responses((status = OK, body = BriefPage)))]
pub async fn brief(
    State(shown): State<Shown>,
    At(brief): At<String>,
    Query(what_if): Query<WhatIf>,
) -> Answer<BriefPage> {
    ask(&shown, move |desk| desk.brief(&brief, &what_if)).await
}

/// For every budget, the best build.
#[utoipa::path(get, path = "/api/v1/briefs/{brief}/ladder", tag = "briefs",
    params(("brief" = String, Path), WhatIfQuery),
    responses((status = OK, body = LadderPage)))]
pub async fn ladder(
    State(shown): State<Shown>,
    At(brief): At<String>,
    Query(what_if): Query<WhatIf>,
) -> Result<Response, Refused> {
    let asked = shown.ask(move |desk| desk.ladder(&brief, &what_if)).await;
    let text = shown.ladder_text(&asked.map_err(Refused)?);
    Ok(([(header::CONTENT_TYPE, "application/json")], text).into_response())
}

/// The highest price at which each part would be in an optimal build.
#[utoipa::path(get, path = "/api/v1/briefs/{brief}/entry-prices", tag = "briefs",
    params(("brief" = String, Path), RoleQuery, WhatIfQuery),
    responses((status = OK, body = EntryPrices)))]
pub async fn entry_prices(
    State(shown): State<Shown>,
    At(brief): At<String>,
    Query(RoleQuery { role, what_if }): Query<RoleQuery>,
) -> Answer<EntryPrices> {
    let question = move |desk: &dyn crate::web::desk::Desk| {
        desk.entry_prices(&brief, role.as_deref(), &what_if)
    };
    ask(&shown, question).await
}

/// The next best builds, and the best on each other socket.
#[utoipa::path(get, path = "/api/v1/briefs/{brief}/alternatives", tag = "briefs",
    params(("brief" = String, Path), WhatIfQuery),
    responses((status = OK, body = Alternatives)))]
pub async fn alternatives(
    State(shown): State<Shown>,
    At(brief): At<String>,
    Query(what_if): Query<WhatIf>,
) -> Answer<Alternatives> {
    ask(&shown, move |desk| desk.alternatives(&brief, &what_if)).await
}

/// Why a part is in the best build or not.
#[utoipa::path(get, path = "/api/v1/briefs/{brief}/why/{part}", tag = "briefs",
    params(("brief" = String, Path), ("part" = String, Path), WhatIfQuery),
    responses((status = OK, body = WhyView)))]
pub async fn why(
    State(shown): State<Shown>,
    At((brief, part)): At<(String, String)>,
    Query(what_if): Query<WhatIf>,
) -> Answer<WhyView> {
    ask(&shown, move |desk| desk.why(&brief, &part, &what_if)).await
}

/// The guide to the best build.
#[utoipa::path(get, path = "/api/v1/briefs/{brief}/guide", tag = "briefs",
    params(("brief" = String, Path), FormQuery, WhatIfQuery),
    responses((status = OK, body = GuideText)))]
pub async fn guide(
    State(shown): State<Shown>,
    At(brief): At<String>,
    Query(FormQuery { form, what_if }): Query<FormQuery>,
) -> Answer<GuideText> {
    let name = form.as_deref().unwrap_or("markdown");
    let Some(form) = GuideForm::named(name) else {
        let message = format!("a guide has no form \"{name}\"");
        let remedy = "use markdown, html, text, csv or json";
        return Err(Refused(Turned::new(
            StatusCode::BAD_REQUEST,
            message,
            remedy,
        )));
    };
    ask(&shown, move |desk| desk.guide(&brief, form, &what_if)).await
}

/// What saving a what-if would write into the brief's file.
#[utoipa::path(get, path = "/api/v1/briefs/{brief}/proposal", tag = "briefs",
    params(("brief" = String, Path), WhatIfQuery),
    responses((status = OK, body = Proposal)))]
pub async fn proposal(
    State(shown): State<Shown>,
    At(brief): At<String>,
    Query(what_if): Query<WhatIf>,
) -> Answer<Proposal> {
    ask(&shown, move |desk| desk.proposal(&brief, &what_if)).await
}

/// Writes a what-if into the brief's file, if the file is still the one that the proposal was made of.
#[utoipa::path(post, path = "/api/v1/briefs/{brief}/save", tag = "briefs",
    params(("brief" = String, Path), WhatIfQuery), request_body = SaveSaid,
    responses((status = OK, body = Saved)))]
pub async fn save(
    State(shown): State<Shown>,
    At(brief): At<String>,
    Query(what_if): Query<WhatIf>,
    Sent(SaveSaid { digest }): Sent<SaveSaid>,
) -> Answer<Saved> {
    ask(&shown, move |desk| desk.save(&brief, &what_if, &digest)).await
}
