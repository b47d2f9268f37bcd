//! What the tests of the page share: the server over the sample desk, asked without a network.

use super::sample::SampleDesk;
use super::settings::Access;
use super::shown::Shown;
use super::{Family, Health, Vitals, server};
use axum::Router;
use axum::body::{Body, to_bytes};
use axum::http::{HeaderMap, Request, StatusCode};
use std::sync::Arc;
use tower_service::Service as _;

const HOST: &str = "127.0.0.1:9414";

struct Well;

impl Vitals for Well {
    fn health(&self) -> Health {
        Health::default()
    }

    fn metrics(&self) -> Vec<Family> {
        Vec::new()
    }

    fn feed(&self, _: &str) -> Option<String> {
        None
    }
}

/// The whole server over the sample desk, and that desk.
pub fn served() -> (Router, Arc<SampleDesk>) {
    let desk = Arc::new(SampleDesk::default());
    let address = HOST.parse().unwrap();
    let shown = Shown::new(
        Arc::new(Well),
        Some(desk.clone()),
        address,
        Access::default(),
    );
    (server::router(shown.unwrap()), desk)
}

pub struct Answered {
    pub status: StatusCode,
    pub headers: HeaderMap,
    pub body: String,
}

impl Answered {
    pub fn header(&self, name: &str) -> &str {
        let value = self.headers.get(name).map(|value| value.to_str().unwrap());
        value.unwrap_or("")
    }

    pub fn json(&self) -> serde_json::Value {
        serde_json::from_str(&self.body).unwrap()
    }
}

/// Asks with `Host` and what is given besides.
pub async fn ask(router: &Router, line: &str, headers: &[(&str, &str)], body: &str) -> Answered {
    let (method, path) = line.split_once(' ').unwrap();
    let mut request = Request::builder()
        .method(method)
        .uri(path)
        .header("host", HOST);
    for (name, value) in headers {
        request = request.header(*name, *value);
    }
    let request = request.body(Body::from(body.to_owned())).unwrap();
    let response = router.clone().call(request).await.unwrap();
    let (head, body) = response.into_parts();
    let bytes = to_bytes(body, 1 << 24).await.unwrap();
    Answered {
        status: head.status,
        headers: head.headers,
        body: String::from_utf8(bytes.to_vec()).unwrap(),
    }
}

pub async fn get(path: &str) -> Answered {
    ask(&served().0, &format!("GET {path}"), &[], "").await
}
