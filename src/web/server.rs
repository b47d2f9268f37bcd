//! The server: what is answered where, and what every request goes through first.

use super::desk::Desk;
use super::guard::{self, is_safe, who};
use super::pace::Cost;
use super::refusing::{Turned, refuse};
use super::settings::Access;
use super::shown::Shown;
use super::{Vitals, api, headers, listen, pages, sign_in, vitals};
use axum::Router;
use axum::extract::{Request, State};
use axum::http::{Method, StatusCode, Uri};
use axum::middleware::{Next, from_fn, from_fn_with_state};
use axum::response::Response;
use std::net::SocketAddr;
use std::sync::Arc;
use std::time::{Duration, Instant};
use tokio::net::TcpListener;
use tokio::task::JoinHandle;

/// So long an answer may take until its first byte.
const PATIENCE: Duration = Duration::from_secs(30);

/// Queries that have to be solved for, and the words of paths that work something out.
const ASKS_FOR_A_SOLVE: [&str; 6] = ["budget", "pin", "ban", "own", "price", "most_retailers"];
const WORKS_SOMETHING_OUT: [&str; 8] = [
    "part",
    "past",
    "why",
    "entries",
    "entry-prices",
    "alternatives",
    "guide",
    "proposal",
];
/// The first or last words of paths that try a mapping, which asks the shop if the query says so.
const TRIES: [&str; 2] = ["trial", "try"];

/// A server that ends when dropped, with its connections.
pub struct Serving {
    task: JoinHandle<()>,
    shown: Shown,
    address: SocketAddr,
}

impl Drop for Serving {
    fn drop(&mut self) {
        self.task.abort();
    }
}

/// Takes the address; nobody is answered yet.
///
/// # Errors
/// It cannot be had, as when another program has it.
pub fn bind(address: SocketAddr) -> std::io::Result<TcpListener> {
    let listener = std::net::TcpListener::bind(address)?;
    listener.set_nonblocking(true)?;
    TcpListener::from_std(listener)
}

impl Serving {
    /// Answers who asks.
    ///
    /// # Errors
    /// The listener has no address, or the system no randomness.
    pub fn start(
        listener: TcpListener,
        vitals: Arc<dyn Vitals>,
        desk: Option<Arc<dyn Desk>>,
        access: Access,
    ) -> std::io::Result<Serving> {
        let address = listener.local_addr()?;
        let shown = Shown::new(vitals, desk, address, access).map_err(std::io::Error::other)?;
        let task = tokio::spawn(listen::answer(listener, router(shown.clone())));
        Ok(Serving {
            task,
            shown,
            address,
        })
    }

    pub fn address(&self) -> SocketAddr {
        self.address
    }

    /// From now on these are let in.
    pub fn let_in(&self, access: &Access) {
        self.shown.let_in(access);
    }
}

/// Everything that is answered. What is added last is gone through first.
pub fn router(shown: Shown) -> Router {
    Router::new()
        .merge(vitals::router())
        .merge(api::router())
        .merge(pages::router())
        .merge(sign_in::router())
        .fallback(missing)
        .method_not_allowed_fallback(not_done)
        .layer(from_fn_with_state(shown.clone(), paced))
        .layer(from_fn_with_state(shown.clone(), sign_in::known))
        .layer(from_fn(guard::origin))
        .layer(from_fn_with_state(shown.clone(), guard::host))
        .layer(from_fn(in_time))
        .layer(from_fn(headers::usual))
        .with_state(shown)
}

async fn missing(uri: Uri) -> Response {
    let message = format!("there is nothing at {}", uri.path());
    let turned = Turned::new(StatusCode::NOT_FOUND, message, "begin at the first page, /");
    refuse(uri.path(), &turned)
}

async fn not_done(method: Method, uri: Uri) -> Response {
    let message = format!("{method} is not done at {}", uri.path());
    let remedy = "the header Allow says what is";
    let turned = Turned::new(StatusCode::METHOD_NOT_ALLOWED, message, remedy);
    refuse(uri.path(), &turned)
}

