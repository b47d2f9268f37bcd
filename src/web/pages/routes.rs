//! Which page stands where, and what its forms do. A form leads to a page that may be loaded again.

use super::asked::{Asker, act};
use super::words::{feed_path, query, under, with_query};
use super::{brief, feeds, matching, overview, part, told};
use crate::web::desk::{Desk, PartsAsked, PastAsked};
use crate::web::form::Form;
use crate::web::refusing::Turned;
use crate::web::shown::Shown;
use crate::web::view::{
    GuideForm, GuideText, HeldWord, JournalAsked, MatchWord, OutboxWord, RefusalKind, TriedOn,
    WhatIf,
};
use axum::Router;
use axum::extract::{Path, State};
use axum::http::{HeaderValue, StatusCode, header};
use axum::response::{IntoResponse as _, Response};
use axum::routing::{get, post};
use chrono::{DateTime, Days, Utc};

pub fn router() -> Router<Shown> {
    Router::new()
        .route("/", get(first))
        .route("/brief/{brief}", get(one_brief))
        .route("/brief/{brief}/entries", get(entries))
        .route("/brief/{brief}/entries/{role}", get(entries_of))
        .route("/brief/{brief}/alternatives", get(alternatives))
        .route("/brief/{brief}/why/{part}", get(why))
        .route("/brief/{brief}/guide", get(guide))
        .route("/brief/{brief}/guide/{form}", get(guide_alone))
        .route("/brief/{brief}/save", get(proposal).post(save))
        .route("/parts", get(parts))
        .route("/part/{part}", get(one_part))
        .route("/feeds", get(all_feeds))
        .route("/feed/{*feed}", get(one_feed))
        .route("/poll/feed/{*feed}", post(poll))
        .route("/try/feed/{*feed}", get(trial))
        .route("/held/{id}", post(held))
        .route("/matching", get(questions).post(answer))
        .route("/journal", get(journal))
        .route("/outbox", get(outbox))
        .route("/outbox/{id}", post(deliver))
        .route("/assets/{name}", get(super::assets::asset_of))
}

async fn first(asker: Asker) -> Response {
    asker.glance(|desk| desk.overview(), overview::page).await
}

async fn one_brief(asker: Asker, Path(id): Path<String>) -> Response {
    let what_if = match asker.what_if() {
        Ok(what_if) => what_if,
        Err(turned) => return turned.page(),
    };
    let told = asker.text("told");
    asker
        .show(
            move |desk| {
                let view = desk.brief(&id, &what_if)?;
                // Without the ladder the build is still worth seeing.
                match desk.ladder(&id, &what_if) {
                    Err(refusal) if refusal.kind == RefusalKind::NotFound => Err(refusal),
                    ladder => Ok((view, ladder)),
                }
            },
            |(view, ladder), look| {
                let why = |refusal: &crate::web::view::Refusal| {
                    format!("{}; {}", refusal.message, refusal.remedy)
                };
                let ladder = ladder.as_ref().map_err(why);
                let ladder = ladder
                    .as_ref()
                    .map(|ladder| ladder.as_ref())
                    .map_err(String::as_str);
                brief::page(view, ladder, told.as_deref(), look)
            },
        )
        .await
}

async fn entries(asker: Asker, Path(id): Path<String>) -> Response {
    entries_in(asker, id, None).await
}

async fn entries_of(asker: Asker, Path((id, role)): Path<(String, String)>) -> Response {
    entries_in(asker, id, Some(role)).await
}

async fn entries_in(asker: Asker, id: String, role: Option<String>) -> Response {
    let what_if = match asker.what_if() {
        Ok(what_if) => what_if,
        Err(turned) => return turned.page(),
    };
    let (asked, of) = (what_if.clone(), role.clone());
    asker
        .show(
            move |desk| desk.entry_prices(&id, of.as_deref(), &asked),
            |view, look| brief::entries::page(view, role.as_deref(), &what_if, look),
        )
        .await
}

async fn alternatives(asker: Asker, Path(id): Path<String>) -> Response {
    let what_if = match asker.what_if() {
        Ok(what_if) => what_if,
        Err(turned) => return turned.page(),
    };
    let asked = what_if.clone();
    let draw = |view: &_, look: &_| brief::entries::alternatives(view, &what_if, look);
    asker
        .show(move |desk| desk.alternatives(&id, &asked), draw)
        .await
}

async fn why(asker: Asker, Path((id, part)): Path<(String, String)>) -> Response {
    let what_if = match asker.what_if() {
        Ok(what_if) => what_if,
        Err(turned) => return turned.page(),
    };
    let asked = what_if.clone();
    let draw = |view: &_, look: &_| brief::entries::why(view, &what_if, look);
    asker
        .show(move |desk| desk.why(&id, &part, &asked), draw)
        .await
}

