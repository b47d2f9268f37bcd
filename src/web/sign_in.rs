//! Signing in, where the settings ask for a password: a page for people, `Authorization: Basic`
//! (RFC 7617, any user name) for programs.

use super::form::{Form, FormWord};
use super::guard::{is_safe, who};
use super::pace::Cost;
use super::pages;
use super::refusing::{Turned, is_for_programs, refuse};
use super::server::too_often;
use super::session::LIFETIME;
use super::shown::{SessionWord, Shown};
use axum::Router;
use axum::extract::{RawQuery, Request, State};
use axum::http::{HeaderMap, HeaderValue, StatusCode, header};
use axum::middleware::Next;
use axum::response::{IntoResponse as _, Redirect, Response};
use axum::routing::{get, post};
use base64::Engine as _;
use base64::engine::general_purpose::STANDARD;
use std::time::Instant;

/// What a page that nobody may see without a password still needs: its own looks, which say nothing.
const FOR_ALL: [&str; 2] = ["/sign-in", "/assets/"];

pub fn router() -> Router<Shown> {
    Router::new()
        .route("/sign-in", get(ask).post(sign_in))
        .route("/sign-out", post(sign_out))
}

/// Lets in who is signed in, or gives the password; everybody, where none is asked for.
pub async fn known(State(shown): State<Shown>, mut request: Request, next: Next) -> Response {
    let access = shown.access();
    let Some(hash) = &access.password else {
        return next.run(request).await;
    };
    if let Some(word) = session_word(request.headers(), shown.port())
        && shown.sessions().is_open(&word, Instant::now())
    {
        request.extensions_mut().insert(SessionWord(word));
        return next.run(request).await;
    }
    let path = request.uri().path().to_owned();
    if FOR_ALL
        .iter()
        .any(|open| path == *open || (open.ends_with('/') && path.starts_with(open)))
    {
        return next.run(request).await;
    }
    let Some(password) = basic(request.headers()) else {
        return unknown(&request);
    };
    if shown.sessions().is_known_right(hash, &password) {
        return next.run(request).await;
    }
    let counted = shown
        .pace()
        .count(who(&request), Cost::SignIn, Instant::now());
    if let Err(again) = counted {
        return refuse(&path, &too_often(again));
    }
    match shown.is_right(password).await {
        true => next.run(request).await,
        false => {
            tracing::warn!(peer = %who(&request), "a wrong password was given");
            challenge(&path)
        }
    }
}

/// A person is led to the page where they sign in; a program is told how.
fn unknown(request: &Request) -> Response {
    let uri = request.uri();
    let headers = request.headers();
    let accepts = headers
        .get(header::ACCEPT)
        .and_then(|accept| accept.to_str().ok());
    let is_person = accepts.is_some_and(|accept| accept.contains("text/html"));
    if is_person && is_safe(request.method()) && !is_for_programs(uri.path()) {
        let then = uri.path_and_query().map_or("/", |path| path.as_str());
        let mut query = url::form_urlencoded::Serializer::new(String::new());
        query.append_pair("then", then);
        return Redirect::to(&format!("/sign-in?{}", query.finish())).into_response();
    }
    // A script of our own page must not make the browser ask for a name and a password.
    if headers.contains_key("sec-fetch-mode") {
        let turned = Turned::new(
            StatusCode::FORBIDDEN,
            "nobody is signed in any more",
            "load the page again and sign in",
        );
        return refuse(uri.path(), &turned);
    }
    challenge(uri.path())
}

fn challenge(path: &str) -> Response {
    let turned = Turned::new(
        StatusCode::UNAUTHORIZED,
        "the password is missing or wrong",
        "send it with any user name, as in `curl -u me`, or sign in at /sign-in",
    );
    let mut response = refuse(path, &turned);
    // RFC 7617, section 2.1.
    let challenge = HeaderValue::from_static("Basic realm=\"rigtide\", charset=\"UTF-8\"");
    response
        .headers_mut()
        .insert(header::WWW_AUTHENTICATE, challenge);
    response
}

async fn ask(
    State(shown): State<Shown>,
    FormWord(word): FormWord,
    RawQuery(query): RawQuery,
) -> Response {
    if shown.access().password.is_none() {
        return Redirect::to("/").into_response();
    }
    let query = query.unwrap_or_default();
    let mut fields = url::form_urlencoded::parse(query.as_bytes());
    let then = fields.find(|(name, _)| name == "then");
    let then = then.map(|(_, then)| then.into_owned()).unwrap_or_default();
    pages::sign_in(&word, within(&then), None)
}

async fn sign_in(State(shown): State<Shown>, headers: HeaderMap, form: Form) -> Response {
    let then = within(form.get("then").unwrap_or("")).to_owned();
    let password = form.get("password").unwrap_or("").to_owned();
    if !shown.is_right(password).await {
        tracing::warn!("a wrong password was given at /sign-in");
        let word = shown.sessions().form_word(None);
        let mut response = pages::sign_in(&word, &then, Some("This is not the password."));
        *response.status_mut() = StatusCode::FORBIDDEN;
        return response;
    }
    let Ok(word) = shown.sessions().open(Instant::now()) else {
        return StatusCode::INTERNAL_SERVER_ERROR.into_response();
    };
    set_cookie(Redirect::to(&then).into_response(), &shown, &headers, &word)
}