/// An answer that takes too long is given up; what was begun for it ends by its own limits.
async fn in_time(request: Request, next: Next) -> Response {
    let path = request.uri().path().to_owned();
    let answered = tokio::time::timeout(PATIENCE, next.run(request)).await;
    answered.unwrap_or_else(|_| {
        let message = format!("this took more than {} seconds", PATIENCE.as_secs());
        let remedy = "ask again in a while, or by the command line, which waits longer";
        let turned = Turned::new(StatusCode::SERVICE_UNAVAILABLE, message, remedy);
        refuse(&path, &turned.again_in(PATIENCE))
    })
}

/// Lets nobody ask for what costs much more often than the machine bears.
async fn paced(State(shown): State<Shown>, request: Request, next: Next) -> Response {
    let path = request.uri().path();
    let cost = cost(request.method(), path, request.uri().query().unwrap_or(""));
    let counted = cost.map_or(Ok(()), |cost| {
        shown.pace().count(who(&request), cost, Instant::now())
    });
    let Err(again) = counted else {
        return next.run(request).await;
    };
    refuse(path, &too_often(again))
}

/// What somebody is told who asks too often.
pub fn too_often(again: Duration) -> Turned {
    let message = "this was asked too often in a short time";
    let remedy = "wait as long as the header Retry-After says, and ask again";
    Turned::new(StatusCode::TOO_MANY_REQUESTS, message, remedy).again_in(again)
}

fn cost(method: &Method, path: &str, query: &str) -> Option<Cost> {
    let mut words = path.trim_matches('/').split('/');
    let (first, last) = (words.clone().next(), words.clone().next_back());
    let mut fields = url::form_urlencoded::parse(query.as_bytes());
    let is_either = |known: &[&str]| {
        let words = [first, last].into_iter().flatten();
        words.into_iter().any(|word| known.contains(&word))
    };
    if is_either(&TRIES) {
        let asks_the_shop = fields.any(|(name, value)| name == "from" && value == "shop");
        return Some(if asks_the_shop {
            Cost::Poll
        } else {
            Cost::Solve
        });
    }
    if !is_safe(method) {
        return Some(match last {
            Some("sign-in") => Cost::SignIn,
            _ if is_either(&["poll"]) => Cost::Poll,
            _ => Cost::Write,
        });
    }
    let is_other = fields.any(|(name, _)| ASKS_FOR_A_SOLVE.contains(&name.as_ref()));
    (is_other || words.any(|word| WORKS_SOMETHING_OUT.contains(&word))).then_some(Cost::Solve)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_has_to_be_worked_out_or_asked_for_is_counted() {
        for (expected, method, path, query) in [
            (None, Method::GET, "/", ""),
            (None, Method::GET, "/api/v1/briefs/a/ladder", ""),
            (None, Method::HEAD, "/parts", "q=budget&page=2"),
            (
                Some(Cost::Solve),
                Method::GET,
                "/briefs/a",
                "budget=1200.00",
            ),
            (
                Some(Cost::Solve),
                Method::GET,
                "/briefs/a",
                "x=1&%62an=part",
            ),
            (Some(Cost::Solve), Method::GET, "/briefs/a/guide/", ""),
            (Some(Cost::Solve), Method::GET, "/briefs/a/why/part", ""),
            (Some(Cost::Solve), Method::GET, "/part/a", ""),
            (Some(Cost::Write), Method::POST, "/held/3", ""),
            (
                Some(Cost::Poll),
                Method::POST,
                "/api/v1/feeds/shop/a/poll",
                "",
            ),
            (Some(Cost::Poll), Method::POST, "/poll/feed/shop/a", ""),
            (Some(Cost::Solve), Method::GET, "/try/feed/shop/a", ""),
            (
                Some(Cost::Poll),
                Method::GET,
                "/try/feed/shop/a",
                "from=shop",
            ),
            (
                Some(Cost::Poll),
                Method::POST,
                "/api/v1/feeds/shop/a/trial",
                "from=shop",
            ),
            (Some(Cost::SignIn), Method::POST, "/sign-in", ""),
        ] {
            assert_eq!(
                cost(&method, path, query),
                expected,
                "{method} {path}?{query}"
            );
        }
    }
}
