//! What a browser asks: who looks, and the pairs of a query.

use super::figures::Figures;
use super::frame::{Attention, Look, Page, document};
use crate::web::desk::{Desk, Told};
use crate::web::form::FormWord;
use crate::web::refusing::Turned;
use crate::web::shown::{Questions, SessionWord, Shown};
use crate::web::view::WhatIf;
use axum::extract::FromRequestParts;
use axum::http::request::Parts;
use axum::http::{StatusCode, header};
use axum::response::{Html, IntoResponse as _, Redirect, Response};
use std::convert::Infallible;

/// Who asks for a page.
pub struct Asker {
    shown: Shown,
    accepted: Option<String>,
    form_word: String,
    is_signed_in: bool,
    pairs: Vec<(String, String)>,
}

impl FromRequestParts<Shown> for Asker {
    type Rejection = Infallible;

    async fn from_request_parts(parts: &mut Parts, shown: &Shown) -> Result<Asker, Infallible> {
        let FormWord(form_word) = FormWord::from_request_parts(parts, shown).await?;
        let accepted = parts.headers.get(header::ACCEPT_LANGUAGE);
        let accepted = accepted.and_then(|value| value.to_str().ok());
        let query = parts.uri.query().unwrap_or("");
        Ok(Asker {
            shown: shown.clone(),
            accepted: accepted.map(str::to_owned),
            form_word,
            is_signed_in: parts.extensions.get::<SessionWord>().is_some(),
            pairs: url::form_urlencoded::parse(query.as_bytes())
                .into_owned()
                .collect(),
        })
    }
}

impl Asker {
    /// The last value of a key, if it is not empty.
    pub fn text(&self, key: &str) -> Option<String> {
        let mut pairs = self.pairs.iter().rev();
        let (_, value) = pairs.find(|(its_key, value)| its_key == key && !value.is_empty())?;
        Some(value.clone())
    }

    /// A number; what is none is not asked for.
    pub fn number<T: std::str::FromStr>(&self, key: &str) -> Option<T> {
        self.text(key)?.parse().ok()
    }

    /// # Errors
    /// The query is not understood.
    pub fn what_if(&self) -> Result<WhatIf, Turned> {
        let pairs = self.pairs.iter();
        let pairs = pairs.map(|(key, value)| (key.as_str(), value.as_str()));
        let read = WhatIf::of_pairs(pairs).map_err(|fault| {
            let message = format!("the address's \"{}\" is not understood", fault.key);
            let remedy = format!("write {}", fault.wanted);
            Turned::new(StatusCode::BAD_REQUEST, message, remedy)
        })?;
        let figures = Figures::of(self.accepted.as_deref());
        let prices = read.prices.into_iter();
        Ok(WhatIf {
            budget: read.budget.map(|budget| figures.read_amount(&budget)),
            prices: prices
                .map(|(part, price)| (part, figures.read_amount(&price)))
                .collect(),
            ..read
        })
    }

    /// Asks the desk and draws what it says, in the frame with what needs a look.
    pub async fn show<V: Send + 'static>(
        self,
        ask: impl FnOnce(&dyn Desk) -> Told<V> + Send + 'static,
        draw: impl FnOnce(&V, &Look) -> Page,
    ) -> Response {
        self.shown_of(Questions::Any, ask, draw).await
    }

    /// As `show`, where nothing has to be worked out.
    pub async fn glance<V: Send + 'static>(
        self,
        ask: impl FnOnce(&dyn Desk) -> Told<V> + Send + 'static,
        draw: impl FnOnce(&V, &Look) -> Page,
    ) -> Response {
        self.shown_of(Questions::Ready, ask, draw).await
    }

    async fn shown_of<V: Send + 'static>(
        self,
        questions: Questions,
        ask: impl FnOnce(&dyn Desk) -> Told<V> + Send + 'static,
        draw: impl FnOnce(&V, &Look) -> Page,
    ) -> Response {
        let asked = self.shown.ask_of(questions, move |desk| {
            let view = ask(desk)?;
            Ok((view, desk.overview()?))
        });
        let (view, overview) = match asked.await {
            Ok(answered) => answered,
            Err(turned) => return turned.page(),
        };
        let look = Look {
            figures: Figures::of(self.accepted.as_deref()),
            form_word: self.form_word,
            attention: Attention {
                failing_feeds: overview.feeds.failing.len() as u64,
                held: overview.held,
                questions: overview.questions,
                dead: overview.outbox.dead,
            },
            is_signed_in: self.is_signed_in,
        };
        let page = draw(&view, &look);
        Html(document(&page, &look).into_string()).into_response()
    }
}

/// Has the desk do something, and leads to the page that shows it.
pub async fn act<V: Send + 'static>(
    shown: &Shown,
    act: impl FnOnce(&dyn Desk) -> Told<V> + Send + 'static,
    then: impl FnOnce(&V) -> String,
) -> Response {
    match shown.ask(act).await {
        Ok(done) => Redirect::to(&then(&done)).into_response(),
        Err(turned) => turned.page(),
    }
}
