//! The daemon's page, asked as programs and browsers ask.

use super::daemon::{DEADLINE, Daemon};
use super::guides::Guides;
use std::fs;
use std::io::{Read as _, Write as _};
use std::net::TcpStream;
use std::time::{Duration, Instant};

/// Adds the table `[web]` to the settings.
pub fn with_web(guides: &Guides, lines: &str) {
    let path = guides.directory.join("rigtide.toml");
    let before = fs::read_to_string(&path).unwrap();
    fs::write(path, format!("{before}\n[web]\n{lines}\n")).unwrap();
}

/// The address that the daemon says it answers at.
pub fn address(daemon: &Daemon) -> String {
    let line = daemon.says("answering");
    let line: serde_json::Value = serde_json::from_str(&line).unwrap();
    line["address"].as_str().unwrap().to_owned()
}

/// Sends a request as it stands; head and body of the answer.
pub fn raw(address: &str, request: &str) -> (String, String) {
    let mut stream = TcpStream::connect(address).unwrap();
    stream.set_read_timeout(Some(DEADLINE)).unwrap();
    stream.write_all(request.as_bytes()).unwrap();
    let mut answer = Vec::new();
    stream.read_to_end(&mut answer).unwrap();
    let answer = String::from_utf8(answer).unwrap();
    let (head, body) = answer.split_once("\r\n\r\n").unwrap();
    (head.to_owned(), body.to_owned())
}

pub fn get(address: &str, path: &str) -> (String, String) {
    ask(address, &format!("GET {path}"), &[], "")
}

/// Sends a request with the header `Host` of the address, others, and a body.
pub fn ask(address: &str, line: &str, headers: &[&str], body: &str) -> (String, String) {
    let mut request = format!("{line} HTTP/1.1\r\nHost: {address}\r\nConnection: close\r\n");
    for header in headers {
        request.push_str(header);
        request.push_str("\r\n");
    }
    if !line.starts_with("GET ") && !line.starts_with("HEAD ") {
        request.push_str(&format!("Content-Length: {}\r\n", body.len()));
    }
    raw(address, &format!("{request}\r\n{body}"))
}

/// The number of an answer.
pub fn status(head: &str) -> u16 {
    let number = head
        .split(' ')
        .nth(1)
        .and_then(|number| number.parse().ok());
    number.unwrap_or_else(|| panic!("no status in {head}"))
}

/// The value of a header, as it stands.
pub fn header<'h>(head: &'h str, name: &str) -> Option<&'h str> {
    head.lines().find_map(|line| {
        let (its_name, value) = line.split_once(':')?;
        its_name.eq_ignore_ascii_case(name).then_some(value.trim())
    })
}

/// Asks until the answer is as wanted.
pub fn wait_for(address: &str, path: &str, is_wanted: impl Fn(&str, &str) -> bool) -> String {
    let until = Instant::now() + DEADLINE;
    loop {
        let (head, body) = get(address, path);
        if is_wanted(&head, &body) {
            return body;
        }
        assert!(Instant::now() < until, "{head}\n{body}");
        std::thread::sleep(Duration::from_millis(50));
    }
}
