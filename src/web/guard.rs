//! What a request has to be before anything looks at it: for this machine or a name of the settings,
//! and, if it changes something, from a page of ours or from no page at all.

use super::refusing::{Turned, refuse};
use super::shown::Shown;
use axum::extract::{Request, State};
use axum::http::{HeaderMap, Method, StatusCode, Uri, header};
use axum::middleware::Next;
use axum::response::Response;
use std::net::{IpAddr, SocketAddr};

/// Answers only who names this machine. A page whose own name was pointed at it sends that name (DNS
/// rebinding), and gets 421 (RFC 9110, 15.5.20).
pub async fn host(State(shown): State<Shown>, request: Request, next: Next) -> Response {
    let access = shown.access();
    let is_ours = |host: &str| is_ours(host, shown.is_for_others(), &access.names);
    let turned = match names(request.uri(), request.headers()) {
        names if names.is_empty() => Turned::new(
            StatusCode::BAD_REQUEST,
            "the request names no host",
            "send the header Host",
        ),
        names if !names.iter().all(|host| is_ours(host)) => Turned::new(
            StatusCode::MISDIRECTED_REQUEST,
            "nothing is answered under this name",
            "ask by a loopback address, or write the name into `names` under [web]",
        ),
        _ => return next.run(request).await,
    };
    refuse(request.uri().path(), &turned)
}

/// Lets what changes something come only from a page of ours, or from a program, which names none. A
/// browser says by itself where a request comes from: `Sec-Fetch-Site` (W3C Fetch Metadata Request
/// Headers) and `Origin` (RFC 6454, section 7; Fetch, "append a request Origin header"). What changes
/// nothing others may link to, and not build into their pages.
pub async fn origin(request: Request, next: Next) -> Response {
    let is_welcome = match is_safe(request.method()) {
        true => is_ours_or_a_link(request.headers()),
        false => is_from_us(request.uri(), request.headers()),
    };
    if is_welcome {
        return next.run(request).await;
    }
    let turned = Turned::new(
        StatusCode::FORBIDDEN,
        "this was asked by a page of somebody else",
        "open the page itself and ask there",
    );
    refuse(request.uri().path(), &turned)
}

/// RFC 9110, 9.2.1: methods that change nothing.
pub fn is_safe(method: &Method) -> bool {
    matches!(*method, Method::GET | Method::HEAD | Method::OPTIONS)
}

/// Every name that the request is for.
fn names<'r>(uri: &'r Uri, headers: &'r HeaderMap) -> Vec<&'r str> {
    let hosts = headers.get_all(header::HOST).iter();
    let hosts = hosts.map(|host| host.to_str().unwrap_or(""));
    let authority = uri.authority().map(|authority| authority.as_str());
    hosts.chain(authority).collect()
}

/// Whether a name is one of this machine, or of the settings. Where others are let in at all, they
/// come by any address: a name that was pointed here cannot be an address.
fn is_ours(host: &str, is_for_others: bool, names: &[String]) -> bool {
    let name = without_port(host);
    let bare = name
        .strip_prefix('[')
        .and_then(|rest| rest.strip_suffix(']'));
    if let Ok(address) = bare.unwrap_or(name).parse::<IpAddr>() {
        return is_for_others || address.is_loopback();
    }
    name.eq_ignore_ascii_case("localhost")
        || names.iter().any(|known| name.eq_ignore_ascii_case(known))
}

fn without_port(host: &str) -> &str {
    if host.parse::<IpAddr>().is_ok() {
        return host;
    }
    match host.rsplit_once(':') {
        Some((name, port)) if !port.is_empty() && port.bytes().all(|one| one.is_ascii_digit()) => {
            name
        }
        _ => host,
    }
}

fn is_ours_or_a_link(headers: &HeaderMap) -> bool {
    let says = |name: &str| headers.get(name).map(|value| value.to_str().unwrap_or(""));
    match says("sec-fetch-site") {
        None | Some("same-origin" | "none") => true,
        Some(_) => says("sec-fetch-mode") == Some("navigate"),
    }
}

fn is_from_us(uri: &Uri, headers: &HeaderMap) -> bool {
    let text = |value: &axum::http::HeaderValue| value.to_str().unwrap_or("").to_owned();
    let sites = headers.get_all("sec-fetch-site").iter();
    let is_same_site = sites
        .map(text)
        .all(|site| site == "same-origin" || site == "none");
    let hosts = names(uri, headers);
    let is_host = |origin: String| {
        let rest = (origin.strip_prefix("http://")).or_else(|| origin.strip_prefix("https://"));
        rest.is_some_and(|rest| hosts.iter().all(|host| same_place(rest, host)))
    };
    is_same_site
        && headers
            .get_all(header::ORIGIN)
            .iter()
            .map(text)
            .all(is_host)
}