/// The form that is asked for; Markdown, if none is.
fn form_named(name: Option<&str>) -> Result<GuideForm, Turned> {
    let form = name.map_or(Some(GuideForm::Markdown), GuideForm::named);
    form.ok_or_else(|| {
        let names: Vec<&str> = GuideForm::ALL.iter().map(|form| form.name()).collect();
        let remedy = format!("the forms are {}", names.join(", "));
        Turned::new(StatusCode::NOT_FOUND, "the guide has no such form", remedy)
    })
}

async fn guide(asker: Asker, Path(id): Path<String>) -> Response {
    let (what_if, form) = match (asker.what_if(), form_named(asker.text("form").as_deref())) {
        (Ok(what_if), Ok(form)) => (what_if, form),
        (Err(turned), _) | (_, Err(turned)) => return turned.page(),
    };
    let asked = what_if.clone();
    let draw = |view: &_, look: &_| brief::guide::page(view, &what_if, look);
    let mut response = asker
        .show(move |desk| desk.guide(&id, form, &asked), draw)
        .await;
    allow(&mut response, WITH_A_PREVIEW);
    response
}

/// What a page that frames the guide may do: the usual, and a frame of our own.
const WITH_A_PREVIEW: &str = "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; \
    connect-src 'self'; form-action 'self'; frame-src 'self'; frame-ancestors 'none'; base-uri 'none'";
/// What the guide alone may do: bring its own style and pictures, and nothing else.
const ALONE: &str = "default-src 'none'; style-src 'unsafe-inline'; img-src data:; form-action 'none'; \
    frame-ancestors 'self'; base-uri 'none'; sandbox allow-popups allow-popups-to-escape-sandbox";

fn allow(response: &mut Response, policy: &'static str) {
    let policy = HeaderValue::from_static(policy);
    response
        .headers_mut()
        .insert(header::CONTENT_SECURITY_POLICY, policy);
}

async fn guide_alone(
    State(shown): State<Shown>,
    asker: Asker,
    Path((id, form)): Path<(String, String)>,
) -> Response {
    let (what_if, form) = match (asker.what_if(), form_named(Some(&form))) {
        (Ok(what_if), Ok(form)) => (what_if, form),
        (Err(turned), _) | (_, Err(turned)) => return turned.page(),
    };
    match shown.ask(move |desk| desk.guide(&id, form, &what_if)).await {
        Ok(GuideText {
            media_type, text, ..
        }) => {
            let mut response = text.into_response();
            if let Ok(media_type) = HeaderValue::from_str(&media_type) {
                response
                    .headers_mut()
                    .insert(header::CONTENT_TYPE, media_type);
            }
            allow(&mut response, ALONE);
            response
        }
        Err(turned) => turned.page(),
    }
}

async fn proposal(asker: Asker, Path(id): Path<String>) -> Response {
    let what_if = match asker.what_if() {
        Ok(what_if) => what_if,
        Err(turned) => return turned.page(),
    };
    let asked = what_if.clone();
    let draw = |view: &_, look: &_| brief::saving::page(view, &what_if, look);
    asker
        .show(move |desk| desk.proposal(&id, &asked), draw)
        .await
}

async fn save(
    State(shown): State<Shown>,
    asker: Asker,
    Path(id): Path<String>,
    form: Form,
) -> Response {
    let what_if = match asker.what_if() {
        Ok(what_if) => what_if,
        Err(turned) => return turned.page(),
    };
    let digest = form.get("digest").unwrap_or("").to_owned();
    let then = with_query(&under(&id, "", &WhatIf::default()), "told=saved");
    act(
        &shown,
        move |desk| desk.save(&id, &what_if, &digest),
        |_| then,
    )
    .await
}

async fn parts(asker: Asker) -> Response {
    let asked = PartsAsked {
        kind: asker.text("kind"),
        query: asker.text("words"),
        page: asker.number("page"),
    };
    asker.show(move |desk| desk.parts(&asked), part::list).await
}

async fn one_part(asker: Asker, Path(id): Path<String>) -> Response {
    let days: Option<u64> = asker.number("days");
    let target = asker.text("target");
    asker
        .show(
            move |desk| {
                let view = desk.part(&id)?;
                // The newest sighting stands for now: pages know no clock.
                let now = desk.overview()?.at;
                let since = days.and_then(|days| since(&now, days));
                let asked = PastAsked {
                    since,
                    retailers: Vec::new(),
                    target,
                };
                Ok((view, desk.past(&id, &asked)))
            },
            move |(view, past), look| {
                let past = past.as_ref().map_err(|refusal| refusal.message.as_str());
                part::page(view, past, days, look)
            },
        )
        .await
}

