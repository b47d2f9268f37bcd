//! Fetching from servers that behave, and from servers that do not. The ids are those of the
//! project's table of pitfalls; RFC 9110 and 9112 say what whole and unchanged mean.

use crate::support::feed::{SECRET, access, failed, fetch, fetch_known, fetcher, fresh, now, text};
use crate::support::server::{Seen, Server, Step, answer, head};
use rigtide::feeds::http::{
    Ended, Expects, FaultKind, Freshness, Outcome, Phase, Reason, Request, Unchanged,
};
use std::io::Write;
use std::time::Duration;
use url::Url;

const CSV: &str = "id;title;price\n1;Tern board;129,90\n";

#[tokio::test]
async fn a_request_names_the_program_and_whom_to_write_to() {
    let server =
        Server::start(|_| answer(200, &[("Content-Type", "text/csv; charset=utf-8")], CSV)).await;
    let url = server.url("/feed?a=b");
    let access = access(
        &url,
        "headers = { Accept-Language = \"de\" }\nbearer_env = \"T\"",
    );
    let mut document = fresh(fetch(&fetcher(), &access, &url).await);
    assert_eq!(text(&mut document), CSV);
    assert_eq!(
        document.content_type.as_deref(),
        Some("text/csv; charset=utf-8")
    );
    assert_eq!(document.ended, Ended::AsStated);
    assert_eq!(document.final_url.as_str(), url);
    assert_eq!(document.moved_to, None);
    let seen = &server.seen()[0];
    assert_eq!(seen.path, "/feed?a=b");
    let agent = format!(
        "rigtide/{} (+editor@guide.example)",
        env!("CARGO_PKG_VERSION")
    );
    assert_eq!(seen.header("user-agent"), Some(agent.as_str()));
    assert_eq!(seen.header("accept-language"), Some("de"));
    assert_eq!(
        seen.header("authorization"),
        Some(format!("Bearer {SECRET}").as_str())
    );
    assert_eq!(seen.header("accept-encoding"), Some("gzip"));
    assert_eq!(seen.header("if-none-match"), None);
}

// H01, H03, H05.
#[tokio::test]
async fn validators_go_back_letter_for_letter_and_304_means_unchanged() {
    let validators = [("ETag", "W/\"a1\""), ("Last-Modified", "vorgestern")];
    let server = Server::start(move |seen| match seen.header("if-none-match") {
        Some("W/\"a1\"") => vec![Step::Send(head(304, &[("ETag", "W/\"a2\"")]))],
        _ => answer(200, &validators, CSV),
    })
    .await;
    let (url, fetcher) = (server.url("/feed"), fetcher());
    let access = access(&url, "");
    let first = fresh(fetch(&fetcher, &access, &url).await);
    let again = fetch_known(&fetcher, &access, &url, Some(&first.validators)).await;
    let Outcome::Unchanged {
        validators,
        why: Unchanged::NotModified,
    } = again
    else {
        panic!("{again:?}");
    };
    assert_eq!(validators.etag.as_deref(), Some("W/\"a2\""));
    assert_eq!(validators.body_digest, first.validators.body_digest);
    let seen = server.seen();
    assert_eq!(seen[1].header("if-modified-since"), Some("vorgestern"));
}

// H02.
#[tokio::test]
async fn a_304_that_nobody_asked_for_is_asked_again_without_conditions() {
    let server = Server::start(|seen| match seen.nth {
        0 => vec![Step::Send(head(304, &[]))],
        _ => answer(200, &[], CSV),
    })
    .await;
    let url = server.url("/feed");
    let mut document = fresh(fetch(&fetcher(), &access(&url, ""), &url).await);
    assert_eq!(text(&mut document), CSV);
    assert_eq!(server.seen()[1].header("cache-control"), Some("no-cache"));

    let stubborn = Server::start(|_| vec![Step::Send(head(304, &[]))]).await;
    let url = stubborn.url("/feed");
    let fault = failed(fetch(&fetcher(), &access(&url, ""), &url).await);
    assert_eq!(fault.kind(), FaultKind::Server);
    assert_eq!(stubborn.seen().len(), 2);
}

// H04.
#[tokio::test]
async fn the_same_bytes_under_another_tag_are_unchanged() {
    let server = Server::start(|seen| {
        let tag = format!("\"a-{}-gzip\"", seen.nth);
        answer(200, &[("ETag", &tag)], CSV)
    })
    .await;
    let (url, fetcher) = (server.url("/feed"), fetcher());
    let access = access(&url, "");
    let first = fresh(fetch(&fetcher, &access, &url).await);
    let again = fetch_known(&fetcher, &access, &url, Some(&first.validators)).await;
    assert!(
        matches!(
            again,
            Outcome::Unchanged {
                why: Unchanged::SameBytes,
                ..
            }
        ),
        "{again:?}"
    );
}

