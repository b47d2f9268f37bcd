//! Forms that our own pages sent.

use super::refusing::Turned;
use super::shown::{SessionWord, Shown};
use axum::body::{Bytes, to_bytes};
use axum::extract::{FromRequest, FromRequestParts, Request};
use axum::http::request::Parts;
use axum::http::{StatusCode, header};
use axum::response::Response;
use std::convert::Infallible;

/// The hidden field that says a form is ours.
pub const FIELD: &str = "form";
/// The longest form that anybody sends us.
pub const LONGEST: usize = 64 * 1024;

/// The fields of a form, in their order. It came from a page that this daemon made for whoever sends it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Form(pub Vec<(String, String)>);

/// What a page writes into the field [`FIELD`] of its forms.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct FormWord(pub String);

impl Form {
    /// The first field of that name.
    pub fn get(&self, name: &str) -> Option<&str> {
        let mut fields = self.0.iter();
        let (_, value) = fields.find(|(field, _)| field == name)?;
        Some(value)
    }
}

impl FromRequest<Shown> for Form {
    type Rejection = Response;

    async fn from_request(request: Request, shown: &Shown) -> Result<Form, Response> {
        let session = request.extensions().get::<SessionWord>().cloned();
        let is_form = request
            .headers()
            .get(header::CONTENT_TYPE)
            .and_then(|value| value.to_str().ok())
            .and_then(|value| value.split(';').next())
            .is_some_and(|essence| {
                essence
                    .trim()
                    .eq_ignore_ascii_case("application/x-www-form-urlencoded")
            });
        if !is_form {
            let (message, remedy) = ("this is no form", "use the form of the page");
            return Err(Turned::new(StatusCode::UNSUPPORTED_MEDIA_TYPE, message, remedy).page());
        }
        let bytes = whole(request).await.map_err(|turned| turned.page())?;
        let fields = url::form_urlencoded::parse(&bytes).into_owned();
        let form = Form(fields.collect());
        let word = form.get(FIELD).unwrap_or("");
        let session = session.as_ref().map(|session| session.0.as_str());
        if !shown.sessions().is_form_word(word, session) {
            let message = "the page with this form is older than the daemon or your signing in";
            let turned = Turned::new(StatusCode::FORBIDDEN, message, "load the page again");
            return Err(turned.page());
        }
        Ok(form)
    }
}

/// A body of at most [`LONGEST`] bytes.
pub async fn whole(request: Request) -> Result<Bytes, Turned> {
    to_bytes(request.into_body(), LONGEST).await.map_err(|_| {
        let message = format!("the request has more than {LONGEST} bytes or breaks off");
        Turned::new(StatusCode::PAYLOAD_TOO_LARGE, message, "send less at once")
    })
}

impl FromRequestParts<Shown> for FormWord {
    type Rejection = Infallible;

    async fn from_request_parts(parts: &mut Parts, shown: &Shown) -> Result<FormWord, Infallible> {
        let session = parts.extensions.get::<SessionWord>();
        let session = session.map(|session| session.0.as_str());
        Ok(FormWord(shown.sessions().form_word(session)))
    }
}
