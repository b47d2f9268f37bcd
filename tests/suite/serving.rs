//! Health and metrics on loopback, asked as programs ask.

use crate::support::daemon::{DEADLINE, Daemon};
use crate::support::guides::Guides;
use crate::support::web::{self, address, get, raw, wait_for, with_web};
use std::fs;
use std::net::TcpStream;
use std::process::Command;
use std::time::{Duration, Instant};

#[test]
fn a_daemon_that_does_its_work_is_well_and_one_whose_feeds_all_fail_is_not() {
    let guides = Guides::new();
    with_web(&guides, "listen = \"127.0.0.1:0\"");
    let daemon = Daemon::start(&guides.directory);
    let address = address(&daemon);
    daemon.says("bulletin: ");
    let (head, body) = get(&address, "/health");
    assert!(head.starts_with("HTTP/1.1 200 "), "{head}");
    assert!(
        head.to_lowercase()
            .contains("content-type: application/json"),
        "{head}"
    );
    let body: serde_json::Value = serde_json::from_str(&body).unwrap();
    assert_eq!(
        body,
        serde_json::json!({ "status": "ok", "reasons": [], "cautions": [] })
    );

    // Settings that were refused are worth a look; what it does goes on.
    guides.edit("rigtide.toml", "ledger = ", "ledger == ");
    daemon.signal("-HUP");
    let refused =
        |head: &str, body: &str| head.contains(" 200 ") && body.contains("settings_refused");
    wait_for(&address, "/health", refused);
    guides.edit("rigtide.toml", "ledger == ", "ledger = ");
    wait_for(&address, "/health", |_, body| {
        !body.contains("settings_refused")
    });
    drop(daemon);

    // Three failures in a row, as a daemon would leave them over a night.
    let feed = guides.directory.join("retailers/example-offers.csv");
    fs::rename(&feed, feed.with_extension("away")).unwrap();
    for _ in 0..3 {
        crate::support::guides::run(&guides.directory, &["poll"]);
    }
    let daemon = Daemon::start(&guides.directory);
    let address = web::address(&daemon);
    let failing =
        |head: &str, body: &str| head.contains(" 503 ") && body.contains("every_feed_fails");
    let body = wait_for(&address, "/health", failing);
    assert!(body.contains("example/export"), "{body}");
}

#[test]
fn metrics_are_whole_and_keep_the_essentials_of_the_grammar() {
    let guides = Guides::new();
    with_web(&guides, "listen = \"127.0.0.1:0\"");
    let daemon = Daemon::start(&guides.directory);
    let address = address(&daemon);
    daemon.says("bulletin: ");
    let (head, body) = get(&address, "/metrics");
    let media_type = "content-type: application/openmetrics-text; version=1.0.0; charset=utf-8";
    assert!(head.to_lowercase().contains(media_type), "{head}");
    // OpenMetrics 1.0, sections 4.1 to 4.6: one end, at the end; line feeds alone; families in one
    // piece with TYPE before samples; a unit ends the name; counters end in `_total`.
    assert!(body.ends_with("\n# EOF\n"), "{body}");
    assert_eq!(body.matches("# EOF").count(), 1);
    assert!(!body.contains('\r') && !body.contains("\n\n"));
    let (mut family, mut kind, mut known) = ("", "", Vec::new());
    for line in body.lines() {
        let words: Vec<&str> = line.splitn(4, ' ').collect();
        match words[..] {
            ["#", "TYPE", name, its_kind] => {
                assert!(!known.contains(&name), "{name} comes in two pieces");
                (family, kind) = (name, its_kind);
                known.push(name);
            }
            ["#", "UNIT", name, unit] => {
                assert!(
                    name == family && name.ends_with(&format!("_{unit}")),
                    "{line}"
                );
            }
            ["#", "HELP", name, _] => assert_eq!(name, family),
            ["#", "EOF"] => {}
            _ => {
                let name = line.split(['{', ' ']).next().unwrap();
                let suffix = name
                    .strip_prefix(family)
                    .unwrap_or_else(|| panic!("{line}"));
                let may_be: &[&str] = match kind {
                    "counter" => &["_total"],
                    "histogram" => &["_bucket", "_count", "_sum"],
                    "info" => &["_info"],
                    _ => &[""],
                };
                assert!(may_be.contains(&suffix), "{line}");
                let value = line.rsplit(' ').next().unwrap();
                assert!(value.parse::<f64>().is_ok(), "{line}");
            }
        }
    }
    for line in [
        "rigtide_polls_total{feed=\"example/export\",status=\"fresh\"} 1",
        "rigtide_poll_duration_seconds_count 1",
        "rigtide_solves_total 1",
        "rigtide_skipped_solves_total 0",
        "rigtide_bulletins_total 1",
        "rigtide_held_prices 0",
        "rigtide_outbox_deliveries{state=\"dead\"} 0",
    ] {
        assert!(body.lines().any(|has| has == line), "no {line} in\n{body}");
    }
    let bytes = body
        .lines()
        .find_map(|line| line.strip_prefix("rigtide_ledger_bytes "));
    assert!(bytes.unwrap().parse::<u64>().unwrap() > 4096);
    read_by_a_reference(&body);
}