/// Whether an origin and a `Host` name one place. An intermediary that ends TLS leaves out or adds the
/// usual port.
fn same_place(origin: &str, host: &str) -> bool {
    let plain = |text: &str| {
        let text = text.to_ascii_lowercase();
        let text = text
            .strip_suffix(":80")
            .or_else(|| text.strip_suffix(":443"));
        text.map(str::to_owned)
    };
    let short = |text: &str| plain(text).unwrap_or_else(|| text.to_ascii_lowercase());
    short(origin) == short(host)
}

/// The peer of a connection.
#[derive(Debug, Clone, Copy)]
pub struct Peer(pub SocketAddr);

/// Who asks, as far as limits go: a network of 64 bits is one household (RFC 6177; common practice).
pub fn who(request: &Request) -> IpAddr {
    let peer = request.extensions().get::<Peer>();
    match peer.map(|peer| peer.0.ip().to_canonical()) {
        None => IpAddr::V4(std::net::Ipv4Addr::UNSPECIFIED),
        Some(IpAddr::V6(address)) if !address.is_loopback() => {
            let network = u128::from(address) & !u128::from(u64::MAX);
            IpAddr::V6(network.into())
        }
        Some(address) => address,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use axum::http::{HeaderName, HeaderValue};

    #[test]
    fn only_names_of_this_machine_are_answered() {
        for host in [
            "localhost",
            "LOCALHOST:9414",
            "127.0.0.1",
            "127.0.0.1:80",
            "127.3.2.1",
            "[::1]",
            "[::1]:9414",
        ] {
            assert!(is_ours(host, false, &[]), "{host}");
        }
        for host in [
            "",
            ":80",
            "guide.example",
            "localhost.guide.example",
            "127.0.0.1.guide.example",
            "192.0.2.7",
            "[2001:db8::1]:9414",
            "0.0.0.0:9414",
            "127.0.0.1:80:80",
            "localhost:",
            "user@localhost",
        ] {
            assert!(!is_ours(host, false, &[]), "{host}");
        }
    }

    #[test]
    fn others_are_answered_under_addresses_and_the_names_of_the_settings() {
        let names = ["desk.example.org".to_owned()];
        for host in ["192.0.2.7:9414", "[2001:db8::1]", "Desk.Example.org:443"] {
            assert!(is_ours(host, true, &names), "{host}");
        }
        for host in ["guide.example", "desk.example.org.evil.example", ""] {
            assert!(!is_ours(host, true, &names), "{host}");
        }
    }

    fn from_us(headers: &[(&str, &str)]) -> bool {
        let mut map = HeaderMap::new();
        map.insert(header::HOST, HeaderValue::from_static("127.0.0.1:9414"));
        for (name, value) in headers {
            let name: HeaderName = name.parse().unwrap();
            map.append(name, value.parse().unwrap());
        }
        is_from_us(&Uri::from_static("/held"), &map)
    }

    #[test]
    fn a_page_of_somebody_else_changes_nothing() {
        // A program names neither, and a page of ours both.
        assert!(from_us(&[]));
        assert!(from_us(&[
            ("origin", "http://127.0.0.1:9414"),
            ("sec-fetch-site", "same-origin"),
        ]));
        for foreign in [
            [("origin", "null")],
            [("origin", "http://guide.example")],
            [("origin", "http://127.0.0.1:8080")],
            [("origin", "http://127.0.0.1:9414.guide.example")],
            [("origin", "file://127.0.0.1:9414")],
            [("sec-fetch-site", "cross-site")],
            [("sec-fetch-site", "same-site")],
            [("sec-fetch-site", "")],
        ] {
            assert!(!from_us(&foreign), "{foreign:?}");
        }
        // One of two is enough to refuse it.
        let two = ["http://127.0.0.1:9414", "http://guide.example"];
        assert!(!from_us(&[("origin", two[0]), ("origin", two[1])]));
    }

    #[test]
    fn others_may_link_to_a_page_and_not_build_it_into_theirs() {
        let asked = |site: &'static str, mode: &'static str| {
            let mut map = HeaderMap::new();
            map.insert("sec-fetch-site", HeaderValue::from_static(site));
            map.insert("sec-fetch-mode", HeaderValue::from_static(mode));
            is_ours_or_a_link(&map)
        };
        assert!(is_ours_or_a_link(&HeaderMap::new()));
        assert!(asked("same-origin", "cors") && asked("none", "navigate"));
        assert!(asked("cross-site", "navigate"));
        assert!(!asked("cross-site", "no-cors") && !asked("same-site", "cors"));
    }

    #[test]
    fn an_intermediary_may_leave_out_the_usual_port() {
        assert!(same_place("desk.example.org", "desk.example.org:443"));
        assert!(same_place("Desk.example.org:80", "desk.example.org"));
        assert!(!same_place("desk.example.org:8443", "desk.example.org"));
    }
}
