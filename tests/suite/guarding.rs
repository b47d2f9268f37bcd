//! Who is let in to the page, and what no page of somebody else can do with it.

use crate::support::daemon::{DEADLINE, Daemon};
use crate::support::guides::{Guides, rigtide, run, text};
use crate::support::web::{address, ask, get, header, raw, status, with_web};
use std::io::{Read as _, Write as _};
use std::net::TcpStream;
use std::process::Stdio;
use std::time::{Duration, Instant};

const PASSWORD: &str = "five blue benches by the weir";

fn daemon(guides: &Guides, lines: &str) -> (Daemon, String) {
    with_web(guides, lines);
    let daemon = Daemon::start(&guides.directory);
    let address = address(&daemon);
    (daemon, address)
}

/// The line that `rigtide password` makes of a pipe.
fn password_line(password: &str) -> String {
    let guides = std::env::temp_dir();
    let mut child = rigtide(&guides)
        .arg("password")
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .spawn()
        .unwrap();
    let mut input = child.stdin.take().unwrap();
    writeln!(input, "{password}").unwrap();
    drop(input);
    let output = child.wait_with_output().unwrap();
    assert!(output.status.success());
    text(&output.stdout).trim_end().to_owned()
}

#[test]
fn every_answer_tells_the_browser_what_it_may_do() {
    let guides = Guides::new();
    let (_daemon, address) = daemon(&guides, "listen = \"127.0.0.1:0\"");
    for path in [
        "/health",
        "/metrics",
        "/nothing",
        "/api/v1/nothing",
        "/feeds/none",
    ] {
        let (head, _) = get(&address, path);
        let policy = header(&head, "content-security-policy").unwrap();
        for rule in [
            "default-src 'none'",
            "script-src 'self'",
            "style-src 'self'",
            "img-src 'self' data:",
            "connect-src 'self'",
            "form-action 'self'",
            "frame-ancestors 'none'",
            "base-uri 'none'",
        ] {
            assert!(
                policy.split("; ").any(|has| has == rule),
                "{path}: {policy}"
            );
        }
        assert!(!policy.contains("unsafe"), "{policy}");
        for (name, value) in [
            ("x-content-type-options", "nosniff"),
            ("referrer-policy", "same-origin"),
            ("cache-control", "no-store"),
            ("cross-origin-resource-policy", "same-origin"),
            ("cross-origin-opener-policy", "same-origin"),
        ] {
            assert_eq!(header(&head, name), Some(value), "{path}");
        }
        assert_eq!(header(&head, "access-control-allow-origin"), None);
        assert_eq!(header(&head, "server"), None);
    }
    let (head, body) = get(&address, "/api/v1/nothing");
    assert_eq!(status(&head), 404);
    // RFC 9457, section 3.
    assert_eq!(
        header(&head, "content-type"),
        Some("application/problem+json")
    );
    let problem: serde_json::Value = serde_json::from_str(&body).unwrap();
    assert_eq!(
        (problem["status"].as_u64(), &problem["title"]),
        (Some(404), &"Not Found".into())
    );
}

#[test]
fn what_others_pages_send_changes_nothing() {
    let guides = Guides::new();
    let (_daemon, address) = daemon(&guides, "listen = \"127.0.0.1:0\"");
    let foreign = [
        "Origin: http://guide.example",
        "Origin: null",
        "Sec-Fetch-Site: cross-site",
        "Sec-Fetch-Site: same-site",
    ];
    for header in foreign {
        for path in ["/sign-out", "/api/v1/feeds/example/export/poll", "/nothing"] {
            let (head, _) = ask(&address, &format!("POST {path}"), &[header], "{}");
            assert_eq!(status(&head), 403, "{header} {path}");
        }
    }
    // A form without the word that only our own pages know.
    let own = format!("Origin: http://{address}");
    let form = "Content-Type: application/x-www-form-urlencoded";
    for body in ["", "form=", "form=AAAA", "then=/"] {
        let (head, page) = ask(&address, "POST /sign-out", &[&own, form], body);
        assert_eq!(status(&head), 403, "{body}: {page}");
        assert!(page.contains("load the page again"), "{page}");
    }
    let (head, _) = ask(
        &address,
        "POST /sign-out",
        &[&own, "Content-Type: text/plain"],
        "form=",
    );
    assert_eq!(status(&head), 415);
    let long = format!("form={}", "x".repeat(100_000));
    let (head, _) = ask(&address, "POST /sign-out", &[&own, form], &long);
    assert_eq!(status(&head), 413);
    // What is only looked at may be linked to, and not built in.
    let link = ["Sec-Fetch-Site: cross-site", "Sec-Fetch-Mode: navigate"];
    assert_eq!(status(&ask(&address, "GET /health", &link, "").0), 200);
    let built_in = ["Sec-Fetch-Site: cross-site", "Sec-Fetch-Mode: no-cors"];
    assert_eq!(status(&ask(&address, "GET /health", &built_in, "").0), 403);
}

