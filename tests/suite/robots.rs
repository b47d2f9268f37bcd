//! robots.txt: RFC 9309's own cases, and what the fetcher does with the file.

use crate::support::feed::{access, failed, fetch, fetcher, fresh, now};
use crate::support::server::{Server, answer, redirect};
use crate::support::{facts, server::Step};
use rigtide::feeds::http::{Expects, FaultKind, Freshness, Reason, Request};
use rigtide::feeds::robots::{RobotsRules, Verdict};
use std::time::Duration;
use url::Url;

// `robots_cases.csv`: examples of RFC 9309 and cases after google/robotstxt, as its rows say.
#[test]
fn the_published_cases_are_decided_as_published() {
    let Some(cases) = facts::read("robots_cases.csv") else {
        return;
    };
    let mut n_cases = 0;
    for row in csv::Reader::from_reader(cases.as_bytes()).records() {
        let row = row.unwrap();
        let rules = RobotsRules::parse(unescape(&row[1]).as_bytes(), &row[2]);
        let allowed = rules.verdict(&row[3]) == Verdict::Allowed;
        assert_eq!(
            allowed,
            &row[4] == "allow",
            "case {}: {} {}",
            &row[0],
            &row[1],
            &row[3]
        );
        n_cases += 1;
    }
    assert_eq!(n_cases, 73);
}

fn unescape(text: &str) -> String {
    text.replace("\\n", "\n")
        .replace("\\r", "\r")
        .replace("\\uFEFF", "\u{feff}")
}

#[tokio::test]
async fn a_refused_path_is_not_asked_for() {
    let server = Server::start_whole(|seen| match seen.path.as_str() {
        "/robots.txt" => answer(200, &[], "User-agent: Rigtide\nDisallow: /private\n"),
        "/moved" => redirect(302, "/private/feed"),
        _ => answer(200, &[], "a;b\n"),
    })
    .await;
    let fetcher = fetcher();
    let access = access(&server.url("/feed"), "");
    let asked_for = server.url("/private/feed");
    let fault = failed(fetch(&fetcher, &access, &asked_for).await);
    let rule = "Disallow: /private".to_owned();
    assert_eq!(fault.reason, Reason::RobotsRefuse { rule });
    assert!(server.seen().is_empty());
    // The rules hold for where a redirect leads, too.
    let fault = failed(fetch(&fetcher, &access, &server.url("/moved")).await);
    assert_eq!(fault.kind(), FaultKind::Robots);
    assert_eq!(server.seen().len(), 1);
    fresh(fetch(&fetcher, &access, &server.url("/feed")).await);
    assert_eq!(server.n_robots(), 1);
}

// R01; RFC 9309 2.3.1.3 and 2.3.1.4.
#[tokio::test]
async fn missing_means_yes_and_unreachable_means_no() {
    for (status, allowed) in [
        (404, true),
        (403, true),
        (410, true),
        (500, false),
        (503, false),
        (429, false),
    ] {
        let server = Server::start_whole(move |seen| match seen.path.as_str() {
            "/robots.txt" => answer(status, &[], ""),
            _ => answer(200, &[], "a;b\n"),
        })
        .await;
        let url = server.url("/feed");
        let outcome = fetch(&fetcher(), &access(&url, ""), &url).await;
        match allowed {
            true => drop(fresh(outcome)),
            false => {
                let fault = failed(outcome);
                assert!(
                    matches!(fault.reason, Reason::RobotsUnreachable { .. }),
                    "{status}: {fault}"
                );
            }
        }
        assert_eq!(server.seen().len(), usize::from(allowed), "{status}");
    }
    let silent = Server::start_whole(|_| vec![Step::Hang]).await;
    let url = silent.url("/feed");
    let mut access = access(&url, "");
    access.limits.read = Duration::from_millis(100);
    access.limits.connect = Duration::from_millis(100);
    let fault = failed(fetch(&fetcher(), &access, &url).await);
    assert!(
        matches!(fault.reason, Reason::RobotsUnreachable { .. }),
        "{fault}"
    );
}

// RFC 9309 2.3.1.2: rules found behind redirects apply to the first host; five are followed.
#[tokio::test]
async fn redirects_of_the_file_itself_are_followed() {
    let elsewhere =
        Server::start_whole(|_| answer(200, &[], "User-agent: *\nDisallow: /feed\n")).await;
    let target = elsewhere.url("/robots.txt");
    let server = Server::start_whole(move |seen| match seen.path.as_str() {
        "/robots.txt" => redirect(301, &target),
        _ => answer(200, &[], "a;b\n"),
    })
    .await;
    let url = server.url("/feed");
    let fault = failed(fetch(&fetcher(), &access(&url, ""), &url).await);
    assert_eq!(fault.kind(), FaultKind::Robots);

    let endless = Server::start_whole(|seen| match seen.path.as_str() {
        "/feed" => answer(200, &[], "a;b\n"),
        path => redirect(302, &format!("{path}x")),
    })
    .await;
    let url = endless.url("/feed");
    fresh(fetch(&fetcher(), &access(&url, ""), &url).await);
}

// R08, and RFC 9309 2.4.
#[tokio::test]
async fn a_web_page_as_robots_txt_refuses_nothing_and_counts_for_a_day() {
    let server =
        Server::start_whole(|_| answer(200, &[], "<!doctype html><title>Shop</title>")).await;
    let fetcher = fetcher();
    let url = server.url("/feed");
    let (access, url) = (access(&url, ""), Url::parse(&url).unwrap());
    for (hours, n_robots) in [(0, 1), (23, 1), (25, 2), (26, 2)] {
        let request = Request {
            url: &url,
            access: &access,
            known: None,
            expects: Expects::WebPage,
            freshness: Freshness::Ignored,
            now: now() + Duration::from_secs(hours * 3600),
        };
        fresh(fetcher.fetch(&request).await);
        assert_eq!(server.n_robots(), n_robots, "{hours} h");
    }
}

// R09.
#[tokio::test]
async fn a_crawl_delay_is_a_pause() {
    let server = Server::start_whole(|seen| match seen.path.as_str() {
        "/robots.txt" => answer(200, &[], "User-agent: *\nCrawl-delay: 0.15\n"),
        _ => answer(200, &[], "a;b\n"),
    })
    .await;
    let fetcher = fetcher();
    let url = server.url("/feed");
    let access = access(&url, "");
    for _ in 0..2 {
        fresh(fetch(&fetcher, &access, &url).await);
    }
    let seen = server.seen();
    assert!(seen[1].at - seen[0].at >= Duration::from_millis(150));
}