// RFC 9111 4.2.
#[tokio::test]
async fn an_answer_that_is_still_fresh_is_not_asked_for_again() {
    let server = Server::start(|seen| {
        let body = format!("{CSV}{}", seen.nth);
        answer(200, &[("Cache-Control", "max-age=600")], body)
    })
    .await;
    let (url, fetcher) = (server.url("/feed"), fetcher());
    let access = access(&url, "");
    let first = fresh(fetch(&fetcher, &access, &url).await);
    let again = fetch_known(&fetcher, &access, &url, Some(&first.validators)).await;
    assert!(
        matches!(
            again,
            Outcome::Unchanged {
                why: Unchanged::StillFresh,
                ..
            }
        ),
        "{again:?}"
    );
    assert_eq!(server.seen().len(), 1);
    let url = Url::parse(&url).unwrap();
    let mut request = Request {
        url: &url,
        access: &access,
        known: Some(&first.validators),
        expects: Expects::Data,
        freshness: Freshness::Ignored,
        now: now(),
    };
    fresh(fetcher.fetch(&request).await);
    request.freshness = Freshness::Respected;
    request.now = now() + Duration::from_secs(700);
    fresh(fetcher.fetch(&request).await);
    assert_eq!(server.seen().len(), 3);
}

// H06 and H07.
#[tokio::test]
async fn a_page_in_place_of_data_fails_the_fetch() {
    let login = "<!DOCTYPE html><title>Anmelden</title><form><input type=\"password\"></form>";
    let page = "<!DOCTYPE html><title>Kestrel Parts</title>";
    for (body, kind) in [(login, FaultKind::Blocked), (page, FaultKind::WrongContent)] {
        for packed in [false, true] {
            let server = Server::start(move |_| match packed {
                true => answer(200, &[("Content-Encoding", "gzip")], gzip(body.as_bytes())),
                false => answer(200, &[("Content-Type", "text/csv")], body),
            })
            .await;
            let url = server.url("/feed");
            let fault = failed(fetch(&fetcher(), &access(&url, ""), &url).await);
            assert_eq!(fault.kind(), kind, "{fault}");
        }
    }
}

// H09, H10; the statuses of RFC 9110 15.
#[tokio::test]
async fn a_status_says_what_kind_of_failure_it_is() {
    for (status, kind) in [
        (204, FaultKind::Server),
        (206, FaultKind::Server),
        (400, FaultKind::Server),
        (401, FaultKind::Blocked),
        (403, FaultKind::Blocked),
        (404, FaultKind::Gone),
        (410, FaultKind::Gone),
        (500, FaultKind::Server),
        (503, FaultKind::Server),
    ] {
        let server = Server::start(move |_| answer(status, &[], "")).await;
        let url = server.url("/feed");
        let fault = failed(fetch(&fetcher(), &access(&url, ""), &url).await);
        assert_eq!(fault.kind(), kind, "{status}");
        assert!(fault.to_string().contains(&status.to_string()), "{fault}");
        assert_eq!(server.seen().len(), 1, "{status}");
    }
}

// H15; RFC 9112 8: a message that ends before its length or its last chunk is incomplete.
#[tokio::test]
async fn a_body_that_is_not_whole_is_dropped() {
    let short = |_: &Seen| {
        let mut bytes = head(200, &[("Content-Length", "10000")]);
        bytes.extend_from_slice(&[b'x'; 6000]);
        vec![Step::Send(bytes), Step::Close]
    };
    let server = Server::start(short).await;
    let url = server.url("/feed");
    let fault = failed(fetch(&fetcher(), &access(&url, ""), &url).await);
    let expected = Some(10_000);
    assert_eq!(
        fault.reason,
        Reason::Truncated {
            received: 6000,
            expected
        }
    );

    let no_last_chunk = |_: &Seen| {
        let mut bytes = head(200, &[("Transfer-Encoding", "chunked")]);
        bytes.extend_from_slice(b"5\r\nabcde\r\n");
        vec![Step::Send(bytes), Step::Close]
    };
    let server = Server::start(no_last_chunk).await;
    let url = server.url("/feed");
    let fault = failed(fetch(&fetcher(), &access(&url, ""), &url).await);
    let expected = None;
    assert_eq!(
        fault.reason,
        Reason::Truncated {
            received: 5,
            expected
        }
    );
}

// H16.
#[tokio::test]
async fn a_body_that_only_the_connection_ends_is_marked() {
    let server = Server::start(|_| {
        vec![
            Step::Send(head(200, &[])),
            Step::Send(CSV.into()),
            Step::Close,
        ]
    })
    .await;
    let url = server.url("/feed");
    let mut document = fresh(fetch(&fetcher(), &access(&url, ""), &url).await);
    assert_eq!(document.ended, Ended::ByClose);
    assert_eq!(text(&mut document), CSV);
}