#[test]
fn with_a_password_nobody_comes_in_without_it() {
    let guides = Guides::new();
    let line = password_line(PASSWORD);
    let (daemon, address) = daemon(&guides, &format!("listen = \"127.0.0.1:0\"\n{line}"));
    let port = address.rsplit(':').next().unwrap();
    // A program is told how, a person where.
    let (head, _) = get(&address, "/health");
    assert_eq!(status(&head), 401);
    let challenge = header(&head, "www-authenticate").unwrap();
    assert!(challenge.starts_with("Basic realm="), "{challenge}");
    let (head, _) = ask(&address, "GET /health?a=b", &["Accept: text/html"], "");
    assert_eq!(
        (status(&head), header(&head, "location")),
        (303, Some("/sign-in?then=%2Fhealth%3Fa%3Db"))
    );
    // A script of a page does not make the browser ask.
    let (head, _) = ask(
        &address,
        "GET /api/v1/nothing",
        &["Sec-Fetch-Mode: cors"],
        "",
    );
    assert_eq!(
        (status(&head), header(&head, "www-authenticate")),
        (403, None)
    );

    // By its password: RFC 7617.
    use base64::Engine as _;
    let basic = |password: &str| {
        let pair = base64::engine::general_purpose::STANDARD.encode(format!("me:{password}"));
        format!("Authorization: Basic {pair}")
    };
    assert_eq!(
        status(&ask(&address, "GET /health", &[&basic("wrong")], "").0),
        401
    );
    for _ in 0..20 {
        // Once it was right it costs nothing any more.
        assert_eq!(
            status(&ask(&address, "GET /health", &[&basic(PASSWORD)], "").0),
            200
        );
    }

    // By the page.
    let (head, page) = get(&address, "/sign-in?then=//guide.example");
    assert_eq!(status(&head), 200);
    assert!(!page.contains("guide.example"), "{page}");
    let word = page.split("name=\"form\" value=\"").nth(1).unwrap();
    let word = word.split('"').next().unwrap();
    let sign_in = |password: &str, then: &str| {
        let fields = [("form", word), ("then", then), ("password", password)];
        let body = url::form_urlencoded::Serializer::new(String::new())
            .extend_pairs(fields)
            .finish();
        let form = "Content-Type: application/x-www-form-urlencoded";
        ask(
            &address,
            "POST /sign-in",
            &[form, &format!("Origin: http://{address}")],
            &body,
        )
    };
    assert_eq!(status(&sign_in("wrong", "/").0), 403);
    let (head, _) = sign_in(PASSWORD, "//guide.example");
    assert_eq!((status(&head), header(&head, "location")), (303, Some("/")));
    let cookie = header(&head, "set-cookie").unwrap();
    assert!(
        cookie.starts_with(&format!("rigtide-session-{port}=")),
        "{cookie}"
    );
    for attribute in ["Path=/", "HttpOnly", "SameSite=Strict"] {
        assert!(cookie.split("; ").any(|has| has == attribute), "{cookie}");
    }
    let session = format!("Cookie: {}", cookie.split(';').next().unwrap());
    assert_eq!(
        status(&ask(&address, "GET /health", &[&session], "").0),
        200
    );

    // With another password everybody signs in anew.
    let other = password_line("six green benches by the weir");
    guides.edit("rigtide.toml", &line, &other);
    daemon.signal("-HUP");
    let until = Instant::now() + DEADLINE;
    while status(&ask(&address, "GET /health", &[&session], "").0) != 401 {
        assert!(Instant::now() < until);
        std::thread::sleep(Duration::from_millis(100));
    }
    assert_eq!(
        status(&ask(&address, "GET /health", &[&basic(PASSWORD)], "").0),
        401
    );
}