/// What prometheus_client's own parser of OpenMetrics says of it, where `tests/data.sh` made a
/// place with it.
fn read_by_a_reference(text: &str) {
    let root = concat!(env!("CARGO_MANIFEST_DIR"), "/target/test-data/openmetrics");
    let python = format!("{root}/bin/python");
    if fs::metadata(&python).is_err() {
        assert!(std::env::var_os("CI").is_none_or(|ci| ci != "true"));
        let _ = std::io::Write::write_all(
            &mut std::io::stderr(),
            b"skipped: no prometheus_client; tests/data.sh fetches it\n",
        );
        return;
    }
    let script = "import sys\n\
        from prometheus_client.openmetrics.parser import text_string_to_metric_families as read\n\
        print(sorted(f.name for f in read(sys.stdin.read())))";
    let read = |text: &str| {
        let file = tempfile::NamedTempFile::new().unwrap();
        fs::write(file.path(), text).unwrap();
        let input = fs::File::open(file.path()).unwrap();
        let mut command = Command::new(&python);
        command.args(["-c", script]).stdin(input).output().unwrap()
    };
    let output = read(text);
    let said = String::from_utf8_lossy(&output.stderr);
    assert!(output.status.success(), "{said}\n{text}");
    let names = String::from_utf8_lossy(&output.stdout).into_owned();
    assert!(names.contains("rigtide_poll_duration_seconds"), "{names}");
    // It refuses what breaks the grammar.
    for (whole, broken) in [
        ("# EOF\n", ""),
        ("rigtide_solves_total ", "rigtide_solves "),
    ] {
        assert!(
            !read(&text.replace(whole, broken)).status.success(),
            "{broken}"
        );
    }
}

#[test]
fn pages_whose_name_was_pointed_at_this_machine_learn_nothing() {
    let guides = Guides::new();
    with_web(&guides, "listen = \"127.0.0.1:0\"");
    let daemon = Daemon::start(&guides.directory);
    let address = address(&daemon);
    let port = address.rsplit(':').next().unwrap();
    let ask = |request: &str| raw(&address, request).0;
    for (expected, request) in [
        ("200", format!("GET /health HTTP/1.1\r\nHost: localhost:{port}\r\nConnection: close\r\n\r\n")),
        ("200", format!("GET /health HTTP/1.1\r\nHost: [::1]:{port}\r\nConnection: close\r\n\r\n")),
        // RFC 9110, 15.5.20: directed at a server that does not answer for it.
        ("421", format!("GET /health HTTP/1.1\r\nHost: guide.example:{port}\r\nConnection: close\r\n\r\n")),
        ("421", "GET http://guide.example/health HTTP/1.1\r\nHost: localhost\r\nConnection: close\r\n\r\n".to_owned()),
        // RFC 9112, 3.2: a request without Host is answered with 400.
        ("400", "GET /health HTTP/1.1\r\nConnection: close\r\n\r\n".to_owned()),
        ("405", format!("POST /health HTTP/1.1\r\nHost: localhost:{port}\r\nContent-Length: 0\r\nConnection: close\r\n\r\n")),
        ("404", format!("GET /ledger.sqlite HTTP/1.1\r\nHost: localhost:{port}\r\nConnection: close\r\n\r\n")),
    ] {
        let head = ask(&request);
        assert!(head.starts_with(&format!("HTTP/1.1 {expected} ")), "{request}{head}");
        assert!(!head.to_lowercase().contains("access-control-allow"), "{head}");
    }
}

#[test]
fn where_it_answers_follows_the_settings_and_a_taken_address_refuses_them() {
    let guides = Guides::new();
    let daemon = Daemon::start(&guides.directory);
    daemon.says("bulletin: ");
    with_web(&guides, "listen = \"127.0.0.1:0\"");
    daemon.signal("-HUP");
    let first = address(&daemon);
    get(&first, "/health");
    let taken = std::net::TcpListener::bind("127.0.0.1:0").unwrap();
    let taken = taken.local_addr().unwrap().to_string();
    guides.edit("rigtide.toml", "127.0.0.1:0", &taken);
    daemon.signal("-HUP");
    let line = daemon.says("refused");
    assert!(line.contains(&taken), "{line}");
    assert!(get(&first, "/health").1.contains("settings_refused"));
    guides.edit("rigtide.toml", &taken, "off");
    daemon.signal("-HUP");
    daemon.says("the settings were changed");
    let until = Instant::now() + DEADLINE;
    while TcpStream::connect(&first).is_ok() {
        assert!(Instant::now() < until, "it answers still");
        std::thread::sleep(Duration::from_millis(50));
    }
}

#[test]
fn an_atom_feed_is_answered_under_the_name_of_its_channel() {
    let guides = Guides::new();
    let path = guides.directory.join("rigtide.toml");
    let before = fs::read_to_string(&path).unwrap();
    let channel = "[[channel]]\nid = \"feed\"\nkind = \"atom\"\nfile = \"told.xml\"\n";
    let web = "[web]\nlisten = \"127.0.0.1:0\"\n";
    fs::write(path, format!("{before}\n{channel}\n{web}")).unwrap();
    let names = "channels = [\"terminal\", \"feed\"]";
    guides.edit("briefs/example.toml", "channels = [\"terminal\"]", names);
    let daemon = Daemon::start(&guides.directory);
    let address = address(&daemon);
    let found = |head: &str, _: &str| head.starts_with("HTTP/1.1 200 ");
    let body = wait_for(&address, "/feeds/feed", found);
    assert_eq!(
        body,
        fs::read_to_string(guides.directory.join("told.xml")).unwrap()
    );
    let (head, _) = get(&address, "/feeds/feed");
    // RFC 4287, section 7.
    assert!(
        head.to_lowercase()
            .contains("content-type: application/atom+xml"),
        "{head}"
    );
    for none in ["/feeds/terminal", "/feeds/none", "/feeds/..%2Frigtide.toml"] {
        let (head, _) = get(&address, none);
        assert!(head.starts_with("HTTP/1.1 404 "), "{none}: {head}");
    }
}