async fn sign_out(State(shown): State<Shown>, headers: HeaderMap, _form: Form) -> Response {
    if let Some(word) = session_word(&headers, shown.port()) {
        shown.sessions().close(&word);
    }
    set_cookie(
        Redirect::to("/sign-in").into_response(),
        &shown,
        &headers,
        "",
    )
}

/// Gives the browser the word of its session; takes it away with an empty one.
fn set_cookie(mut response: Response, shown: &Shown, headers: &HeaderMap, word: &str) -> Response {
    let name = cookie_name(shown.port());
    let seconds = match word.is_empty() {
        true => 0,
        false => LIFETIME.as_secs(),
    };
    // Over TLS, which an intermediary ends, the browser names its origin with the scheme.
    let origin = headers
        .get(header::ORIGIN)
        .and_then(|origin| origin.to_str().ok());
    let secure = match origin.is_some_and(|origin| origin.starts_with("https://")) {
        true => "; Secure",
        false => "",
    };
    let cookie =
        format!("{name}={word}; Max-Age={seconds}; Path=/; HttpOnly; SameSite=Strict{secure}");
    if let Ok(cookie) = HeaderValue::from_str(&cookie) {
        response.headers_mut().append(header::SET_COOKIE, cookie);
    }
    response
}

/// Cookies of one host are shared by its ports (RFC 6265, 8.5): two daemons must not sign each other
/// out.
fn cookie_name(port: u16) -> String {
    format!("rigtide-session-{port}")
}

fn session_word(headers: &HeaderMap, port: u16) -> Option<String> {
    let name = cookie_name(port);
    let cookies = headers.get_all(header::COOKIE).iter();
    let mut pairs = cookies
        .filter_map(|cookie| cookie.to_str().ok())
        .flat_map(|cookies| cookies.split(';'))
        .filter_map(|cookie| cookie.trim().split_once('='));
    let (_, word) = pairs.find(|(its_name, _)| *its_name == name)?;
    Some(word.to_owned())
}

/// The password that a program gives: RFC 7617, section 2.
fn basic(headers: &HeaderMap) -> Option<String> {
    let value = headers.get(header::AUTHORIZATION)?.to_str().ok()?;
    let (scheme, encoded) = value.split_once(' ')?;
    if !scheme.eq_ignore_ascii_case("basic") {
        return None;
    }
    let given = STANDARD.decode(encoded.trim()).ok()?;
    let given = String::from_utf8(given).ok()?;
    Some(given.split_once(':')?.1.to_owned())
}

/// Where somebody is sent after signing in: a path of ours, whatever a link said. Browsers read `//`,
/// `/\` and what control characters hide as another host (WHATWG URL, "special authority slashes").
fn within(then: &str) -> &str {
    let mut rest = then.chars();
    let is_path = rest.next() == Some('/') && !matches!(rest.next(), Some('/' | '\\'));
    let is_plain = then
        .bytes()
        .all(|byte| byte.is_ascii_graphic() && byte != b'\\');
    match is_path && is_plain {
        true => then,
        false => "/",
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn nobody_is_sent_to_another_host_after_signing_in() {
        for ours in [
            "/",
            "/briefs/desk?budget=1200.00",
            "/parts/a%2Fb#now",
            "/a//b",
        ] {
            assert_eq!(within(ours), ours);
        }
        for theirs in [
            "",
            "briefs",
            "//guide.example",
            "/\\guide.example",
            "\\/guide.example",
            "https://guide.example",
            "/\t/guide.example",
            "/a\r\nSet-Cookie: a=b",
            "javascript:alert(1)",
            " /briefs",
            "/bri\u{202e}efs",
        ] {
            assert_eq!(within(theirs), "/", "{theirs:?}");
            // What stays is on this host, as a browser would resolve it.
            let base = url::Url::parse("http://127.0.0.1:9414/sign-in").unwrap();
            let to = base.join(within(theirs)).unwrap();
            assert_eq!(to.host_str(), Some("127.0.0.1"));
        }
    }

    #[test]
    fn a_password_is_read_as_the_standard_writes_it() {
        let given = |value: &str| {
            let mut headers = HeaderMap::new();
            headers.insert(header::AUTHORIZATION, value.parse().unwrap());
            basic(&headers)
        };
        // RFC 7617, section 2: user "Aladdin", password "open sesame".
        let example = "Basic QWxhZGRpbjpvcGVuIHNlc2FtZQ==";
        assert_eq!(given(example).as_deref(), Some("open sesame"));
        // Section 2.1: user "test", password "123" and a pound sign, in UTF-8.
        assert_eq!(given("basic dGVzdDoxMjPCow==").as_deref(), Some("123£"));
        for none in ["Bearer abc", "Basic", "Basic ???", "Basic QWxhZGRpbg=="] {
            assert_eq!(given(none), None, "{none}");
        }
    }

    #[test]
    fn a_session_is_found_among_other_cookies() {
        let mut headers = HeaderMap::new();
        let cookies = "a=b; rigtide-session-80=no; rigtide-session-9414=yes; c";
        headers.insert(header::COOKIE, cookies.parse().unwrap());
        assert_eq!(session_word(&headers, 9414).as_deref(), Some("yes"));
        assert_eq!(session_word(&headers, 1), None);
    }
}