// H17.
#[tokio::test]
async fn a_kept_connection_that_closes_under_a_request_is_retried_once() {
    let server = Server::start(|seen| match (seen.path.as_str(), seen.nth) {
        ("/b", 0) => vec![Step::Close],
        _ => answer(200, &[], CSV),
    })
    .await;
    let fetcher = fetcher();
    let access = access(&server.url("/a"), "");
    fresh(fetch(&fetcher, &access, &server.url("/a")).await);
    fresh(fetch(&fetcher, &access, &server.url("/b")).await);
    let seen = server.seen();
    assert_eq!(seen.len(), 3);
    assert_eq!(seen[0].connection, seen[1].connection);
    assert_ne!(seen[1].connection, seen[2].connection);

    let broken = Server::start(|_| vec![Step::Close]).await;
    let url = broken.url("/feed");
    let fault = failed(fetch(&fetcher, &access, &url).await);
    assert_eq!(fault.kind(), FaultKind::Network, "{fault}");
    assert_eq!(broken.seen().len(), 2);
}

// H18.
#[tokio::test]
async fn silence_and_slowness_end_at_their_limits() {
    let pause = Duration::from_millis(50);
    let drip = move |_: &Seen| {
        let bytes = vec![b'x'; 1000];
        let start = head(200, &[("Content-Length", "1000")]);
        vec![Step::Send(start), Step::Drip(bytes, pause)]
    };
    let hang = |_: &Seen| vec![Step::Hang];
    let stall = |_: &Seen| {
        vec![
            Step::Send(head(200, &[("Content-Length", "9")])),
            Step::Hang,
        ]
    };
    let (short, long) = (Duration::from_millis(200), Duration::from_secs(9));
    for (server, read, total, phase) in [
        (Server::start(drip).await, long, short, Phase::EndOfDocument),
        (Server::start(hang).await, short, long, Phase::Answer),
        (Server::start(stall).await, short, long, Phase::Bytes),
    ] {
        let url = server.url("/feed");
        let mut access = access(&url, "");
        (access.limits.read, access.limits.total) = (read, total);
        access.limits.connect = short;
        let fault = failed(fetch(&fetcher(), &access, &url).await);
        let limit = short;
        assert_eq!(fault.reason, Reason::Timeout { phase, limit }, "{fault}");
    }
}

#[tokio::test]
async fn the_size_limit_holds_for_stated_endless_and_packed_bodies() {
    let stated = |_: &Seen| answer(200, &[], vec![b'x'; 2 << 20]);
    let endless = |_: &Seen| {
        vec![
            Step::Send(head(200, &[])),
            Step::SendForever(vec![b'x'; 4096]),
        ]
    };
    for server in [Server::start(stated).await, Server::start(endless).await] {
        let url = server.url("/feed");
        let fault = failed(fetch(&fetcher(), &access(&url, "body_limit_mb = 1"), &url).await);
        let limit_bytes = 1 << 20;
        assert_eq!(fault.reason, Reason::TooLarge { limit_bytes });
    }
    // F13: packed, a bomb is small. It is handed on packed, and the decoder holds the limit.
    let bomb = gzip(&vec![b'0'; 64 << 20]);
    let packed = bomb.clone();
    let server =
        Server::start(move |_| answer(200, &[("Content-Encoding", "gzip")], &packed)).await;
    let url = server.url("/feed");
    let document = fresh(fetch(&fetcher(), &access(&url, "body_limit_mb = 1"), &url).await);
    assert_eq!(document.body.length(), bomb.len() as u64);
}

// H24.
#[tokio::test]
async fn no_message_repeats_a_secret() {
    let server = Server::start(|seen| match seen.nth {
        0 => answer(302, &[("Location", &format!("{}&again=1", seen.path))], ""),
        _ => answer(500, &[], ""),
    })
    .await;
    let template = server.url("/feed?access={env:TOKEN}");
    let access = access(&template, "basic_user = \"me\"\nbasic_password_env = \"P\"");
    let sent = server.url("/feed?access=hush%2F42%26x");
    let fault = failed(fetch(&fetcher(), &access, &sent).await);
    let shown = format!("{fault} {fault:?} {access:?}");
    assert!(shown.contains("access=***&again=1"), "{shown}");
    for secret in [SECRET, "hush", "bWU6"] {
        assert!(!shown.contains(secret), "{secret} in {shown}");
    }
}

// H21 needs to know this kind; `.invalid` never resolves (RFC 6761 6.4).
#[tokio::test]
async fn a_name_that_does_not_resolve_is_a_dns_fault() {
    let url = "http://kestrel.invalid/feed";
    let fault = failed(fetch(&fetcher(), &access(url, ""), url).await);
    assert_eq!(fault.kind(), FaultKind::Dns, "{fault}");
}

// H27.
#[tokio::test]
async fn a_refused_connection_names_each_address_and_cause() {
    let port = Server::start(|_| vec![Step::Close]).await.port();
    // The server is dropped: nobody listens on its port.
    let url = format!("http://localhost:{port}/feed");
    let fault = failed(fetch(&fetcher(), &access(&url, ""), &url).await);
    assert_eq!(fault.kind(), FaultKind::Network, "{fault}");
    assert!(
        fault
            .to_string()
            .contains(&format!("127.0.0.1:{port} connection refused")),
        "{fault}"
    );
}

fn gzip(bytes: &[u8]) -> Vec<u8> {
    let mut packed = flate2::write::GzEncoder::new(Vec::new(), flate2::Compression::best());
    packed.write_all(bytes).unwrap();
    packed.finish().unwrap()
}
