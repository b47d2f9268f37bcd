//! Redirects: how far they are followed, where they may lead, and what they may not carry.
//! The ids are those of the project's table of pitfalls; statuses are RFC 9110 15.4's.

use crate::support::feed::{access, failed, fetch, fetcher, fresh, text};
use crate::support::server::{Server, answer, redirect};
use rigtide::feeds::address::Refusal;
use rigtide::feeds::http::Reason;

// H14.
#[tokio::test]
async fn a_document_that_moved_for_good_says_where_to() {
    for (status, moved) in [
        (301, true),
        (308, true),
        (302, false),
        (303, false),
        (307, false),
    ] {
        let server = Server::start(move |seen| match seen.path.as_str() {
            "/old" => redirect(status, "/new?x=1#part"),
            _ => answer(200, &[], "a;b\n"),
        })
        .await;
        let (url, new) = (server.url("/old"), server.url("/new?x=1"));
        let mut document = fresh(fetch(&fetcher(), &access(&url, ""), &url).await);
        assert_eq!(text(&mut document), "a;b\n");
        assert_eq!(document.final_url.as_str(), new);
        assert_eq!(document.moved_to, moved.then_some(new), "{status}");
    }
}

#[tokio::test]
async fn only_permanent_steps_from_the_start_count_as_moved() {
    let server = Server::start(|seen| match seen.path.as_str() {
        "/a" => redirect(301, "/b"),
        "/b" => redirect(302, "/c"),
        "/c" => redirect(301, "/d"),
        _ => answer(200, &[], "a;b\n"),
    })
    .await;
    let url = server.url("/a");
    let document = fresh(fetch(&fetcher(), &access(&url, ""), &url).await);
    assert_eq!(document.final_url.as_str(), server.url("/d"));
    assert_eq!(document.moved_to, Some(server.url("/b")));
}

// H14: another port is another host's business too.
#[tokio::test]
async fn credentials_stay_with_the_hosts_that_the_author_configured() {
    let other = Server::start(|_| answer(200, &[], "a;b\n")).await;
    let target = other.url("/feed");
    let server = Server::start(move |_| redirect(302, &target)).await;
    let url = server.url("/feed");
    let settings = "bearer_env = \"T\"\nheaders = { X-Shop = \"me\" }";
    fresh(fetch(&fetcher(), &access(&url, settings), &url).await);
    let carried = |server: &Server, name| server.seen()[0].header(name).is_some();
    for name in ["authorization", "x-shop"] {
        assert!(carried(&server, name));
        assert!(!carried(&other, name));
    }
    assert!(carried(&other, "user-agent"));
}

// H13.
#[tokio::test]
async fn loops_and_long_ways_fail_with_their_chain() {
    let server = Server::start(|seen| match seen.path.as_str() {
        "/a" => redirect(302, "/b"),
        "/b" => redirect(302, "/a"),
        path => redirect(302, &format!("{path}x")),
    })
    .await;
    let url = server.url("/a");
    let fault = failed(fetch(&fetcher(), &access(&url, ""), &url).await);
    assert_eq!(fault.reason, Reason::RedirectLoop);
    assert_eq!(fault.chain, [server.url("/b"), server.url("/a")]);

    let url = server.url("/n");
    let access = access(&url, "redirect_limit = 2");
    let fault = failed(fetch(&fetcher(), &access, &url).await);
    assert_eq!(fault.reason, Reason::TooManyRedirects { limit: 2 });
    assert_eq!(
        fault.chain,
        [server.url("/nx"), server.url("/nxx"), server.url("/nxxx")]
    );
}

#[tokio::test]
async fn a_redirect_without_an_address_is_a_fault() {
    let server = Server::start(|seen| match seen.path.as_str() {
        "/none" => answer(302, &[], ""),
        _ => redirect(302, "http://[::1"),
    })
    .await;
    for path in ["/none", "/broken"] {
        let url = server.url(path);
        let fault = failed(fetch(&fetcher(), &access(&url, ""), &url).await);
        assert_eq!(
            fault.reason,
            Reason::RedirectNowhere { status: 302 },
            "{path}"
        );
    }
}

// H26. The feed's own host is on loopback, which opens no other door.
#[tokio::test]
async fn redirects_into_private_networks_are_refused_unless_allowed() {
    let port = 9;
    for (target, shown) in [
        (format!("http://127.0.0.2:{port}/"), "127.0.0.2"),
        (format!("http://localhost:{port}/"), "localhost"),
        (
            "http://169.254.169.254/latest".to_owned(),
            "169.254.169.254",
        ),
        ("http://[::ffff:10.0.0.1]/".to_owned(), "[::ffff:a00:1]"),
        ("http://0x7f.2/".to_owned(), "127.0.0.2"),
    ] {
        let location = target.clone();
        let server = Server::start(move |_| redirect(302, &location)).await;
        let url = server.url("/feed");
        let fault = failed(fetch(&fetcher(), &access(&url, ""), &url).await);
        let refusal = Refusal::Private {
            host: shown.to_owned(),
        };
        let refused = matches!(
            &fault.reason,
            Reason::RedirectRefused { refusal: found } | Reason::AddressRefused { refusal: found }
                if *found == refusal
        );
        assert!(refused, "{target}: {fault}");
    }
}

#[tokio::test]
async fn the_author_can_let_redirects_into_private_networks() {
    let other = Server::start(|_| answer(200, &[], "a;b\n")).await;
    let target = format!("http://localhost:{}/feed", other.port());
    let server = Server::start(move |_| redirect(302, &target)).await;
    let url = server.url("/feed");
    fresh(
        fetch(
            &fetcher(),
            &access(&url, "allow_private_addresses = true"),
            &url,
        )
        .await,
    );
}

#[tokio::test]
async fn redirects_to_other_schemes_are_refused() {
    for scheme in ["file", "ftp", "data"] {
        let server = Server::start(move |_| redirect(302, &format!("{scheme}:///etc/hosts"))).await;
        let url = server.url("/feed");
        let fault = failed(fetch(&fetcher(), &access(&url, ""), &url).await);
        let refusal = Refusal::Scheme {
            scheme: scheme.to_owned(),
        };
        assert_eq!(fault.reason, Reason::RedirectRefused { refusal });
    }
}
