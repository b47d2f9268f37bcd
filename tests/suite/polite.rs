//! One request at a time to each host, pauses, and rest where the host asks for it
//! (pitfalls H11, H12, H18, H22; RFC 9110 10.2.3).

use crate::support::feed::{access, failed, fetch, fetcher, fresh, now};
use crate::support::server::{Server, Step, answer, head, within_deadline};
use rigtide::feeds::http::{Expects, FaultKind, Freshness, Outcome, Reason, Request};
use std::sync::Arc;
use std::time::Duration;
use url::Url;

// H22.
#[tokio::test]
async fn a_host_gets_one_request_at_a_time_with_a_pause_between() {
    let pause = Duration::from_millis(30);
    let server = Server::start(|_| {
        let bytes = head(200, &[("Content-Length", "4")]);
        vec![
            Step::Send(bytes),
            Step::Drip(b"a;b\n".to_vec(), Duration::from_millis(2)),
        ]
    })
    .await;
    let fetcher = Arc::new(fetcher());
    let mut tasks = Vec::new();
    for number in 0..6 {
        let (fetcher, url) = (Arc::clone(&fetcher), server.url(&format!("/feed/{number}")));
        let mut access = access(&url, "");
        access.minimum_interval = pause;
        tasks.push(tokio::spawn(async move {
            fresh(fetch(&fetcher, &access, &url).await)
        }));
    }
    for task in tasks {
        within_deadline(task).await.unwrap();
    }
    let seen = server.seen();
    assert_eq!(
        (seen.len(), server.n_robots(), server.most_busy()),
        (6, 1, 1)
    );
    for pair in seen.windows(2) {
        assert!(pair[1].at - pair[0].at >= pause);
    }
}

// H18: one bad feed never delays another.
#[tokio::test]
async fn a_host_that_hangs_does_not_delay_another() {
    let bad = Server::start(|_| vec![Step::Hang]).await;
    let good = Server::start(|_| answer(200, &[], "a;b\n")).await;
    let fetcher = Arc::new(fetcher());
    let url = bad.url("/feed");
    let mut waiting = access(&url, "");
    waiting.limits.read = Duration::from_secs(3600);
    waiting.limits.total = Duration::from_secs(3600);
    let stuck = {
        let fetcher = Arc::clone(&fetcher);
        tokio::spawn(async move { fetch(&fetcher, &waiting, &url).await })
    };
    let url = good.url("/feed");
    fresh(fetch(&fetcher, &access(&url, ""), &url).await);
    assert!(!stuck.is_finished());
    stuck.abort();
}

// H11.
#[tokio::test]
async fn a_host_that_asks_for_rest_gets_it_from_every_feed() {
    for (status, value) in [(429, "120"), (503, "Mon, 15 Jun 2026 12:02:00 GMT")] {
        let server = Server::start(move |seen| match seen.path.as_str() {
            "/busy" => answer(status, &[("Retry-After", value)], ""),
            _ => answer(200, &[], "a;b\n"),
        })
        .await;
        let fetcher = fetcher();
        let busy = server.url("/busy");
        let fault = failed(fetch(&fetcher, &access(&busy, ""), &busy).await);
        assert_eq!(fault.kind(), FaultKind::Server);
        let asked = fault.retry_after.unwrap();
        assert!(
            asked.abs_diff(Duration::from_secs(120)) < Duration::from_secs(5),
            "{asked:?}"
        );

        let other = server.url("/other");
        let fault = failed(fetch(&fetcher, &access(&other, ""), &other).await);
        assert!(
            matches!(fault.reason, Reason::HostResting { .. }),
            "{fault}"
        );
        assert_eq!(server.seen().len(), 1);

        let (other, access) = (Url::parse(&other).unwrap(), access(&other, ""));
        let later = Request {
            url: &other,
            access: &access,
            known: None,
            expects: Expects::Data,
            freshness: Freshness::Respected,
            now: now() + Duration::from_secs(130),
        };
        fresh(fetcher.fetch(&later).await);
    }
}

// H12.
#[tokio::test]
async fn an_unreadable_rest_is_ignored_and_a_huge_one_capped() {
    for (value, rest_s) in [
        ("Fri, 31 Dec 1999 23:59:59 GMT", 0),
        ("-5", 0),
        ("soon", 0),
        ("999999999", 24 * 3600),
    ] {
        let server = Server::start(move |_| answer(503, &[("Retry-After", value)], "")).await;
        let (url, fetcher) = (server.url("/feed"), fetcher());
        let fault = failed(fetch(&fetcher, &access(&url, ""), &url).await);
        assert!(
            fault.retry_after.unwrap_or_default().as_secs() <= rest_s,
            "{value}"
        );
        let resting = fetcher.hosts().resting(now());
        match rest_s {
            0 => assert_eq!(resting, [], "{value}"),
            rest_s => {
                let until = now() + Duration::from_secs(rest_s);
                assert!((resting[0].1 - until).num_seconds() < 5, "{value}");
            }
        }
    }
}

#[tokio::test]
async fn a_rest_can_be_remembered_over_a_restart() {
    let server = Server::start(|_| answer(200, &[], "a;b\n")).await;
    let (url, fetcher) = (server.url("/feed"), fetcher());
    let authority = format!("127.0.0.1:{}", server.port());
    fetcher
        .hosts()
        .rest(&authority, now() + Duration::from_secs(60));
    let outcome = fetch(&fetcher, &access(&url, ""), &url).await;
    assert!(matches!(&outcome, Outcome::Failed(fault) if fault.kind() == FaultKind::Resting));
    assert!(server.seen().is_empty() && server.n_robots() == 0);
}
