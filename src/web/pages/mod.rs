//! The pages: what a person looks at. Nothing is worked out here; what they show comes from the desk.

use super::form;
use super::refusing::{Turned, title};
use super::shown::Shown;
use axum::Router;
use axum::response::{Html, IntoResponse as _, Response};
use maud::{DOCTYPE, html};

/// Every page.
pub fn router() -> Router<Shown> {
    Router::new()
}

/// A page that says no; its status is set by whoever refuses.
pub fn refused(turned: &Turned) -> Response {
    let title = title(turned.status);
    let text = format!("{title}: {}\n{}\n", turned.message, turned.remedy);
    text.into_response()
}

/// The page where somebody signs in: `word` for its form, where they go then, and what went wrong.
pub fn sign_in(word: &str, then: &str, wrong: Option<&str>) -> Response {
    let field = form::FIELD;
    let page = html! {
        (DOCTYPE)
        html lang="en" {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width, initial-scale=1";
                title { "Sign in" }
            }
            body {
                main {
                    h1 { "Sign in" }
                    @if let Some(wrong) = wrong {
                        p role="alert" { (wrong) }
                    }
                    form method="post" action="/sign-in" {
                        input type="hidden" name=(field) value=(word);
                        input type="hidden" name="then" value=(then);
                        label for="password" { "Password" }
                        input #password type="password" name="password" required
                            autocomplete="current-password" autofocus;
                        button { "Sign in" }
                    }
                }
            }
        }
    };
    Html(page.into_string()).into_response()
}
