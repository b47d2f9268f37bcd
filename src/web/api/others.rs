//! Parts, feeds, what waits for a word, the journal and the outbox.

use super::asked::{
    At, HeldSaid, JournalQuery, JustDo, MatchSaid, Nothing, OutboxQuery, OutboxSaid, PartsQuery,
    PastQuery, Query, Sent, TrialQuery,
};
use super::{Answer, Refused, ask};
use crate::web::desk::{PartsAsked, PastAsked};
use crate::web::refusing::Turned;
use crate::web::shown::Shown;
use crate::web::view::{
    FeedList, FeedPage, HeldDone, HeldView, Journal, JournalAsked, MatchDone, Outbox, OutboxDone,
    PartList, PartPage, PastView, PollAsked, Questions, TrialView, TriedOn,
};
use axum::extract::State;
use axum::http::StatusCode;

/// One page of the parts that match.
#[utoipa::path(get, path = "/api/v1/parts", tag = "parts", params(PartsQuery),
    responses((status = OK, body = PartList)))]
pub async fn parts(
    State(shown): State<Shown>,
    Query(PartsQuery { kind, q, page }): Query<PartsQuery>,
) -> Answer<PartList> {
    let asked = PartsAsked {
        kind,
        query: q,
        page,
    };
    ask(&shown, move |desk| desk.parts(&asked)).await
}

/// A part with its specs, rates and offers, and the builds that use it.
#[utoipa::path(get, path = "/api/v1/parts/{part}", tag = "parts", params(("part" = String, Path)),
    responses((status = OK, body = PartPage)))]
pub async fn part(
    State(shown): State<Shown>,
    At(part): At<String>,
    _: Query<Nothing>,
) -> Answer<PartPage> {
    ask(&shown, move |desk| desk.part(&part)).await
}

/// What was seen of a part's price.
#[utoipa::path(get, path = "/api/v1/parts/{part}/past", tag = "parts",
    params(("part" = String, Path), PastQuery), responses((status = OK, body = PastView)))]
pub async fn past(
    State(shown): State<Shown>,
    At(part): At<String>,
    Query(query): Query<PastQuery>,
) -> Answer<PastView> {
    let asked = PastAsked {
        since: query.since,
        retailers: query.retailer,
        target: query.target,
    };
    ask(&shown, move |desk| desk.past(&part, &asked)).await
}

/// How every feed fares.
#[utoipa::path(get, path = "/api/v1/feeds", tag = "feeds", responses((status = OK, body = FeedList)))]
pub async fn feeds(State(shown): State<Shown>, _: Query<Nothing>) -> Answer<FeedList> {
    ask(&shown, |desk| desk.feeds()).await
}

/// A feed with its polls, what it refused and what is held.
#[utoipa::path(get, path = "/api/v1/feeds/{retailer}/{feed}", tag = "feeds",
    params(("retailer" = String, Path), ("feed" = String, Path)),
    responses((status = OK, body = FeedPage)))]
pub async fn feed(
    State(shown): State<Shown>,
    At((retailer, feed)): At<(String, String)>,
    _: Query<Nothing>,
) -> Answer<FeedPage> {
    ask(&shown, move |desk| desk.feed(&format!("{retailer}/{feed}"))).await
}

/// Asks for a poll now; its shop's robots.txt and pauses are kept all the same.
#[utoipa::path(post, path = "/api/v1/feeds/{retailer}/{feed}/poll", tag = "feeds",
    params(("retailer" = String, Path), ("feed" = String, Path)), request_body = JustDo,
    responses((status = OK, body = PollAsked)))]
pub async fn poll(
    State(shown): State<Shown>,
    At((retailer, feed)): At<(String, String)>,
    _: Query<Nothing>,
    Sent(JustDo {}): Sent<JustDo>,
) -> Answer<PollAsked> {
    ask(&shown, move |desk| {
        desk.poll_now(&format!("{retailer}/{feed}"))
    })
    .await
}

/// Shows how the records of the newest response are read, or of what the shop says now; stores none.
#[utoipa::path(post, path = "/api/v1/feeds/{retailer}/{feed}/trial", tag = "feeds",
    params(("retailer" = String, Path), ("feed" = String, Path), TrialQuery), request_body = JustDo,
    responses((status = OK, body = TrialView)))]
