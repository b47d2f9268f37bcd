//! The pages: what a person looks at. Nothing is worked out here; what they show comes from the desk.
//!
//! `routes` says which page stands where; each page is a function from what the desk said to markup, in
//! the frame of `frame`. Pages can be read without scripts, forms work without them; the scripts in
//! `assets` make figures follow at once.

mod asked;
mod assets;
mod brief;
mod feeds;
mod figures;
mod frame;
mod matching;
mod overview;
mod part;
mod plot;
mod routes;
#[cfg(test)]
mod tests;
mod told;
mod words;

pub use routes::router;

use super::form;
use super::refusing::{Turned, heading};
use axum::response::{Html, IntoResponse as _, Response};
use frame::{bare, mark};
use maud::html;

/// A page that says no; its status is set by whoever refuses.
pub fn refused(turned: &Turned) -> Response {
    let title = heading(turned.status);
    let body = html! {
        div.gate.sheet {
            p { a.mark href="/" { (mark()) "rigtide" } }
            h1 { (title) }
            p { (turned.message) "." }
            p { "What to do: " (turned.remedy) "." }
            p { a href="/" { "To the first page" } }
        }
    };
    Html(bare(title, &body).into_string()).into_response()
}

/// The page where somebody signs in: `word` for its form, where they go then, and what went wrong.
pub fn sign_in(word: &str, then: &str, wrong: Option<&str>) -> Response {
    let body = html! {
        form.gate.sheet method="post" action="/sign-in" {
            p { span.mark { (mark()) "rigtide" } }
            h1 { "Sign in" }
            @if let Some(wrong) = wrong { p.said.bad role="alert" { (wrong) } }
            input type="hidden" name=(form::FIELD) value=(word);
            input type="hidden" name="then" value=(then);
            p { label for="password" { "Password" } }
            p { input.whole #password type="password" name="password" required autocomplete="current-password" autofocus; }
            button.main { "Sign in" }
        }
    };
    Html(bare("Sign in", &body).into_string()).into_response()
}