#[test]
fn passwords_are_not_tried_one_after_the_other() {
    let guides = Guides::new();
    let line = password_line(PASSWORD);
    let (_daemon, address) = daemon(&guides, &format!("listen = \"127.0.0.1:0\"\n{line}"));
    let tries = (0..12).map(|_| {
        let wrong = ["Authorization: Basic bWU6d3Jvbmc="];
        ask(&address, "GET /health", &wrong, "").0
    });
    let tries: Vec<String> = tries.collect();
    assert!(
        tries[..5].iter().all(|head| status(head) == 401),
        "{tries:?}"
    );
    let last = tries.last().unwrap();
    assert_eq!(status(last), 429);
    let wait = header(last, "retry-after").unwrap().parse::<u64>().unwrap();
    assert!((1..=20).contains(&wait), "{wait}");
}

#[test]
fn others_are_let_in_under_the_names_of_the_settings_and_with_a_caution() {
    let guides = Guides::new();
    let line = password_line(PASSWORD);
    let lines = format!("listen = \"127.0.0.1:0\"\nnames = [\"desk.example.org\"]\n{line}");
    let (daemon, address) = daemon(&guides, &lines);
    daemon.says("the page can be reached from other machines (desk.example.org)");
    let ask_as = |host: &str| {
        let request = format!("GET /sign-in HTTP/1.1\r\nHost: {host}\r\nConnection: close\r\n\r\n");
        status(&raw(&address, &request).0)
    };
    assert_eq!(
        (ask_as("desk.example.org"), ask_as("DESK.example.org:443")),
        (200, 200)
    );
    assert_eq!((ask_as("guide.example"), ask_as("192.0.2.7")), (421, 421));
}

#[test]
fn a_connection_that_says_nothing_or_too_much_is_closed() {
    let guides = Guides::new();
    let (_daemon, address) = daemon(&guides, "listen = \"127.0.0.1:0\"");
    // A head that never ends.
    let mut stream = TcpStream::connect(&address).unwrap();
    stream.set_read_timeout(Some(DEADLINE)).unwrap();
    let _ = stream.write_all(format!("GET / HTTP/1.1\r\nHost: {}", "x".repeat(1 << 20)).as_bytes());
    let mut answer = Vec::new();
    let _ = stream.read_to_end(&mut answer);
    let answer = text(&answer);
    assert!(
        answer.is_empty() || answer.starts_with("HTTP/1.1 4"),
        "{answer}"
    );
    // The others go on.
    assert_eq!(status(&get(&address, "/health").0), 200);
}

#[test]
fn open_says_where_the_page_of_this_ledger_is() {
    let guides = Guides::new();
    let output = run(&guides.directory, &["open"]);
    assert_eq!(output.status.code(), Some(2));
    assert!(text(&output.stderr).contains("start one: rigtide watch"));
    let (running, address) = daemon(&guides, "listen = \"127.0.0.1:0\"");
    let output = run(&guides.directory, &["open"]);
    assert_eq!(text(&output.stdout), format!("http://{address}/\n"));
    let output = run(&guides.directory, &["open", "--json"]);
    let said: serde_json::Value = serde_json::from_slice(&output.stdout).unwrap();
    assert_eq!(
        said,
        serde_json::json!({ "address": format!("http://{address}/") })
    );
    guides.edit("rigtide.toml", "127.0.0.1:0", "off");
    running.signal("-HUP");
    running.says("the settings were changed");
    let output = run(&guides.directory, &["open"]);
    assert!(text(&output.stderr).contains("the daemon serves no page"));
}

#[test]
fn a_port_that_nobody_asked_for_may_be_taken() {
    // Whoever has it: this test, or another daemon.
    let _taken = std::net::TcpListener::bind("127.0.0.1:9414");
    let guides = Guides::new();
    let daemon = Daemon::start(&guides.directory);
    let line = daemon.says("there is no page: 127.0.0.1:9414 cannot be listened at");
    assert!(
        line.contains("\"WARN\"") && line.contains("[web]"),
        "{line}"
    );
    daemon.says("bulletin: ");
}