pub async fn trial(
    State(shown): State<Shown>,
    At((retailer, feed)): At<(String, String)>,
    Query(TrialQuery { from }): Query<TrialQuery>,
    Sent(JustDo {}): Sent<JustDo>,
) -> Answer<TrialView> {
    let Some(on) = TriedOn::named(from.as_deref().unwrap_or("last")) else {
        let message = "a mapping is tried on nothing of that name";
        let remedy = "use from=last or from=shop";
        let turned = Turned::new(StatusCode::BAD_REQUEST, message, remedy);
        return Err(Refused(turned));
    };
    ask(&shown, move |desk| {
        desk.try_feed(&format!("{retailer}/{feed}"), on)
    })
    .await
}

/// The observations that wait for confirmation.
#[utoipa::path(get, path = "/api/v1/held", tag = "waiting", responses((status = OK, body = Vec<HeldView>)))]
pub async fn held(State(shown): State<Shown>, _: Query<Nothing>) -> Answer<Vec<HeldView>> {
    ask(&shown, |desk| desk.held()).await
}

/// Confirms or drops one.
#[utoipa::path(post, path = "/api/v1/held/{id}", tag = "waiting", params(("id" = i64, Path)),
    request_body = HeldSaid, responses((status = OK, body = HeldDone)))]
pub async fn held_word(
    State(shown): State<Shown>,
    At(id): At<i64>,
    _: Query<Nothing>,
    Sent(HeldSaid { word }): Sent<HeldSaid>,
) -> Answer<HeldDone> {
    ask(&shown, move |desk| desk.held_word(id, word.into())).await
}

/// The offers that wait for the author's word on which part they are.
#[utoipa::path(get, path = "/api/v1/questions", tag = "waiting",
    responses((status = OK, body = Questions)))]
pub async fn questions(State(shown): State<Shown>, _: Query<Nothing>) -> Answer<Questions> {
    ask(&shown, |desk| desk.questions()).await
}

/// Says which part an offer is, or is not.
#[utoipa::path(post, path = "/api/v1/questions", tag = "waiting", request_body = MatchSaid,
    responses((status = OK, body = MatchDone)))]
pub async fn answer_question(
    State(shown): State<Shown>,
    _: Query<Nothing>,
    Sent(said): Sent<MatchSaid>,
) -> Answer<MatchDone> {
    let word = said.word()?;
    let MatchSaid { retailer, sku, .. } = said;
    ask(&shown, move |desk| {
        desk.answer_question(&retailer, &sku, &word)
    })
    .await
}

/// What happened, newest first.
#[utoipa::path(get, path = "/api/v1/journal", tag = "told", params(JournalQuery),
    responses((status = OK, body = Journal)))]
pub async fn journal(
    State(shown): State<Shown>,
    Query(query): Query<JournalQuery>,
) -> Answer<Journal> {
    let asked = JournalAsked {
        brief: query.brief,
        feed: query.feed,
        kind: query.kind,
        without: query.without,
        since: query.since,
        before: query.before,
        limit: query.limit,
    };
    ask(&shown, move |desk| desk.journal(&asked)).await
}

/// Bulletins on their way, newest first.
#[utoipa::path(get, path = "/api/v1/outbox", tag = "told", params(OutboxQuery),
    responses((status = OK, body = Outbox)))]
pub async fn outbox(
    State(shown): State<Shown>,
    Query(OutboxQuery { state, limit }): Query<OutboxQuery>,
) -> Answer<Outbox> {
    ask(&shown, move |desk| desk.outbox(state.as_deref(), limit)).await
}

/// Tries one again, or drops it.
#[utoipa::path(post, path = "/api/v1/outbox/{id}", tag = "told", params(("id" = i64, Path)),
    request_body = OutboxSaid, responses((status = OK, body = OutboxDone)))]
pub async fn outbox_word(
    State(shown): State<Shown>,
    At(id): At<i64>,
    _: Query<Nothing>,
    Sent(OutboxSaid { word }): Sent<OutboxSaid>,
) -> Answer<OutboxDone> {
    ask(&shown, move |desk| desk.outbox_word(id, word.into())).await
}