/// The day so many days before an instant.
fn since(at: &str, days: u64) -> Option<String> {
    let at: DateTime<Utc> = at.parse().ok()?;
    let day = at.checked_sub_days(Days::new(days))?;
    Some(day.format("%Y-%m-%d").to_string())
}

async fn all_feeds(asker: Asker) -> Response {
    let told = asker.text("told");
    asker
        .show(
            |desk| Ok((desk.feeds()?, desk.held()?)),
            |(view, held), look| feeds::list(view, held, told.as_deref(), look),
        )
        .await
}

async fn one_feed(asker: Asker, Path(feed): Path<String>) -> Response {
    let told = asker.text("told");
    let draw = |view: &_, look: &_| feeds::page(view, told.as_deref(), look);
    asker.show(move |desk| desk.feed(&feed), draw).await
}

async fn trial(asker: Asker, Path(feed): Path<String>) -> Response {
    let on = match asker.text("from").as_deref() {
        Some("shop") => TriedOn::Shop,
        _ => TriedOn::Last,
    };
    asker
        .show(move |desk| desk.try_feed(&feed, on), feeds::trial::page)
        .await
}

async fn poll(State(shown): State<Shown>, Path(feed): Path<String>, _: Form) -> Response {
    let to = feed_path(&feed);
    act(
        &shown,
        move |desk| desk.poll_now(&feed),
        |asked| {
            with_query(
                &to,
                if asked.is_asked {
                    "told=asked"
                } else {
                    "told=later"
                },
            )
        },
    )
    .await
}

/// A word of a form that is none of ours.
fn no_word() -> Response {
    let message = "the form says nothing that can be done";
    Turned::new(
        StatusCode::BAD_REQUEST,
        message,
        "use the buttons of the page",
    )
    .page()
}

async fn held(State(shown): State<Shown>, Path(id): Path<i64>, form: Form) -> Response {
    let word = match form.get("word") {
        Some("confirm") => HeldWord::Confirm,
        Some("drop") => HeldWord::Drop,
        _ => return no_word(),
    };
    // Only to the feeds' pages, whatever a form says.
    let feed = form.get("feed").unwrap_or("").to_owned();
    let to = if feed.is_empty() {
        "/feeds".to_owned()
    } else {
        feed_path(&feed)
    };
    act(
        &shown,
        move |desk| desk.held_word(id, word),
        |done| with_query(&to, &query(&[("told", &done.done)])),
    )
    .await
}

async fn questions(asker: Asker) -> Response {
    let told = asker.text("told");
    let draw = |view: &_, look: &_| matching::page(view, told.as_deref(), look);
    asker.show(|desk| desk.questions(), draw).await
}

async fn answer(State(shown): State<Shown>, form: Form) -> Response {
    let text = |name| form.get(name).unwrap_or("").to_owned();
    let (retailer, sku, part) = (text("retailer"), text("sku"), text("part"));
    let word = match form.get("word") {
        Some("accept") if !part.is_empty() => MatchWord::Accept(part),
        Some("refuse") => MatchWord::Refuse(Some(part).filter(|part| !part.is_empty())),
        Some("new") => MatchWord::New,
        Some("forget") => MatchWord::Forget,
        _ => return no_word(),
    };
    let ask = move |desk: &dyn crate::web::desk::Desk| desk.answer_question(&retailer, &sku, &word);
    act(&shown, ask, |done| {
        with_query("/matching", &query(&[("told", &done.done)]))
    })
    .await
}

async fn journal(asker: Asker) -> Response {
    let asked = JournalAsked {
        brief: asker.text("brief"),
        feed: asker.text("feed"),
        kind: asker.text("kind"),
        without: asker.text("without"),
        since: asker.text("since"),
        before: asker.number("before"),
        limit: None,
    };
    let wanted = asked.clone();
    let draw = |(view, names): &_, _: &_| told::journal(view, &wanted, names);
    let ask = move |desk: &dyn Desk| Ok((desk.journal(&asked)?, told::Names::of(desk)?));
    asker.show(ask, draw).await
}

async fn outbox(asker: Asker) -> Response {
    let state = asker.text("state");
    let said = asker.text("told");
    let asked = state.clone();
    let draw = |view: &_, look: &_| told::outbox(view, state.as_deref(), said.as_deref(), look);
    asker
        .show(move |desk| desk.outbox(asked.as_deref(), None), draw)
        .await
}

async fn deliver(State(shown): State<Shown>, Path(id): Path<i64>, form: Form) -> Response {
    let word = match form.get("word") {
        Some("retry") => OutboxWord::Retry,
        Some("drop") => OutboxWord::Drop,
        _ => return no_word(),
    };
    let then = |done: &crate::web::view::OutboxDone| {
        with_query("/outbox", &query(&[("told", &done.done)]))
    };
    act(&shown, move |desk| desk.outbox_word(id, word), then).await
}
